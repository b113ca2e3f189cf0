"""Single readings: a meter's value, what a supply said of itself, what was left on."""

import math
from typing import assert_never

from benchtest.instruments import Role
from benchtest.judge.finding import Case, Finding, Undecided
from benchtest.metrology.uncertainty import NO_SCATTER, difference, reading
from benchtest.procedure import Channel, Limiting, Measure, Scalar, Source, StillOn
from benchtest.readings import Left, Supplied, Value


def find(case: Case, asked: Scalar | Limiting | StillOn) -> Finding:
    """Return what is asked of a single reading."""
    match asked:
        case Scalar():
            return _scalar(case, asked)
        case Limiting():
            return _limiting(case, asked)
        case StillOn():
            return _still_on(case, asked)
        case _:
            assert_never(asked)


def _scalar(case: Case, asked: Scalar) -> Finding:
    """Return a meter's reading, or one field of what a supply said."""
    match case.evidence(asked.evidence), asked.field:
        case (Value(value=value), "value"):
            channel = case.channel(_move(case, asked.evidence).channel)
        case (Supplied(volts=value), "volts"):
            channel = case.channel(_move(case, asked.evidence).channel)
        case (Supplied(amps=value), "amps"):
            channel = _current(case, asked.evidence)
        case _, field:
            raise Undecided(f"evidence {asked.evidence!r} has no {field}")
    if asked.minus:
        return _difference(case, value, channel, asked.minus)
    value = abs(value) if channel.role is Role.CONTACT else value  # a pair may be wired either way round
    if math.isinf(value):
        return Finding(value=float(value), note="over range")
    if not channel.instrument:
        return Finding(value=float(value), note="as the supply says, which no calibrated instrument has confirmed")
    return Finding(value=float(value), budget=reading(value, channel.quality))


def _difference(case: Case, value: float, channel: Channel, minus: str) -> Finding:
    """Subtract a reading of another channel; what their calibrations share cancels."""
    other = case.evidence(minus)
    if not isinstance(other, Value) or math.isinf(value) or math.isinf(other.value):
        raise Undecided(f"no difference to evidence {minus!r}: one of the two is no number")
    less = reading(other.value, case.channel(_move(case, minus).channel).quality)
    one, unit = reading(value, channel.quality), channel.quality.unit
    return Finding(value=float(value - other.value), budget=difference(one, less, repeat=NO_SCATTER, unit=unit))


def _move(case: Case, evidence: str) -> Measure | Source:
    """Return the planned move that made a reading."""
    moves = (move for step in case.procedure.steps for move in step.moves)
    planned = next((m for m in moves if isinstance(m, (Measure, Source)) and m.name == evidence), None)
    if planned is None:
        raise Undecided(f"the procedure has no reading {evidence!r}")
    return planned


def _current(case: Case, evidence: str) -> Channel:
    """Return the channel that says how well a supply's amps are read: its current channel, else the supply itself."""
    supply = case.channel(_move(case, evidence).channel)
    channels = case.procedure.channels.values()
    return next((c for c in channels if c.role is Role.CURRENT and c.terminals == supply.terminals), supply)


def _limiting(case: Case, asked: Limiting) -> Finding:
    """Return `limiting` when a supply was in current limit, else `free`."""
    evidence = case.evidence(asked.evidence)
    if not isinstance(evidence, Supplied):
        raise Undecided(f"evidence {asked.evidence!r} is not of a supply")
    return Finding(value="limiting" if evidence.limiting else "free")


def _still_on(case: Case, asked: StillOn) -> Finding:
    """Return how many channels stayed on, with their names."""
    evidence = case.evidence(asked.evidence)
    if not isinstance(evidence, Left):
        raise Undecided(f"evidence {asked.evidence!r} does not say what stayed on")
    known = case.procedure.channels
    names = [known[number].terminals if number in known else f"channel {number}" for number in evidence.channels]
    return Finding(value=float(len(names)), note=f"still on: {', '.join(names)}" if names else "")
