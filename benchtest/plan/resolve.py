"""Whether the bench can do what is asked: voltages and currents within its limits, limits that it can resolve.

A limit is refused when the expanded uncertainty exceeds a quarter of the permitted width (a common 4:1 habit of the
trade, no source), unless the profile accepts that check by name and says why. The certificate repeats it.
"""

import difflib
import fnmatch
from collections.abc import Callable, Iterable
from typing import Final

from benchtest.fixture.document import Fixture
from benchtest.metrology.figures import plain
from benchtest.plan.foresight import Foreseen, foresee
from benchtest.procedure import Procedure, Unresolved
from benchtest.profile.document import Decision, Profile
from benchtest.quantities import show

LEAST_RATIO: Final = 4.0
"""Least test uncertainty ratio: tolerance over expanded uncertainty."""


def beyond_the_bench(profile: Profile, fixture: Fixture, place: Callable[..., str] = lambda *_: "") -> list[str]:
    """Return a sentence for every voltage or current that the bench's hard limits forbid."""
    limits, asked = fixture.limits, list[tuple[str, float, float, str, tuple[str, ...]]]()
    for name, supply in profile.supplies.items():
        highest = max((supply.nominal, *supply.stages))
        asked.append((f"supply {name}", highest, limits.voltage, "V", ("supplies", name, "nominal")))
        asked.append((f"supply {name}", supply.current_limit, limits.current, "A", ("supplies", name, "current_limit")))
    for name, thing in profile.inputs.items():
        if thing.kind == "level":
            asked.append((f"input {name}", thing.high, limits.voltage, "V", ("inputs", name, "high")))
    return [
        f"{place(*key)}: {what} asks for {show(value, unit)}; this bench gives at most {show(most, unit)} "
        "(choose another bench: no profile can raise its limits)".removeprefix(": ")
        for what, value, most, unit, key in asked
        if value > most
    ]


def too_fine(
    procedure: Procedure, decision: Decision, not_fitted: Iterable[str] = (), place: Callable[..., str] = lambda *_: ""
) -> tuple[list[str], dict[str, str], tuple[Unresolved, ...]]:
    """Return what is wrong with the acceptances, a sentence per check too fine for this bench, and those accepted so.

    A pattern of `accept_unresolved` that means no check of this board is wrong, unless it is of something that is not
    fitted.
    """
    ids = [check.id for step in procedure.steps for check in step.checks]
    patterns, reasons = decision.accept_unresolved, []
    for pattern in patterns:
        if not fnmatch.filter(ids, pattern) and not _about(pattern, not_fitted):
            near = difflib.get_close_matches(pattern, ids, n=3, cutoff=0.4)
            where = place("decision", "accept_unresolved", pattern)
            tried = f"nearest: {', '.join(near)}" if near else "see 'benchtest check PROFILE --fixture FILE --json'"
            reasons.append(f"{where}: accept_unresolved: no check is called {pattern!r} ({tried})".removeprefix(": "))
    accepted, unresolved = [], {}
    for one in foresee(procedure):
        if one.ratio >= LEAST_RATIO:
            continue
        why = next((why for pattern, why in patterns.items() if fnmatch.fnmatchcase(one.check.id, pattern)), None)
        if why is None:
            unresolved[one.check.id] = _too_fine(one)
        else:
            accepted.append(Unresolved(check=one.check.id, ratio=one.ratio, reason=why))
    return list(dict.fromkeys(reasons)), unresolved, tuple(accepted)


def _about(pattern: str, names: Iterable[str]) -> bool:
    """Return whether a pattern is about one of these names."""
    return any(f".{name}.".replace(" ", "-") in pattern for name in names)


def _too_fine(one: Foreseen) -> str:
    unit = one.check.unit
    return (
        f"{one.check.title}: a tolerance of {plain(one.tolerance, unit)} needs an expanded uncertainty of "
        f"at most {plain(one.tolerance / LEAST_RATIO, unit)}; this bench has {plain(one.uncertainty, unit)} "
        f"({one.check.place}; tolerance: {one.basis}; the profile may accept {one.check.id} under "
        "decision, accept_unresolved, with a reason)"
    )
