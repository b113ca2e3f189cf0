"""One thing that two versions of a profile say differently, and whether more or less is permitted by it."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from benchtest.metrology.figures import limit
from benchtest.quantities import RATIO, Dimension

KeyPath = tuple[str | int, ...]


class Direction(StrEnum):
    """Whether a board passes more easily, less easily, or neither can be said."""

    LOOSER = "looser"
    TIGHTER = "tighter"
    NEUTRAL = "neutral"


LOOSER, TIGHTER, NEUTRAL = Direction.LOOSER, Direction.TIGHTER, Direction.NEUTRAL


@dataclass(frozen=True, kw_only=True, slots=True)
class Change:
    """One difference in meaning."""

    sentence: str
    direction: Direction
    keys: KeyPath
    """Where it stands, in the new profile or, where something was removed, in the old one."""
    removed: bool = False
    old: str | None = None
    """As people read it; None where there was nothing."""
    new: str | None = None


def written(value: Any, dimension: Dimension | None = None) -> str:
    """Return a value of a profile as people read it."""
    match value:
        case None:
            return "none"
        case bool():
            return "yes" if value else "no"
        case int() | float() if dimension is not None:
            return limit(float(value), "%" if dimension == RATIO else dimension.unit)
        case dict():
            inside = ", ".join(f"{name} {written(inner, dimension)}" for name, inner in value.items())
            return inside or "none"
        case tuple() | list():
            return ", ".join(written(inner, dimension) for inner in value) or "none"
        case str():
            return value
    return str(value)


def listed(names: Iterable[str]) -> str:
    """Return names as a list."""
    return ", ".join(names)


def more_is(direction: Direction, old: float, new: float) -> Direction:
    """Return `direction` where the new number is the larger one, else its opposite."""
    return direction if new > old else opposite(direction)


def opposite(direction: Direction) -> Direction:
    return {LOOSER: TIGHTER, TIGHTER: LOOSER, NEUTRAL: NEUTRAL}[direction]


def replaced(
    subject: str, what: str, keys: KeyPath, old: Any, new: Any, direction: Direction, dimension: Dimension | None = None
) -> Change:
    """Return the change of one value into another."""
    was, now = written(old, dimension), written(new, dimension)
    sentence = f"{subject} {what}: {was} -> {now}" if subject else f"{what}: {was} -> {now}"
    return Change(sentence=sentence, direction=direction, keys=keys, old=was, new=now)


def named_differences(
    subject: str,
    what: str,
    keys: KeyPath,
    old: Any,
    new: Any,
    fewer: Direction,
    dimension: Dimension | None = None,
) -> Iterator[Change]:
    """Yield what was added to a list of names and what was removed; `fewer` is what fewer of them mean."""
    gone = [one for one in old if one not in new]
    come = [one for one in new if one not in old]
    head = f"{subject} {what}".strip()
    if gone:
        text = written(gone, dimension)
        yield Change(sentence=f"{head}: {text} removed", direction=fewer, keys=keys, old=text)
    if come:
        text = written(come, dimension)
        yield Change(sentence=f"{head}: {text} added", direction=opposite(fewer), keys=keys, new=text)
    if not gone and not come and old != new:
        yield Change(sentence=f"{head}: in another order", direction=NEUTRAL, keys=keys)
