"""Agreement in words, tables and pictures."""

from collections.abc import Iterator
from typing import Any

from benchtest.metrology.figures import plain
from benchtest.metrology.variance_components import Estimate
from benchtest.studies.agreement import AgreementStudy, Compared
from benchtest.studies.charts import MOST, differences
from benchtest.studies.readings import Readings
from benchtest.studies.report import Picture, Report, Table

TREND = 0.05
"""Probability below which a difference that changes with the reading is told of."""


def report(found: Compared, readings: Readings, *, allowed: float | None, pictures: bool) -> Report:
    """Return the study for people and machines."""
    first, second = found.sides
    return Report(
        kind="agreement",
        title=f"Agreement: {second} against {first}",
        source=readings.source,
        summary=tuple(_summary(found, allowed)),
        tables=tuple(_tables(found)),
        notes=(*readings.notes, *_notes(found)),
        findings={
            "sides": found.sides,
            "allowed": allowed,
            "readings": [_finding(one) for one in found.studies],
            "left_out": found.left_out,
        },
        pictures=tuple(_pictures(found)) if pictures else (),
    )


def worst(found: Compared) -> tuple[AgreementStudy, ...]:
    """Return the studies, the mean difference that is least likely by chance first."""
    return tuple(sorted(found.studies, key=lambda one: one.found.unlikely))


def _finding(one: AgreementStudy) -> dict[str, Any]:
    return {"quantity": one.quantity, "found": one.found, "aside": one.aside, "agrees": one.agrees}


_AGREES = {True: "within what is allowed", False: "NOT within what is allowed", None: "open: more pairs would tell"}


def _summary(found: Compared, allowed: float | None) -> Iterator[str]:
    for one in worst(found)[:5]:
        unit = one.quantity.unit
        said = "" if allowed is None else f" Allowed are ±{plain(allowed, unit)}: {_AGREES[one.agrees]}."
        yield (
            f"{one.quantity.title}: {found.sides[1]} reads {plain(one.found.mean.value, unit, digits=3)} more "
            f"({_between(one.found.mean, unit)}); 95 % of differences lie from "
            f"{plain(one.found.lower.value, unit, digits=3)} to {plain(one.found.upper.value, unit, digits=3)}.{said}"
        )


def _between(one: Estimate, unit: str) -> str:
    return f"{plain(one.low, unit, digits=3)} to {plain(one.high, unit, digits=3)}"


def _tables(found: Compared) -> Iterator[Table]:
    rows = tuple(
        (
            one.quantity.title,
            str(one.found.pairs),
            plain(one.found.mean.value, one.quantity.unit, digits=3),
            plain(one.found.deviation.value, one.quantity.unit, digits=3),
            "< 0.001" if one.found.unlikely < 0.001 else f"{one.found.unlikely:.3f}",
        )
        for one in worst(found)
    )
    yield Table(title="Differences", head=("reading", "pairs", "mean", "s", "p"), rows=rows)
    limits = tuple(
        (one.quantity.title, _between(one.found.lower, one.quantity.unit), _between(one.found.upper, one.quantity.unit))
        for one in worst(found)
    )
    yield Table(
        title="Where the limits of agreement lie (95 % confidence)", head=("reading", "lower", "upper"), rows=limits
    )


def _notes(found: Compared) -> Iterator[str]:
    yield f"differences: {found.sides[1]} minus {found.sides[0]}, board by board; p: such a mean while there is none"
    yield "limits of agreement: mean ± 1.96 s, their confidence limits exact by noncentral t"
    aside = sum(one.aside for one in found.studies)
    if aside:
        yield f"{aside} readings set aside: no pair, or not the last of their board"
    for one in found.studies:
        if one.found.trend_unlikely < TREND:
            yield (
                f"{one.quantity.title}: the difference changes with the reading (r = {one.found.trend:.2f}, "
                f"p = {one.found.trend_unlikely:.2g}); one pair of limits does not fit all"
            )
    yield from (f"left out: {one}" for one in found.left_out)


def _pictures(found: Compared) -> Iterator[Picture]:
    for one in worst(found)[:MOST]:
        yield differences(one.first, one.second, one.found, one.quantity.unit, one.quantity.title)
