"""Capability in words, tables and pictures."""

import math
from collections.abc import Iterator

from benchtest.metrology.capability import percentile_count
from benchtest.metrology.figures import percent, permitted, plain
from benchtest.metrology.variance_components import Estimate
from benchtest.studies.capability import CapabilityStudy, Studied, Within, of_boards
from benchtest.studies.charts import MOST, histogram
from benchtest.studies.readings import Readings
from benchtest.studies.report import Picture, Report, Table

SUSPECT = 0.05
"""Anderson and Darling's probability below which an index for normal readings is marked."""


def report(found: Studied, readings: Readings, *, within: Within, confidence: float, pictures: bool) -> Report:
    """Return the study for people and machines."""
    return Report(
        kind="capability",
        title=f"Capability of {len(found.studies)} reading{'s' if len(found.studies) != 1 else ''}",
        source=readings.source,
        summary=tuple(_summary(found)),
        tables=tuple(_tables(found)),
        notes=(*readings.notes, *_notes(found, within, confidence)),
        findings={
            "within": within,
            "confidence": confidence,
            "readings": found.studies,
            "left_out": found.left_out,
        },
        pictures=tuple(_pictures(found, readings)) if pictures else (),
    )


def worst(found: Studied) -> tuple[CapabilityStudy, ...]:
    """Return the studies, the least capable first."""
    return tuple(sorted(found.studies, key=lambda one: one.overall.nearer.value))


def _summary(found: Studied) -> Iterator[str]:
    least = worst(found)[0]
    low = permitted(_bound(least.quantity.low), _bound(least.quantity.high), least.quantity.unit)
    yield (
        f"Least capable: {least.quantity.title}, Ppk {_estimate(least.overall.nearer)}; "
        f"{least.count} readings with mean {plain(least.mean, least.quantity.unit)} and standard deviation "
        f"{plain(least.deviation, least.quantity.unit, digits=3)}, permitted {low}."
    )


def _bound(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _estimate(one: Estimate | None) -> str:
    return "-" if one is None else f"{one.value:.2f} ({one.low:.2f} to {one.high:.2f})"


def _tables(found: Studied) -> Iterator[Table]:
    head = ("reading", "n", "p", "Cp", "Cpk", "Pp", "Ppk")
    rows = tuple(
        (
            one.quantity.title,
            str(one.count),
            _probability(one),
            *(_index(index) for index in (one.short.spread, one.short.nearer, one.overall.spread)),
            _index(one.overall.nearer),
        )
        for one in worst(found)
    )
    yield Table(title="Indices", head=head, rows=rows)
    limits = tuple(
        (one.quantity.title, _range(one.short.nearer), _range(one.overall.nearer), str(one.outside))
        for one in worst(found)
    )
    yield Table(title="Confidence limits", head=("reading", "Cpk", "Ppk", "outside"), rows=limits)
    free = tuple(
        (
            one.quantity.title,
            plain(one.free.percentiles.lower.value, one.quantity.unit),
            plain(one.free.percentiles.median.value, one.quantity.unit),
            plain(one.free.percentiles.upper.value, one.quantity.unit),
            "-" if one.free.spread is None else f"{one.free.spread:.2f}",
            f"{one.free.nearer:.2f}",
        )
        for one in worst(found)
        if one.free is not None
    )
    if free:
        yield Table(title="By percentiles", head=("reading", "0.135 %", "50 %", "99.865 %", "Pp", "Ppk"), rows=free)


def _probability(one: CapabilityStudy) -> str:
    if math.isnan(one.normality):
        return "-"
    return ("< 0.001" if one.normality < 0.001 else f"{one.normality:.3f}") + ("!" if one.normality < SUSPECT else "")


def _index(one: Estimate | None) -> str:
    return "-" if one is None else f"{one.value:.2f}"


def _range(one: Estimate) -> str:
    return f"{one.low:.2f} to {one.high:.2f}"


def _notes(found: Studied, within: Within, confidence: float) -> Iterator[str]:
    spans = "between neighbours in time" if within == "neighbours" else f"inside of each {within}"
    yield f"Cp, Cpk: spread {spans}; Pp, Ppk: spread of all readings; {percent(confidence)} limits"
    yield "limits of Pp by chi-squared, of Cpk and Ppk by noncentral t for the nearer limit"
    if any(one.normality < SUSPECT for one in found.studies):
        yield f"!: not normal (p below {SUSPECT:g}); these indices do not mean what they say, take those by percentiles"
    if any(one.free is None for one in found.studies):
        yield f"percentiles need {percentile_count()} readings"
    yield from (f"left out: {one}" for one in found.left_out)


def _pictures(found: Studied, readings: Readings) -> Iterator[Picture]:
    shown = {one.quantity.id: one for one in worst(found)[:MOST]}
    for series in readings:
        if (one := shown.get(series.quantity.id)) is not None:
            lines = (("low", one.quantity.low), ("high", one.quantity.high))
            yield histogram(of_boards(series).values, one.quantity.unit, one.quantity.title, lines=lines)
