"""Single readings: a meter's value, what a supply said of itself, what was left on."""

import math
from typing import assert_never

from benchtest.instruments import Role
from benchtest.judge.finding import Case, Finding, Undecided
from benchtest.metrology import uncertainty
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
        case Value(value=value), "value":
            role = None
        case Supplied(volts=value), "volts":
            role = Role.SUPPLY
        case Supplied(amps=value), "amps":
            role = Role.CURRENT
        case _, field:
            raise Undecided(f"evidence {asked.evidence!r} has no {field}")
    value = float(value)
    if math.isinf(value):
        return Finding(value=value, note="over range")
    channel = _accuracy(case, asked.evidence, role)
    budget = uncertainty.reading(value, of_reading=channel.of_reading, plus=channel.plus, step=channel.resolution)
    return Finding(value=value, budget=budget)


def _accuracy(case: Case, evidence: str, role: Role | None) -> Channel:
    """Return the channel that says how good the reading is; a supply's amps are as good as its current channel."""
    moves = (move for step in case.procedure.steps for move in step.moves)
    move = next((m for m in moves if isinstance(m, (Measure, Source)) and m.name == evidence), None)
    if move is None:
        raise Undecided(f"the procedure has no reading {evidence!r}")
    if role is not Role.CURRENT:
        return case.channel(move.channel)
    terminals = case.channel(move.channel).terminals
    channels = case.procedure.channels.values()
    current = next((c for c in channels if c.role is Role.CURRENT and c.terminals == terminals), None)
    if current is None:
        raise Undecided(f"nothing is known of how well the bench reads the current at {terminals}")
    return current


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
