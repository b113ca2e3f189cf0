"""Control charts: where a stable process keeps its points, and the named rules that say it has moved.

Every chart here gives standardised points, in standard deviations of what is charted, so that the rules are the same
for all of them. A rule marks each point at which its pattern is complete. Rules are vectorised: a million points cost
a few hundredths of a second.

Centre and spread come from the points that are taken as the baseline. Individuals: mean moving range over d2. Means and
deviations of groups: mean of s/c4, weighted alike. EWMA: the spread of the individuals chart, with the exact spread of
the average at each point. No library but NumPy is loaded: a bench asks this before every run.

Source: W. A. Shewhart; Western Electric, Statistical Quality Control Handbook (1956); L. S. Nelson, J. Quality
Technology 16 (1984) 237; S. W. Roberts, Technometrics 1 (1959) 239 (all from memory; the patterns from public
descriptions). The mean run length of the four Western Electric rules, 91.75, judges them in the tests.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from benchtest.metrology.ranges import c4, d2, d3

Numbers: TypeAlias = NDArray[np.float64]
Marks: TypeAlias = NDArray[np.bool_]
RuleSet: TypeAlias = Literal["western electric", "nelson", "limits"]
FEWEST: Final = 8
"""Points from which a baseline says where the limits are."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Chart:
    """What is drawn: points, centre and limits, in the unit of the readings."""

    kind: str
    points: Numbers
    centre: float
    deviations: Numbers
    """Standard deviation of each point while nothing moves."""
    reach: float = 3.0
    """Limits in these standard deviations."""
    floor: float = -math.inf
    """What no point can fall below."""

    @property
    def standardised(self) -> Numbers:
        """Points in their standard deviations from the centre."""
        return (self.points - self.centre) / self.deviations

    @property
    def low(self) -> Numbers:
        """Lower limit at each point."""
        return np.maximum(self.floor, self.centre - self.reach * self.deviations)

    @property
    def high(self) -> Numbers:
        """Upper limit at each point."""
        return self.centre + self.reach * self.deviations

    def since(self, first: int) -> "Chart":
        """Return the chart of the points from `first` on, against the same limits."""
        return replace(self, points=self.points[first:], deviations=self.deviations[first:])


@dataclass(frozen=True, kw_only=True, slots=True)
class Signal:
    """A rule whose pattern is complete at a point."""

    rule: str
    """Its name and what it says: `Western Electric 4: 8 in a row on one side of the centre`."""
    at: int
    """Point, from 0."""


def individuals(readings: Numbers, baseline: int) -> Chart:
    """Return the chart of single readings; raises ValueError when those of the baseline do not differ."""
    spread = spread_of(readings[:baseline])
    return Chart(
        kind="individuals",
        points=readings,
        centre=float(readings[:baseline].mean()),
        deviations=np.full(readings.size, spread),
    )


def spread_of(readings: Numbers) -> float:
    """Return the standard deviation by the mean moving range; a drift among the readings does not widen it."""
    if readings.size < 2:
        raise ValueError(f"{readings.size} readings have no moving range (expected two or more)")
    spread = float(np.abs(np.diff(readings)).mean()) / d2(2)
    if not spread > 0:
        raise ValueError("readings of the baseline that do not differ give no limits")
    return spread


def lag_one(readings: Numbers) -> float:
    """Return the correlation of readings with their neighbours; NaN where they do not differ.

    All sums are over all readings, as NIST's reference data sets have it.
    """
    away = readings - readings.mean()
    squares = float(away @ away)
    return float(away[1:] @ away[:-1]) / squares if squares > 0 else math.nan


def moving_ranges(readings: Numbers, baseline: int) -> Chart:
    """Return the chart of differences between neighbours, one point fewer than readings."""
    spread = spread_of(readings[:baseline])
    ranges = np.abs(np.diff(readings))
    return Chart(
        kind="moving range",
        points=ranges,
        centre=d2(2) * spread,
        deviations=np.full(ranges.size, d3(2) * spread),
        floor=0.0,
    )


def means(groups: Sequence[Numbers], baseline: int) -> Chart:
    """Return the chart of the means of groups, which may differ in size."""
    spread = within(groups[:baseline])
    sizes = np.array([group.size for group in groups], np.float64)
    first = np.concatenate(groups[:baseline])
    return Chart(
        kind="means",
        points=np.array([float(group.mean()) for group in groups]),
        centre=float(first.mean()),
        deviations=spread / np.sqrt(sizes),
    )


def deviations(groups: Sequence[Numbers], baseline: int) -> Chart:
    """Return the chart of the standard deviations of groups of one size; raises ValueError for groups of several."""
    sizes = {group.size for group in groups}
    if len(sizes) > 1:
        raise ValueError(f"groups of {min(sizes)} to {max(sizes)} readings have no common limits for s")
    spread, unbiased = within(groups[:baseline]), c4(sizes.pop())
    return Chart(
        kind="standard deviations",
        points=np.array([float(group.std(ddof=1)) for group in groups]),
        centre=unbiased * spread,
        deviations=np.full(len(groups), spread * math.sqrt(1 - unbiased**2)),
        floor=0.0,
    )


def within(groups: Sequence[Numbers]) -> float:
    """Return the standard deviation inside of groups: the mean of s/c4."""
    if not groups or min(group.size for group in groups) < 2:
        raise ValueError("a group with one reading has no standard deviation")
    spread = float(np.mean([group.std(ddof=1) / c4(group.size) for group in groups]))
    if not spread > 0:
        raise ValueError("readings that do not differ inside their groups give no limits")
    return spread


