"""Control charts in words, tables and pictures."""

import math
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

from benchtest.metrology.control_chart import RuleSet
from benchtest.metrology.figures import plain
from benchtest.studies.charts import MOST, control_charts
from benchtest.studies.drift import Drifts, DriftStudy, Marked
from benchtest.studies.readings import Readings
from benchtest.studies.report import Picture, Report, Table

YEAR_2000 = 946_684_800.0
"""Moments below it are numbers in the order of reading, not times."""


def report(found: Drifts, readings: Readings, *, rules: RuleSet, pictures: bool) -> Report:
    """Return the study for people and machines."""
    first = found.studies[0]
    return Report(
        kind="drift",
        title=f"Drift: chart of {first.charts[0].kind}, readings: {len(found.studies)}",
        source=readings.source,
        summary=tuple(_summary(found)),
        tables=tuple(_tables(found)),
        notes=(*readings.notes, *_notes(found, rules)),
        findings={"rules": rules, "readings": [_finding(one) for one in found.studies], "left_out": found.left_out},
        pictures=tuple(_pictures(found)) if pictures else (),
    )


def worst(found: Drifts) -> tuple[DriftStudy, ...]:
    """Return the studies, those with most signals after the baseline first."""
    return tuple(sorted(found.studies, key=lambda one: -len(one.fresh)))


def _finding(one: DriftStudy) -> dict[str, Any]:
    return {
        "quantity": one.quantity,
        "baseline": one.baseline,
        "neighbours": one.neighbours,
        "charts": [
            {
                "kind": chart.kind,
                "points": int(chart.points.size),
                "centre": chart.centre,
                "low": float(chart.low[-1]),
                "high": float(chart.high[-1]),
            }
            for chart in one.charts
        ],
        "signals": [
            {"chart": s.chart, "rule": s.signal.rule, "point": s.signal.at + 1, "at": when(s.moment)}
            for s in one.signals
        ],
    }


def when(moment: float) -> str:
    """Return a moment for people: a time, or the number of the reading."""
    if moment < YEAR_2000:
        return f"{moment:g}"
    return datetime.fromtimestamp(moment, UTC).isoformat(timespec="minutes").removesuffix("+00:00")


def _summary(found: Drifts) -> Iterator[str]:
    moved = [one for one in worst(found) if one.fresh]
    yield f"{len(moved)} of {len(found.studies)} readings raise a signal after the baseline."
    for one in moved[:5]:
        first = one.fresh[0]
        yield f"{one.quantity.title}: first at point {first.signal.at + 1} ({when(first.moment)}), {first.signal.rule}."
    loose = [one.quantity.title for one in found.studies if len(one.signals) > len(one.fresh)]
    if loose:
        names = ", ".join(loose[:3]) + (f" and {len(loose) - 3} more" if len(loose) > 3 else "")
        yield f"Signals within the baseline itself: {names}. Limits from it are too wide, or the wrong ones."


def _tables(found: Drifts) -> Iterator[Table]:
    rows = []
    for one in worst(found):
        for chart in one.charts:
            count = sum(1 for s in one.fresh if s.chart == chart.kind)
            unit = one.quantity.unit
            cells = (plain(v, unit) for v in (chart.centre, float(chart.low[-1]), float(chart.high[-1])))
            rows.append((f"{one.quantity.title}, {chart.kind}", str(chart.points.size), *cells, str(count)))
    yield Table(title="Charts", head=("reading", "points", "centre", "low", "high", "signals"), rows=tuple(rows))
    for one in worst(found)[:MOST]:
        if one.signals:
            rules: dict[tuple[str, str], list[Marked]] = {}
            for s in one.signals:
                rules.setdefault((s.signal.rule, s.chart), []).append(s)
            yield Table(
                title=f"Signals of {one.quantity.title}",
                head=("rule", "points", "first", "at", "last"),
                rows=tuple(_rule(name, chart, marked) for (name, chart), marked in rules.items()),
            )


def _rule(name: str, chart: str, marked: list[Marked]) -> tuple[str, ...]:
    first, last = marked[0], marked[-1]
    return f"{name} ({chart})", str(len(marked)), str(first.signal.at + 1), when(first.moment), str(last.signal.at + 1)


def _notes(found: Drifts, rules: RuleSet) -> Iterator[str]:
    sizes = Counter(one.baseline for one in found.studies)
    counted = " or ".join(str(size) for size in sorted(sizes)[:3])
    yield f"centre and limits from the first {counted} points; s from the mean moving range, or inside of groups"
    if found.studies[0].charts[0].kind == "EWMA":
        yield "limits at 2.86 standard deviations of the average: a false alarm in some 370 points at weight 0.2"
    elif rules == "western electric":
        yield "the four Western Electric rules together give a false alarm in some 92 points"
    elif rules == "nelson":
        yield "the eight Nelson rules together give a false alarm in some 75 points"
    for one in found.studies:
        if one.neighbours > 2 / math.sqrt(one.baseline):
            yield (
                f"{one.quantity.title}: neighbours in the baseline hang together (r = {one.neighbours:.2f}); the rules "
                "suppose that they do not, and alarm more often than stated"
            )
    yield from (f"left out: {one}" for one in found.left_out)


def _pictures(found: Drifts) -> Iterator[Picture]:
    for one in worst(found)[:MOST]:
        marked: dict[str, set[int]] = {}
        for s in one.signals:
            chart = next(chart for chart in one.charts if chart.kind == s.chart)
            late = one.charts[0].points.size - chart.points.size
            marked.setdefault(s.chart, set()).add(s.signal.at - late)
        yield control_charts(one.charts, one.quantity.unit, one.quantity.title, marked=marked, baseline=one.baseline)
