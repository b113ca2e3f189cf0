"""Whether the bench can do what is asked: voltages and currents within its limits, limits that it can resolve.

A limit is refused when the expanded uncertainty exceeds a quarter of the permitted width (a common 4:1 habit of the
trade, no source): a reading would then be more often undecided than not.
"""

import math
from collections.abc import Iterable

from benchtest.fixture.document import Fixture
from benchtest.procedure import Bounce, Check, Delay, Interval, Measurand, Procedure
from benchtest.profile.document import Profile
from benchtest.quantities import show

SHARE = 0.25
COVERAGE = 2.0


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
                uncertainty = COVERAGE * _of_time(check, procedure, rates[what.evidence])
                if uncertainty > SHARE * width:
                    sentence = (
                        f"{check.title}: a tolerance of {show(width, 's')} needs an expanded uncertainty of at most "
                        f"{show(SHARE * width, 's')}; this bench has {show(uncertainty, 's')} ({check.place})"
                    )
                    yield check.id, sentence


def _late(what: Measurand, procedure: Procedure) -> tuple[float, ...]:
    """Return the half-widths by which the host may be late with the channels of a time."""
    known = procedure.channels
    numbers = (what.channel, what.since.channel or 0) if isinstance(what, Delay) else (getattr(what, "channel", 0),) * 2
    return tuple(known[number].late for number in numbers if number in known)


def _of_time(check: Check, procedure: Procedure, rate: float) -> float:
    """Return the standard uncertainty of a time interval on this bench, in seconds (GUM 4.3.7: half-width / √3)."""
    stamp = procedure.timing.stamp
    terms = [stamp, 0.5 / rate, 0.5 / rate, *_late(check.measurand, procedure)]
    if isinstance(check.measurand, Delay) and check.measurand.since.order == "link":
        on_one_base = check.measurand.since.channel is not None
        terms += [] if on_one_base else [procedure.timing.link_stamp]
    return math.sqrt(sum(term**2 for term in terms) / 3)
