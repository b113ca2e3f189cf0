"""A gauge study in words, tables and pictures."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from benchtest.metrology.figures import percent, plain
from benchtest.metrology.variance_components import Estimate, Source
from benchtest.studies.charts import MOST, bars, by_cell
from benchtest.studies.readings import Readings
from benchtest.studies.repeatability import SIGMAS, GaugeStudy
from benchtest.studies.report import Picture, Report, Table

_NAMES = {
    "gauge": "gauge, all of it",
    "repeatability": "  repeatability",
    "reproducibility": "  reproducibility",
    "operator": "    {}",
    "interaction": "    board x {}",
    "part": "boards",
    "total": "total",
}


def report(studies: Sequence[GaugeStudy], readings: Readings, *, pictures: bool) -> Report:
    """Return the study for people and machines."""
    first = studies[0]
    parts, operators, repeats = first.analysis.shape
    return Report(
        kind="repeatability",
        title=f"Repeatability: {parts} boards, {_counted(operators, first.across)}, {repeats} repeats",
        source=readings.source,
        summary=tuple(sentence for one in studies for sentence in _summary(one)),
        tables=tuple(table for one in studies for table in _tables(one, several=len(studies) > 1)),
        notes=(*readings.notes, *_notes(studies)),
        findings={"readings": [_finding(one) for one in studies]},
        pictures=tuple(picture for one in studies[:MOST] for picture in _pictures(one)) if pictures else (),
    )


def _counted(number: int, across: str) -> str:
    plural = across if number == 1 else "benches" if across == "bench" else f"{across}s"
    return f"{number} {plural}"


def _finding(one: GaugeStudy) -> dict[str, Any]:
    tolerance, low, high = one.of_tolerance
    return {
        "quantity": asdict(one.quantity),
        "across": one.across,
        "boards": list(one.boards),
        "operators": list(one.operators),
        "analysis": asdict(one.analysis),
        "by_ranges": asdict(one.ranges),
        "of_tolerance": {"value": tolerance, "low": low, "high": high},
        "categories": {"analysis of variance": categories(one), "means and ranges": whole(one.ranges.categories)},
    }


def categories(one: GaugeStudy) -> int | None:
    """Return how many kinds of boards the gauge tells apart, by the analysis of variance; None without a gauge."""
    return whole(one.analysis.components.categories.value)


def whole(number: float) -> int | None:
    """Return a number truncated; None where it is none."""
    return math.trunc(number) if math.isfinite(number) else None


def _summary(one: GaugeStudy) -> Iterator[str]:
    found, unit = one.analysis.components, one.quantity.unit
    yield (
        f"{one.quantity.title}: standard deviation of the gauge {plain(math.sqrt(found.gauge.value), unit, digits=3)} "
        f"({_between(_root(found.gauge), unit)}), {percent(found.study.value)} of the study's spread "
        f"({percent(found.study.low)} to {percent(found.study.high)})."
    )
    if math.isfinite(one.tolerance):
        value, low, high = one.of_tolerance
        both = math.isfinite(one.quantity.low) and math.isfinite(one.quantity.high)
        what = "the tolerance" if both else "twice the distance from the mean to the limit"
        yield f"{SIGMAS:g} of them are {percent(value)} of {what} ({percent(low)} to {percent(high)})."
    yield (
        f"Distinct categories: {categories(one)} by analysis of variance, {whole(one.ranges.categories)} by means and "
        "ranges."
    )


def _root(one: Estimate) -> Estimate:
    return Estimate(value=math.sqrt(one.value), low=math.sqrt(one.low), high=math.sqrt(one.high))


def _between(one: Estimate, unit: str) -> str:
    return f"{plain(one.low, unit, digits=3)} to {plain(one.high, unit, digits=3)}"


def _tables(one: GaugeStudy, *, several: bool) -> Iterator[Table]:
    of = f" of {one.quantity.title}" if several else ""
    head = ("source", "df", "sum of squares", "mean square", "F", "p")
    rows = tuple(_source(source, one.across) for source in one.analysis.whole)
    yield Table(title=f"Analysis of variance{of}", head=head, rows=rows)
    if one.analysis.pooled:
        rows = tuple(_source(source, one.across) for source in one.analysis.used)
        yield Table(title="After pooling the interaction", head=head, rows=rows)
    yield Table(
        title=f"What the spread is made of{of}",
        head=("", "s", "95 % limits" if one.analysis.confidence == 0.95 else "limits", "% of variance", "% of spread"),
        rows=tuple(_component(one, name) for name in _NAMES if _shown(one, name)),
    )


def _shown(one: GaugeStudy, name: str) -> bool:
    if one.analysis.shape[1] == 1:
        return name not in {"reproducibility", "operator", "interaction"}
    return name != "interaction" or not one.analysis.pooled


def _source(source: Source, across: str) -> tuple[str, ...]:
    ratio = "" if source.ratio is None else f"{source.ratio:.3f}"
    p = "" if source.probability is None else "< 0.001" if source.probability < 0.001 else f"{source.probability:.3f}"
    name = source.name.replace("operator", across)
    return name, str(source.freedom), f"{source.squares:.6g}", f"{source.mean_square:.6g}", ratio, p


def _component(one: GaugeStudy, name: str) -> tuple[str, ...]:
    found, unit = one.analysis.components, one.quantity.unit
    part: Estimate = getattr(found, name)
    root, total = _root(part), found.total.value
    return (
        _NAMES[name].format(one.across),
        plain(root.value, unit, digits=4),
        _between(root, unit),
        f"{100 * part.value / total:.2f}",
        f"{100 * math.sqrt(part.value / total):.2f}",
    )


def _notes(studies: Sequence[GaugeStudy]) -> Iterator[str]:
    pooled = [one for one in studies if one.analysis.pooled]
    if pooled:
        yield "the interaction is pooled with the repeats where its p is above the stated one (0.25 unless said)"
    yield (
        "confidence limits: repeatability exactly, by chi-squared; the share of the spread by critical values, the "
        "interaction left as it is; all others by generalised pivots"
    )
    yield "categories: 1.41 · boards / gauge, truncated; the two methods may differ by one or more for the same data"
    across = studies[0].across
    if studies[0].analysis.shape[1] == 1:
        yield f"one {across}: what differs from one {across} to another is not in this study"
    if studies[0].analysis.shape[0] < 5:
        yield f"{studies[0].analysis.shape[0]} boards hardly show how boards differ: look at the limits, take ten"


def _pictures(one: GaugeStudy) -> Iterator[Picture]:
    found, title = one.analysis.components, one.quantity.title
    yield by_cell(one.cells, one.boards, one.operators, one.quantity.unit, f"{title}: every reading")
    names = ["gauge", "repeatability", "reproducibility", "part"] if one.analysis.shape[1] > 1 else ["gauge", "part"]
    parts = [getattr(found, name).value / found.total.value for name in names]
    groups = [("variance", [100 * part for part in parts]), ("spread", [100 * math.sqrt(part) for part in parts])]
    if math.isfinite(one.tolerance):
        tolerance = [100 * SIGMAS * math.sqrt(getattr(found, name).value) / one.tolerance for name in names]
        groups.append(("tolerance", tolerance))
    labels = ["boards" if name == "part" else name for name in names]
    yield bars(labels, groups, f"{title}: share of the whole", "%")
