"""Two versions of a profile compared by what they mean: looser, tighter or neutral, line by line and in sum."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from benchtest.errors import PlanError
from benchtest.procedure import Interval
from benchtest.profile import LoadedProfile
from benchtest.revision.change import LOOSER, NEUTRAL, TIGHTER, Change, Direction
from benchtest.revision.limits import relay_limit_changes
from benchtest.revision.readings import Planned, ReadingChange, planned, reading_changes
from benchtest.revision.sections import things
from benchtest.revision.steps import step_changes

__all__ = ["Change", "Direction", "ReadingChange", "Revision", "revise"]

FORMAT: Final = "benchtest-profile-diff/1"


@dataclass(frozen=True, kw_only=True, slots=True)
class Revision:
    """What became of a profile."""

    old: LoadedProfile
    new: LoadedProfile
    changes: tuple[Change, ...]
    """As the profile says it."""
    readings: tuple[ReadingChange, ...]
    """As the board's readings show it."""
    counts: tuple[int, int]
    """Readings before and after, over all variants."""
    problems: tuple[str, ...]
    """Why some readings could not be compared."""

    @property
    def directions(self) -> frozenset[Direction]:
        """Everything that there is among the changes and the readings."""
        readings = (change.direction for change in self.readings)
        return frozenset((*(change.direction for change in self.changes), *readings))

    def count(self, direction: Direction, of: Sequence[Change] | Sequence[ReadingChange]) -> int:
        return sum(change.direction is direction for change in of)

    def place(self, change: Change) -> str:
        """Return file and line of a change."""
        return (self.old if change.removed else self.new).place(*change.keys)

    def as_json(self) -> dict[str, Any]:
        """Return everything for machines; the format keeps its shape."""
        return {
            "format": FORMAT,
            **{name: _about(loaded) for name, loaded in (("old", self.old), ("new", self.new))},
            "changes": [
                {
                    "sentence": change.sentence,
                    "direction": change.direction,
                    "key": ".".join(str(key) for key in change.keys),
                    "place": self.place(change),
                    "old": change.old,
                    "new": change.new,
                }
                for change in self.changes
            ],
            "readings": [_reading(change) for change in self.readings],
            "readings_before": self.counts[0],
            "readings_after": self.counts[1],
            "not_planned": list(self.problems),
            "sum": {
                "changes": {one: self.count(one, self.changes) for one in Direction},
                "readings": {one: self.count(one, self.readings) for one in Direction},
            },
        }


def revise(old: LoadedProfile, new: LoadedProfile, *, renamed: bool = False) -> Revision:
    """Return what two versions of a profile say differently.

    Raises PlanError where they are for different boards, unless the board was only `renamed`.
    """
    parts = old.profile.board.part, new.profile.board.part
    if parts[0] != parts[1] and not renamed:
        found = f"unrelated boards: {old.path} is for {parts[0]}, {new.path} for {parts[1]}"
        raise PlanError([f"{found} (two versions of one profile are compared; a new part number needs --renamed)"])
    before, after = planned(old), planned(new)
    readings = tuple(reading_changes(before, after))
    changes = (
        *(_weighed(change, before, after) for change in things(old.profile, new.profile)),
        *relay_limit_changes(old.profile, new.profile),
        *step_changes(old.profile.steps, new.profile.steps),
    )
    return Revision(
        old=old,
        new=new,
        changes=changes,
        readings=readings,
        counts=(len(before.checks), len(after.checks)),
        problems=tuple(dict.fromkeys((*before.problems, *after.problems))),
    )


def _weighed(change: Change, before: Planned, after: Planned) -> Change:
    """Return what came or went with what that means for the readings about it."""
    if change.direction is not NEUTRAL or len(change.keys) != 2 or change.old is not None or change.new is not None:
        return change
    name = change.keys[1]
    then, now = (sum(check.subject == name for check in side.checks.values()) for side in (before, after))
    if then == now:
        return change
    return replace(change, direction=LOOSER if now < then else TIGHTER)


def _about(loaded: LoadedProfile) -> dict[str, str]:
    board = loaded.profile.board
    return {"file": str(loaded.path), "digest": loaded.digest, "part": board.part, "board": board.name}


def _reading(change: ReadingChange) -> dict[str, Any]:
    check = change.check
    return {
        "id": check.id,
        "title": check.title,
        "unit": check.unit,
        "direction": change.direction,
        "before": _permitted(change.before),
        "after": _permitted(change.after),
        "place": check.place,
    }


def _permitted(permitted: Interval | str | None) -> object:
    return {"low": permitted.low, "high": permitted.high} if isinstance(permitted, Interval) else permitted
