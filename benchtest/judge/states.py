"""States in a window: of one channel, and of many that should not move."""

import math

import numpy as np

from benchtest.instruments import Recording, Role
from benchtest.judge.finding import Case, Finding, seconds
from benchtest.judge.window import Window, levels, rests, window
from benchtest.procedure import StateOf, Still
from benchtest.readings import Told, Value
from benchtest.signals.contact import Side, side
from benchtest.signals.levels import Samples, crossings

WORDS: dict[Role, dict[Side, str]] = {
    Role.CONTACT: {"above": "broken", "below": "made"},
    Role.LIGHT: {"above": "lit", "below": "dark"},
}
"""Everything else is high or low."""


def word(role: Role, state: Side) -> str:
    """Return a state in the words of a channel's role."""
    return WORDS.get(role, {"above": "high", "below": "low"}).get(state, state)


def find(case: Case, asked: StateOf | Still) -> Finding:
    """Return a state, or how many channels changed theirs."""
    return _state_of(case, asked) if isinstance(asked, StateOf) else _still(case, asked)


def _state_of(case: Case, asked: StateOf) -> Finding:
    """Return the state of a channel all through a window, `changing`, or `between`."""
    match case.evidence(asked.evidence):
        case Told(word=seen):
            return Finding(value=seen)
        case Value(value=value):
            return _single(case, asked, value)
    recording = case.recorded(asked.evidence).recording
    part = window(recording, start=asked.start, end=asked.end)
    state = rests(case, recording, asked.channel, part)
    if state is None:
        channel, samples = levels(case, recording, asked.channel, part)
        state = side(samples, low=channel.low, high=channel.high)
    return Finding(value=word(case.channel(asked.channel).role, state))


def _single(case: Case, asked: StateOf, value: float) -> Finding:
    """Return the state that one reading shows; a contact's ohms count as the volts of the test circuit across them."""
    channel, test = case.watched(asked.channel), case.procedure.contact_test
    contact = channel.role in {Role.CONTACT, Role.OHMS}
    if channel.role is Role.OHMS:
        ohms = max(value, 0.0)  # a meter's zero may lie a little below
        value = test.voltage if math.isinf(value) else test.voltage * ohms / (ohms + test.series)
    level = abs(value) if contact else value
    state = side(np.array([level]), low=channel.low, high=channel.high)
    return Finding(value=word(Role.CONTACT if contact else channel.role, state))


def _still(case: Case, asked: Still) -> Finding:
    """Return how many channels changed their state in a window; the note names them.

    A first look at every channel's extremes settles nearly all of them without decoding a sample.
    """
    recording = case.recorded(asked.evidence).recording
    part = window(recording, start=asked.start, end=asked.end)
    suspects = [number for number in asked.channels if rests(case, recording, number, part) is None]
    notes = [_movement(case, recording, number, part) for number in suspects]
    moved = [note for note in notes if note]
    return Finding(value=float(len(moved)), note=", ".join(moved))


def _movement(case: Case, recording: Recording, number: int, part: Window) -> str:
    """Return what a channel did, empty when it kept its state."""
    channel, samples = levels(case, recording, number, part)
    changes = crossings(samples, low=channel.low, high=channel.high)
    if changes.index.size:
        now = word(channel.role, "above" if changes.rising[0] else "below")
        moment = (part.begin + float(changes.index[0])) / recording.rate
        more = changes.index.size - 1
        again = f" and {more} more change{'s' if more > 1 else ''}" if more else ""
        return f"{channel.terminals} {now} at {seconds(moment)}{again}"
    begun, ended = _ends(samples, low=channel.low, high=channel.high)
    if begun == ended:
        return ""
    return f"{channel.terminals} from {word(channel.role, begun)} to {word(channel.role, ended)}"


def _ends(samples: Samples, *, low: float, high: float) -> tuple[Side, Side]:
    """Return the first and the last state, `between` included."""
    return side(samples[:1], low=low, high=high), side(samples[-1:], low=low, high=high)
