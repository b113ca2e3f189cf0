"""Has something moved? Control charts of the same thing, read again and again.

The first readings are the baseline: from them come centre and limits, and every reading is then held against these. A
baseline that signals by itself is told of, since limits from it hide what comes later.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np

from benchtest.errors import StudyError
from benchtest.metrology.control_chart import (
    FEWEST,
    Chart,
    RuleSet,
    Signal,
    deviations,
    ewma,
    individuals,
    lag_one,
    means,
    moving_ranges,
    signals,
)
from benchtest.studies.capability import grouped
from benchtest.studies.readings import Quantity, Readings, Series

Kind: TypeAlias = Literal["individuals", "means", "ewma"]
BASELINE: Final = 20
"""Points that the limits come from, unless somebody says otherwise."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Marked:
    """A signal with what it is about."""

    chart: str
    signal: Signal
    moment: float
    """When the point was read."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DriftStudy:
    """One reading, charted."""

    quantity: Quantity
    charts: tuple[Chart, ...]
    baseline: int
    signals: tuple[Marked, ...]
    """In the order of the points."""
    neighbours: float
    """Correlation of the baseline's points with their neighbours."""

    @property
    def fresh(self) -> tuple[Marked, ...]:
        """Signals after the baseline; those within it speak against the baseline."""
        return tuple(one for one in self.signals if one.signal.at >= self.baseline)


@dataclass(frozen=True, kw_only=True, slots=True)
class Drifts:
    """All readings, and those of which nothing can be said."""

    studies: tuple[DriftStudy, ...]
    left_out: tuple[str, ...]


def study_drift(
    readings: Readings, *, kind: Kind, rules: RuleSet, baseline: int = BASELINE, by: str = "group", weight: float = 0.2
) -> Drifts:
    """Return the charts of each reading. Raises StudyError when none can be charted."""
    studies, left_out = list[DriftStudy](), list[str]()
    for series in readings:
        try:
            studies.append(_study(series, kind, rules, baseline, by, weight))
        except ValueError as cause:
            left_out.append(f"{series.quantity.title}: {cause}")
    if not studies:
        raise StudyError(f"{readings.source}: no reading can be charted ({'; '.join(left_out[:3])})")
    return Drifts(studies=tuple(studies), left_out=tuple(left_out))


def _study(series: Series, kind: Kind, rules: RuleSet, baseline: int, by: str, weight: float) -> DriftStudy:
    moments = series.moments
    if kind == "means":
        codes = series.factors[by].codes
        _, first = np.unique(codes, return_index=True)
        moments = series.moments[np.sort(first)]
    if moments.size < FEWEST:
        raise ValueError(f"{moments.size} points (expected {FEWEST} or more)")
    base = min(baseline, moments.size)
    charts = _charts(series, kind, base, by, weight)
    points = series.values if kind == "ewma" else charts[0].points
    return DriftStudy(
        quantity=series.quantity,
        charts=charts,
        baseline=base,
        signals=_marked(charts, rules, moments),
        neighbours=lag_one(points[:base]),
    )


def _charts(series: Series, kind: Kind, base: int, by: str, weight: float) -> tuple[Chart, ...]:
    match kind:
        case "individuals":
            return individuals(series.values, base), moving_ranges(series.values, base)
        case "ewma":
            return (ewma(series.values, base, weight=weight),)
        case "means":
            groups = grouped(series, by)
            spread = means(groups, base)
            same = len({group.size for group in groups}) == 1
            return (spread, deviations(groups, base)) if same else (spread,)


def _marked(
    charts: Sequence[Chart], rules: RuleSet, moments: "np.ndarray[tuple[int], np.dtype[np.float64]]"
) -> tuple[Marked, ...]:
    """Return the signals of all charts; a moving range belongs to the later of its two readings."""
    found = []
    for chart in charts:
        later = moments.size - chart.points.size
        for one in signals(chart, rules):
            at = one.at + later
            found.append(Marked(chart=chart.kind, signal=Signal(rule=one.rule, at=at), moment=float(moments[at])))
    return tuple(sorted(found, key=lambda one: one.signal.at))
