"""What two profiles become: the readings of every variant, planned on a bench that has all of the board's terminals.

This is where a change shows that the text does not tell: a rail that is gone takes its readings along, and a limit that
follows from another one moves with it.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from benchtest.errors import PlanError
from benchtest.plan import plan
from benchtest.plan.on_paper import paper_fixture, wired_for
from benchtest.procedure import Check, Interval
from benchtest.profile import LoadedProfile
from benchtest.profile.fitting import fit
from benchtest.rejudge.situation import nature
from benchtest.revision.change import LOOSER, NEUTRAL, TIGHTER, Direction

Key = tuple[str, int]
"""Nature of a reading, and which of that nature."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Planned:
    """The readings that a profile becomes, over all variants with every option fitted."""

    checks: dict[Key, Check] = field(default_factory=dict)
    problems: tuple[str, ...] = ()
    """Why some variant cannot be planned."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ReadingChange:
    """One reading that comes, goes, or is compared with something else."""

    check: Check
    """The new one, or the old one where it is gone."""
    direction: Direction
    before: Interval | str | None
    """None where it is new."""
    after: Interval | str | None
    """None where it is gone."""


def planned(loaded: LoadedProfile) -> Planned:
    """Return the readings of a profile."""
    checks: dict[Key, Check] = {}
    problems: list[str] = []
    for variant in loaded.profile.variants or (None,):
        fitted = fit(loaded.profile, variant=variant, options=tuple(loaded.profile.options))
        try:
            procedure = plan(
                fitted,
                database=loaded.database,
                fixture=paper_fixture(),
                harness=wired_for(fitted.profile),
                place=loaded.place,
                partial=True,
            )
        except PlanError as problem:
            problems += problem.reasons
            continue
        checks |= {key: check for key, check in _numbered(procedure.steps) if key not in checks}
    return Planned(checks=checks, problems=tuple(dict.fromkeys(problems)))


def _numbered(steps: Iterable[object]) -> Iterator[tuple[Key, Check]]:
    seen: Counter[str] = Counter()
    for check in (check for step in steps for check in getattr(step, "checks", ())):
        what = nature(check.id)
        yield (what, seen[what]), check
        seen[what] += 1


def reading_changes(old: Planned, new: Planned) -> Iterator[ReadingChange]:
    """Yield every reading that is not what it was."""
    for key, check in old.checks.items():
        if key not in new.checks:
            yield ReadingChange(check=check, direction=LOOSER, before=check.permitted, after=None)
    for key, check in new.checks.items():
        was = old.checks.get(key)
        if was is None:
            yield ReadingChange(check=check, direction=TIGHTER, before=None, after=check.permitted)
        elif was.permitted != check.permitted:
            direction = _direction(was.permitted, check.permitted)
            yield ReadingChange(check=check, direction=direction, before=was.permitted, after=check.permitted)


def _direction(old: Interval | str, new: Interval | str) -> Direction:
    """Return looser where anything more is permitted, tighter where only less is."""
    if not isinstance(old, Interval) or not isinstance(new, Interval):
        return NEUTRAL
    lower = new.low is None if old.low is not None else False
    higher = new.high is None if old.high is not None else False
    lower = lower or (new.low is not None and old.low is not None and new.low < old.low)
    higher = higher or (new.high is not None and old.high is not None and new.high > old.high)
    return LOOSER if lower or higher else TIGHTER
