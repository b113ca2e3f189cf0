"""How the spread of readings compares with the limits that are set for them.

Of boards, the last reading of each counts. The spread within short spans is that inside of groups (a column, or the day
of the run), else that between neighbours in time. By percentiles nothing is supposed of the distribution, but the outer
ones lie among the readings only from 741 of them.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np

from benchtest.errors import StudyError
from benchtest.metrology.capability import (
    Capability,
    Percentiles,
    by_percentiles,
    capability,
    percentile_count,
    percentiles,
    successive_freedom,
)
from benchtest.metrology.control_chart import spread_of
from benchtest.metrology.normality import normality
from benchtest.studies.readings import Numbers, Quantity, Readings, Series

Within: TypeAlias = Literal["neighbours", "group", "bench", "operator"]
FEWEST: Final = 5
"""Readings of which a capability is worth a number."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ByPercentiles:
    """Indices that suppose no distribution."""

    percentiles: Percentiles
    spread: float | None
    nearer: float


@dataclass(frozen=True, kw_only=True, slots=True)
class CapabilityStudy:
    """One reading, studied."""

    quantity: Quantity
    count: int
    mean: float
    deviation: float
    within: float
    """Standard deviation within short spans."""
    normality: float
    """Anderson and Darling's probability."""
    short: Capability
    """Cp and Cpk."""
    overall: Capability
    """Pp and Ppk."""
    free: ByPercentiles | None
    """None where there are too few readings."""
    outside: int
    """Readings beyond a limit."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Studied:
    """All readings, and those of which nothing can be said."""

    studies: tuple[CapabilityStudy, ...]
    left_out: tuple[str, ...]


def of_boards(series: Series) -> Series:
    """Return the last reading of each board; all readings where no boards are named, or only one is."""
    return series.last_of_each("board") if len(series.factors["board"].names) > 1 else series


def study_capability(readings: Readings, *, within: Within = "neighbours", confidence: float = 0.95) -> Studied:
    """Return a study of each reading that has a limit. Raises StudyError when none can be studied."""
    studies, left_out = list[CapabilityStudy](), list[str]()
    for series in readings:
        chosen = of_boards(series)
        if reason := _unfit(chosen):
            left_out.append(f"{series.quantity.title}: {reason}")
            continue
        try:
            studies.append(_study(chosen, within, confidence))
        except ValueError as cause:
            left_out.append(f"{series.quantity.title}: {cause}")
    if not studies:
        raise StudyError(f"{readings.source}: no reading can be studied ({'; '.join(left_out[:3])})")
    return Studied(studies=tuple(studies), left_out=tuple(left_out))


def _unfit(series: Series) -> str:
    """Return why a reading cannot be studied; nothing when it can."""
    if not series.quantity.limited:
        return "no limit is set (give the table the columns low and high)"
    if series.count < FEWEST:
        return f"{series.count} readings (expected {FEWEST} or more)"
    if not float(np.ptp(series.values)) > 0:
        return "all readings are the same number"
    return ""


def _study(series: Series, within: Within, confidence: float) -> CapabilityStudy:
    values, quantity = series.values, series.quantity
    mean, deviation = float(values.mean()), float(values.std(ddof=1))
    short, freedom = _within(series, within)

    def indices(spread: float, free: float) -> Capability:
        limits = {"low": quantity.low, "high": quantity.high, "confidence": confidence}
        return capability(mean, spread, count=series.count, freedom=free, **limits)

    return CapabilityStudy(
        quantity=quantity,
        count=series.count,
        mean=mean,
        deviation=deviation,
        within=short,
        normality=normality(values).probability,
        short=indices(short, freedom),
        overall=indices(deviation, series.count - 1.0),
        free=_free(values, quantity, confidence),
        outside=int(np.count_nonzero((values < quantity.low) | (values > quantity.high))),
    )


def _within(series: Series, within: Within) -> tuple[float, float]:
    """Return the standard deviation within short spans and its degrees of freedom."""
    if within == "neighbours":
        return spread_of(series.values), successive_freedom(series.count)
    groups = grouped(series, within)
    squares = math.fsum(float(((one - one.mean()) ** 2).sum()) for one in groups)
    freedom = sum(one.size - 1 for one in groups)
    if not (freedom > 0 and squares > 0):
        raise ValueError(f"no {within} holds two readings that differ")
    return math.sqrt(squares / freedom), float(freedom)


def grouped(series: Series, name: str) -> Sequence[Numbers]:
    """Return the readings of each name in a column, in the order in which the names first come."""
    codes = series.factors[name].codes
    order = np.argsort(codes, kind="stable")
    parts = np.split(series.values[order], np.flatnonzero(np.diff(codes[order])) + 1)
    _, first = np.unique(codes, return_index=True)
    return [parts[number] for number in np.argsort(first)]


def _free(values: Numbers, quantity: Quantity, confidence: float) -> ByPercentiles | None:
    if values.size < percentile_count():
        return None
    found = percentiles(np.sort(values), confidence)
    if not found.lower.value < found.median.value < found.upper.value:
        return None
    spread, nearer = by_percentiles(found, low=quantity.low, high=quantity.high)
    return ByPercentiles(percentiles=found, spread=spread, nearer=nearer)
