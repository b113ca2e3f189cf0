"""Codes of lamps."""

from benchtest.instruments import Role
from benchtest.judge.finding import Case, Finding, Undecided
from benchtest.judge.window import levels
from benchtest.metrology.figures import plain
from benchtest.procedure import LampCode
from benchtest.readings import Told
from benchtest.signals.lamp import Code, decode
from benchtest.signals.repeats import DOUBTFUL
from benchtest.signals.series import Sampled

CERTAIN = 0.9999
"""Confidence from which a note does not speak of it."""


def lamp_code(case: Case, asked: LampCode) -> Finding:
    """Return the code of a lamp as a word; a doubtful one decides nothing. A person's word is taken as it is."""
    told = case.evidence(asked.evidence)
    if isinstance(told, Told):
        return Finding(value=told.word)
    recording = case.recorded(asked.evidence).recording
    channel, samples = levels(case, recording, asked.channel)
    if channel.role is not Role.LIGHT:
        raise Undecided(f"{channel.terminals} is no light sensor")
    series = Sampled(values=samples, rate=recording.rate)
    code = decode(series, asked.rhythm, channel.low, channel.high)
    return Finding(value=code.word, note=_note(code), decided=code.word != DOUBTFUL)


def _note(code: Code) -> str:
    """Return the raw pattern, and what else a reader of the code should know."""
    facts = [code.pattern]
    if code.word != DOUBTFUL and code.confidence < CERTAIN:
        facts.append(
            f"confidence {code.confidence:.2g}" if code.confidence < 0.99 else f"confidence {code.confidence:.4f}"
        )
    if len(set(code.repeats)) > 1:
        facts.append(f"repeats {', '.join(code.repeats)}")
    if code.carrier is not None:
        facts.append(f"flickers at {plain(code.carrier, 'Hz', digits=3)}")
    return "; ".join(facts)
