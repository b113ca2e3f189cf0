"""Whether the bench can do what is asked: voltages and currents within its limits, limits that it can resolve.

A limit is refused when the expanded uncertainty exceeds a quarter of the permitted width (a common 4:1 habit of the
trade, no source): a reading would then be more often undecided than not.
"""

import math
from collections.abc import Iterable

from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.wiring import adapter_of, unread
from benchtest.procedure import (
    Bounce,
    Check,
    ContactResistance,
    CountRhythm,
    Delay,
    EffectiveValue,
    Interval,
    LampCode,
    Mean,
    Measurand,
    OpenShare,
    Procedure,
    Record,
    Rhythm,
    Step,
    StillOn,
)
from benchtest.profile.document import Profile
from benchtest.quantities import show
from benchtest.signals.lamp import TOLERANCE

SHARE = 0.25
COVERAGE = 2.0
SLOW_BOARD = 0.05  # of a flash: what the board's own clock takes of the decoder's tolerance


def beyond_the_bench(profile: Profile, fixture: Fixture) -> list[str]:
    """Return a sentence for every voltage or current that the bench's hard limits forbid."""
    limits, reasons = fixture.limits, []
    for name, supply in profile.supplies.items():
        highest = max((supply.nominal, *supply.stages))
        if highest > limits.voltage:
            reasons.append(
                f"supply {name} asks for {show(highest, 'V')}; this bench gives at most {show(limits.voltage, 'V')}"
            )
        if supply.current_limit > limits.current:
            reasons.append(
                f"supply {name} asks for {show(supply.current_limit, 'A')}; "
                f"this bench gives at most {show(limits.current, 'A')}"
            )
    for name, thing in profile.inputs.items():
        if thing.kind == "level" and thing.high > limits.voltage:
            reasons.append(
                f"input {name} asks for {show(thing.high, 'V')}; this bench gives at most {show(limits.voltage, 'V')}"
            )
    return reasons


def too_fine(procedure: Procedure) -> dict[str, str]:
    """Return a sentence for every check whose time limit is finer than this bench can resolve, by the check's id."""
    rates = {move.name: move.rate for step in procedure.steps for move in step.moves if move.kind == "record"}
    return dict(_sentences(procedure, rates))


def _sentences(procedure: Procedure, rates: dict[str, float]) -> Iterable[tuple[str, str]]:
    for step in procedure.steps:
        for check in step.checks:
            what, permitted = check.measurand, check.permitted
            if isinstance(what, (Delay, Bounce)) and isinstance(permitted, Interval) and permitted.high is not None:
                width = permitted.high - (permitted.low or 0.0)
                uncertainty = COVERAGE * _of_time(check, step, procedure, rates[what.evidence])
                if uncertainty > SHARE * width:
                    sentence = (
                        f"{check.title}: a tolerance of {show(width, 's')} needs an expanded uncertainty of at most "
                        f"{show(SHARE * width, 's')}; this bench has {show(uncertainty, 's')} ({check.place})"
                    )
                    yield check.id, sentence


def _moments(what: Measurand, step: Step) -> tuple[int, ...]:
    """Return the channels whose moments a time is taken from: what is watched, and what it counts from."""
    if not isinstance(what, Delay):
        return (getattr(what, "channel", 0),) * 2
    if what.since.channel is not None:
        return what.channel, what.since.channel
    orders = (order for move in step.moves if isinstance(move, Record) for order in move.orders)
    return what.channel, next((o.channel for o in orders if math.isclose(o.at, what.since.at, abs_tol=1e-9)), 0)


def _of_time(check: Check, step: Step, procedure: Procedure, rate: float) -> float:
    """Return the standard uncertainty of a time interval on this bench, in seconds (GUM 4.3.7: half-width / √3)."""
    stamp, known = procedure.timing.stamp, procedure.channels
    late = [known[number].late for number in _moments(check.measurand, step) if number in known]
    terms = [stamp, 0.5 / rate, 0.5 / rate, *late]
    if isinstance(check.measurand, Delay) and check.measurand.since.order == "link":
        on_one_base = check.measurand.since.channel is not None
        terms += [] if on_one_base else [procedure.timing.link_stamp]
    return math.sqrt(sum(term**2 for term in terms) / 3)


def not_served(procedure: Procedure, fixture: Fixture, harness: Harness) -> dict[str, str]:
    """Return a sentence for every check that its channel's adapter cannot honestly answer, by the check's id."""
    blind = unread(fixture, harness)
    found: dict[str, str] = {}
    for check in (check for step in procedure.steps for check in step.checks):
        what = check.measurand
        if isinstance(what, StillOn) and blind:
            found[check.id] = f"{check.title}: what adapter {' and '.join(blind)} does cannot be read back"
        elif isinstance(what, Mean | EffectiveValue | ContactResistance | OpenShare | LampCode):
            numbers = [what.channel, *([what.minus] if isinstance(what, Mean) and what.minus else [])]
            reasons = [_no_reading(number, what, procedure, fixture, harness) for number in numbers if number]
            if reason := next(filter(None, reasons), ""):
                found[check.id] = f"{check.title}: {reason}"
    return found


def _no_reading(number: int, what: Measurand, procedure: Procedure, fixture: Fixture, harness: Harness) -> str:
    """Return why a channel cannot serve a measurand; nothing when it can."""
    channel = procedure.channels[number]
    if isinstance(what, LampCode):
        tolerable = _shortest(what.rhythm) * (TOLERANCE - SLOW_BOARD)
        late = f"{channel.terminals} is looked at to within {show(channel.late, 's')}"
        return f"{late}; this code needs {show(tolerable, 's')}" if channel.late > tolerable else ""
    if channel.two_valued:
        return f"{channel.terminals} is read as one of two states, which shows no volts"
    name = adapter_of(number, fixture, harness)
    if isinstance(what, EffectiveValue) and channel.late and not fixture.adapters[name].averaged(number):
        return f"{channel.terminals} is looked at now and then, which shows no r.m.s. value"
    return ""


def _shortest(rhythm: Rhythm) -> float:
    return min(rhythm.flash, rhythm.gap) if isinstance(rhythm, CountRhythm) else rhythm.quick