def ewma(readings: Numbers, baseline: int, *, weight: float = 0.2, reach: float = 2.86) -> Chart:
    """Return the chart of the exponentially weighted moving average; begins at the centre.

    With weight 0.2 and limits at 2.86 standard deviations a false alarm comes after some 370 points.
    """
    if not 0 < weight <= 1:
        raise ValueError(f"a weight of {weight} (expected one above 0, up to 1)")
    base = individuals(readings, baseline)
    averages, last = np.empty(readings.size), base.centre
    for place, reading in enumerate(readings.tolist()):
        last += weight * (reading - last)
        averages[place] = last
    ages = np.arange(1, readings.size + 1)
    shares = weight / (2 - weight) * (1 - (1 - weight) ** (2 * ages))
    return Chart(
        kind="EWMA", points=averages, centre=base.centre, deviations=base.deviations * np.sqrt(shares), reach=reach
    )


# ---------------------------------------------------------------- rules


def _sum(marks: Marks, length: int) -> NDArray[np.int64]:
    """Return how many of the last `length` points are marked; -1 while there are fewer points."""
    sums = np.full(marks.size, -1, np.int64)
    if marks.size >= length:
        total = np.concatenate(([0], np.cumsum(marks)))
        sums[length - 1 :] = total[length:] - total[:-length]
    return sums


def _beyond(z: Numbers, distance: float, *, of: int, needed: int) -> Marks:
    """Mark a point beyond a distance that is the last of `needed` in `of` on its side."""
    high, low = z > distance, z < -distance
    return np.asarray(np.logical_or(high & _some(high, of, needed), low & _some(low, of, needed)))


def _some(marks: Marks, of: int, needed: int) -> Marks:
    total = np.concatenate(([0], np.cumsum(marks)))
    ends = np.arange(1, marks.size + 1)
    return np.asarray(total[ends] - total[np.maximum(0, ends - of)] >= needed)


def _one_side(z: Numbers, length: int) -> Marks:
    return np.asarray(np.logical_or(_sum(z > 0, length) == length, _sum(z < 0, length) == length))


def _steady(z: Numbers, length: int) -> Marks:
    """Mark the last of `length` points that only rise, or only fall."""
    steps = np.diff(z, prepend=np.nan)
    up, down = (_sum(way, length - 1) == length - 1 for way in (steps > 0, steps < 0))
    return np.asarray(up | down)


def _alternating(z: Numbers, length: int) -> Marks:
    steps = np.diff(z)
    turns = np.zeros(z.size, np.bool_)
    turns[2:] = steps[1:] * steps[:-1] < 0
    return np.asarray(_sum(turns, length - 2) == length - 2)


def _inside(z: Numbers, length: int) -> Marks:
    return np.asarray(_sum(np.abs(z) < 1, length) == length)


def _outside(z: Numbers, length: int) -> Marks:
    """Mark the last of `length` points that keep off the centre, on both sides of it."""
    off = _sum(np.abs(z) > 1, length) == length
    return np.asarray(off & (_sum(z > 0, length) > 0) & (_sum(z < 0, length) > 0))


Rule: TypeAlias = Callable[[Numbers], Marks]
LIMITS: Final[Mapping[str, Rule]] = {"beyond the limits": lambda z: _beyond(z, 3, of=1, needed=1)}
WESTERN_ELECTRIC: Final[Mapping[str, Rule]] = {
    "Western Electric 1: beyond 3 sigma": lambda z: _beyond(z, 3, of=1, needed=1),
    "Western Electric 2: 2 of 3 beyond 2 sigma on one side": lambda z: _beyond(z, 2, of=3, needed=2),
    "Western Electric 3: 4 of 5 beyond 1 sigma on one side": lambda z: _beyond(z, 1, of=5, needed=4),
    "Western Electric 4: 8 in a row on one side of the centre": lambda z: _one_side(z, 8),
}
NELSON: Final[Mapping[str, Rule]] = {
    "Nelson 1: beyond 3 sigma": lambda z: _beyond(z, 3, of=1, needed=1),
    "Nelson 2: 9 in a row on one side of the centre": lambda z: _one_side(z, 9),
    "Nelson 3: 6 in a row steadily rising or falling": lambda z: _steady(z, 6),
    "Nelson 4: 14 in a row alternating up and down": lambda z: _alternating(z, 14),
    "Nelson 5: 2 of 3 beyond 2 sigma on one side": lambda z: _beyond(z, 2, of=3, needed=2),
    "Nelson 6: 4 of 5 beyond 1 sigma on one side": lambda z: _beyond(z, 1, of=5, needed=4),
    "Nelson 7: 15 in a row within 1 sigma": lambda z: _inside(z, 15),
    "Nelson 8: 8 in a row beyond 1 sigma, on both sides": lambda z: _outside(z, 8),
}
RULES: Final[Mapping[RuleSet, Mapping[str, Rule]]] = {
    "western electric": WESTERN_ELECTRIC,
    "nelson": NELSON,
    "limits": LIMITS,
}


def signals(chart: Chart, rules: RuleSet) -> tuple[Signal, ...]:
    """Return where the patterns of the rules are complete, in the order of the points.

    Points of an EWMA, of moving ranges and of standard deviations hang together or are not normal: only their limits
    say something, whatever rules are asked for.
    """
    z = chart.standardised * (3.0 / chart.reach)
    patterns = RULES[rules] if chart.kind in {"individuals", "means"} else LIMITS
    found = [Signal(rule=name, at=int(at)) for name, rule in patterns.items() for at in np.flatnonzero(rule(z))]
    return tuple(sorted(found, key=lambda one: one.at))
