"""Readings of many boards in columns, whatever they come from.

A million readings are a few arrays, not a million objects: what is read, by whom, on which bench and when are codes
into short lists of names. A source of readings (`reading_table`, `reading_runs`) makes one `Readings`; a study takes
one quantity after another from it.
"""

import fnmatch
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from benchtest.errors import StudyError

Numbers: TypeAlias = NDArray[np.float64]
Codes: TypeAlias = NDArray[np.int32]
FACTORS: Final = ("board", "operator", "bench", "phase", "group")
"""What readings are told apart by; `phase` is as found or as left, `group` a batch or a day."""
NEAR: Final = 6


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """Which runs are studied; a table says by its rows which readings are."""

    part: str = ""
    """Needed where there are runs of several."""
    passed_only: bool = False
    last_of_each: bool = False
    """The last run of each board is enough."""
    board: str | None = None
    bench: str | None = None

    def of_parts(self, parts: Sequence[str], source: str) -> str:
        """Return the one part that is studied; raise StudyError where it is not there, or not said which it is."""
        there = ", ".join(parts[:NEAR]) or "none"
        if self.part and self.part not in parts:
            raise StudyError(f"{source}: no run of {self.part!r} (there are runs of {there})")
        if not self.part and len(parts) != 1:
            raise StudyError(f"{source}: runs of {len(parts)} parts ({there}); choose one with --part")
        return self.part or parts[0]


@dataclass(frozen=True, kw_only=True, slots=True)
class Quantity:
    """What was read again and again."""

    id: str
    """Identifier of the check, such as `exercise.K3.operate-time`, or the word in the table's column."""
    title: str
    unit: str
    """SI."""
    low: float = -math.inf
    """Permitted by the profile, or by the table."""
    high: float = math.inf
    place: str = ""
    """file:line of the limit in the profile; empty where it has none."""

    @property
    def limited(self) -> bool:
        """Whether anything is permitted or not."""
        return math.isfinite(self.low) or math.isfinite(self.high)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Factor:
    """A column of names, as codes."""

    codes: Codes
    names: tuple[str, ...]

    def taken(self, rows: NDArray[np.intp]) -> "Factor":
        """Return these rows with the names that are left, in the order of the names."""
        used, codes = np.unique(self.codes[rows], return_inverse=True)
        return Factor(codes=codes.astype(np.int32), names=tuple(self.names[code] for code in used))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Series:
    """The readings of one quantity, in the order of time."""

    quantity: Quantity
    values: Numbers
    expanded: Numbers
    """Expanded uncertainty U of each; NaN where none is known."""
    scatter: Numbers
    """Standard uncertainty that differs from reading to reading; NaN where none is known."""
    moments: Numbers
    """Seconds since 1970, or the number in the order of reading."""
    factors: dict[str, Factor]

    @property
    def count(self) -> int:
        """Number of readings."""
        return self.values.size

    def at(self, rows: NDArray[np.intp]) -> "Series":
        """Return these rows."""
        return Series(
            quantity=self.quantity,
            values=self.values[rows],
            expanded=self.expanded[rows],
            scatter=self.scatter[rows],
            moments=self.moments[rows],
            factors={name: factor.taken(rows) for name, factor in self.factors.items()},
        )

    def where(self, name: str, value: str) -> "Series":
        """Return the readings with one name in a column."""
        factor = self.factors[name]
        code = factor.names.index(value) if value in factor.names else -1
        return self.at(np.flatnonzero(factor.codes == code))

    def last_of_each(self, name: str) -> "Series":
        """Return the last reading of each name in a column, still in the order of time."""
        _, places = np.unique(self.factors[name].codes[::-1], return_index=True)
        return self.at(np.sort(self.count - 1 - places))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Readings:
    """All that a study was given."""

    source: str
    """For people: where they come from."""
    quantities: tuple[Quantity, ...]
    which: Codes
    """Row → quantity."""
    values: Numbers
    expanded: Numbers
    scatter: Numbers
    moments: Numbers
    factors: dict[str, Factor]
    notes: tuple[str, ...] = ()
    """What a reader of the study must know: what was set aside, and that boards were simulated."""

    def __iter__(self) -> Iterator[Series]:
        """Yield one series for each quantity, sorted by time once for all of them."""
        order = np.lexsort((self.moments, self.which))
        starts = np.searchsorted(self.which[order], np.arange(len(self.quantities) + 1))
        for number, quantity in enumerate(self.quantities):
            rows = order[starts[number] : starts[number + 1]]
            if rows.size:
                yield Series(
                    quantity=quantity,
                    values=self.values[rows],
                    expanded=self.expanded[rows],
                    scatter=self.scatter[rows],
                    moments=self.moments[rows],
                    factors={name: factor.taken(rows) for name, factor in self.factors.items()},
                )

    def only(self, patterns: Sequence[str]) -> "Readings":
        """Return the readings whose quantity fits one of the patterns by its identifier, its end, or its title.

        Raises StudyError that names the nearest when a pattern fits none.
        """
        if not patterns:
            return self
        fitting = [[_fits(quantity, pattern) for quantity in self.quantities] for pattern in patterns]
        for pattern, row in zip(patterns, fitting, strict=True):
            if not any(row):
                raise StudyError(f"{self.source}: no reading is called {pattern!r} ({_known(self.quantities)})")
        return self.of_quantities(np.flatnonzero(np.any(fitting, axis=0)))

    def where(self, **chosen: str | None) -> "Readings":
        """Return the readings with these names in these columns. Raises StudyError when there are none."""
        rows = np.ones(self.values.size, np.bool_)
        for name, value in chosen.items():
            factor = self.factors[name]
            if value is not None and value not in factor.names:
                there = ", ".join(factor.names[:NEAR]) or "none"
                raise StudyError(f"{self.source}: no {name} {value!r} (there are {there})")
            if value is not None:
                rows &= factor.codes == factor.names.index(value)
        if not rows.any():
            raise StudyError(f"{self.source}: no reading is of all of {', '.join(v for v in chosen.values() if v)}")
        return self._at(np.flatnonzero(rows))

    def of_quantities(self, kept: NDArray[np.intp]) -> "Readings":
        """Return the readings of the quantities with these numbers, which are sorted."""
        found = self._at(np.flatnonzero(np.isin(self.which, kept)))
        return replace(
            found,
            quantities=tuple(self.quantities[number] for number in kept),
            which=np.searchsorted(kept, found.which).astype(np.int32),
        )

    def _at(self, rows: NDArray[np.intp]) -> "Readings":
        if rows.size == self.values.size:
            return self
        return replace(
            self,
            which=self.which[rows],
            values=self.values[rows],
            expanded=self.expanded[rows],
            scatter=self.scatter[rows],
            moments=self.moments[rows],
            factors={name: Factor(codes=one.codes[rows], names=one.names) for name, one in self.factors.items()},
        )


