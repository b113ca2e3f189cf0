"""Which checks a bench cannot honestly answer with the channels that it has, whatever their limits.

A bit shows no volts, a host that looks now and then shows no r.m.s. value and no quick flashes, and outputs that nobody
reads back are not known to be off.
"""

import math

from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.wiring import adapter_of, unread
from benchtest.procedure import (
    TEMPO,
    Channel,
    ContactResistance,
    CountRhythm,
    EffectiveValue,
    Extent,
    LampCode,
    Mean,
    Measurand,
    OpenShare,
    Procedure,
    Record,
    Rhythm,
    StillOn,
)
from benchtest.quantities import show

SLOW_BOARD = 0.05  # of a flash: what the board's own clock takes of the decoder's tolerance


def not_served(procedure: Procedure, fixture: Fixture, harness: Harness) -> dict[str, str]:
    """Return a sentence for every check that its channel's adapter cannot honestly answer, by the check's id."""
    blind = unread(fixture, harness)
    found: dict[str, str] = {}
    for check in (check for step in procedure.steps for check in step.checks):
        what = check.measurand
        if isinstance(what, StillOn) and blind:
            found[check.id] = f"{check.title}: what adapter {' and '.join(blind)} does cannot be read back"
        elif isinstance(what, Mean | Extent | EffectiveValue | ContactResistance | OpenShare | LampCode):
            numbers = [what.channel, *([what.minus] if isinstance(what, Mean) and what.minus else [])]
            reasons = [_no_reading(number, what, procedure, fixture, harness) for number in numbers if number]
            if reason := next(filter(None, reasons), ""):
                found[check.id] = f"{check.title}: {reason}"
    return found


def _no_reading(number: int, what: Measurand, procedure: Procedure, fixture: Fixture, harness: Harness) -> str:
    """Return why a channel cannot serve a measurand; nothing when it can."""
    channel = procedure.channels[number]
    if isinstance(what, LampCode):
        return _no_code(what, channel, procedure)
    if channel.two_valued:
        return f"{channel.terminals} is read as one of two states, which shows no volts"
    name = adapter_of(number, fixture, harness)
    if isinstance(what, EffectiveValue) and channel.late and not fixture.adapters[name].averaged(number):
        return f"{channel.terminals} is looked at now and then, which shows no r.m.s. value"
    if isinstance(what, Extent) and channel.late:
        return f"{channel.terminals} is looked at now and then, which shows no peaks"
    return ""


def _no_code(what: LampCode, channel: Channel, procedure: Procedure) -> str:
    tolerable = _shortest(what.rhythm) * (TEMPO - SLOW_BOARD)
    if channel.late > tolerable:
        late = f"{channel.terminals} is looked at to within {show(channel.late, 's')}"
        return f"{late}; this code needs {show(tolerable, 's')}"
    moves = (move for step in procedure.steps for move in step.moves)
    rates = [move.rate for move in moves if isinstance(move, Record) and move.name == what.evidence]
    possible, wanted = min([*rates, 1 / channel.late if channel.late else math.inf]), what.pulse_rate
    if possible < wanted:
        looks = f"{channel.terminals} is looked at {show(possible, 'times')} a second"
        return f"{looks}; its pulses take {show(wanted, 'times')} (where the sensor smooths them away: no 'dimmed')"
    return ""


def _shortest(rhythm: Rhythm) -> float:
    return min(rhythm.flash, rhythm.gap) if isinstance(rhythm, CountRhythm) else rhythm.quick
