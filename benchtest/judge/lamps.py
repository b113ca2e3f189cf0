"""Codes of lamps."""

from benchtest.instruments import Role
from benchtest.judge.finding import Case, Finding, Undecided
from benchtest.judge.window import levels
from benchtest.procedure import LampCode
from benchtest.readings import Told
from benchtest.signals.lamp import DOUBTFUL, decode


def lamp_code(case: Case, asked: LampCode) -> Finding:
    """Return the code of a lamp as a word; a doubtful one decides nothing. A person's word is taken as it is."""
    told = case.evidence(asked.evidence)
    if isinstance(told, Told):
        return Finding(value=told.word)
    recording = case.recorded(asked.evidence).recording
    channel, samples = levels(case, recording, asked.channel)
    if channel.role is not Role.LIGHT:
        raise Undecided(f"{channel.terminals} is no light sensor")
    code = decode(samples, rate=recording.rate, low=channel.low, high=channel.high, rhythm=asked.rhythm)
    return Finding(value=code.word, note=code.pattern, decided=code.word != DOUBTFUL)