def _fits(quantity: Quantity, pattern: str) -> bool:
    asked = pattern.strip().replace(" ", "-").lower()
    title = quantity.title.replace(" ", "-").lower()
    names = (quantity.id.lower(), quantity.id.partition(".")[2].lower(), title)
    return any(fnmatch.fnmatchcase(name, asked) for name in names)


def _known(quantities: Sequence[Quantity]) -> str:
    names = ", ".join(quantity.id for quantity in quantities[:NEAR])
    more = f" and {len(quantities) - NEAR} more" if len(quantities) > NEAR else ""
    return f"there are {names}{more}; * stands for anything"


def joined(parts: Sequence[Readings]) -> Readings:
    """Return readings of several sources as one; a quantity is known by its identifier."""
    if len(parts) == 1:
        return parts[0]
    quantities: dict[str, Quantity] = {}
    for part in parts:
        quantities |= {quantity.id: quantity for quantity in part.quantities}
    places = {name: number for number, name in enumerate(quantities)}
    which = [np.array([places[one.id] for one in part.quantities], np.int32)[part.which] for part in parts]
    return Readings(
        source=", ".join(part.source for part in parts),
        quantities=tuple(quantities.values()),
        which=np.concatenate(which),
        values=np.concatenate([part.values for part in parts]),
        expanded=np.concatenate([part.expanded for part in parts]),
        scatter=np.concatenate([part.scatter for part in parts]),
        moments=np.concatenate([part.moments for part in parts]),
        factors={name: _joined([part.factors[name] for part in parts]) for name in FACTORS},
        notes=tuple(dict.fromkeys(note for part in parts for note in part.notes)),
    )


def _joined(factors: Sequence[Factor]) -> Factor:
    names = {name: number for number, name in enumerate(dict.fromkeys(n for one in factors for n in one.names))}
    codes = [np.array([names[name] for name in one.names], np.int32)[one.codes] for one in factors]
    return Factor(codes=np.concatenate(codes), names=tuple(names))
