"""Limits from good boards, in words, tables and pictures."""

import math
from collections.abc import Iterator

from benchtest.metrology.figures import percent, permitted, plain
from benchtest.studies.charts import MOST, probability_plot
from benchtest.studies.limits import LEAST_RATIO, Found, LimitStudy, Proposal, of_boards, resolved, told
from benchtest.studies.readings import Readings
from benchtest.studies.report import Picture, Report, Table


def report(study: LimitStudy, readings: Readings, *, pictures: bool) -> Report:
    """Return the study for people and machines; pictures are drawn only where somebody will see them."""
    wanted = study.wanted
    return Report(
        kind="limits",
        title=f"Limits from {study.boards} good boards",
        source=readings.source,
        summary=tuple(_summary(study)),
        tables=tuple(_tables(study)),
        notes=(*readings.notes, *_notes(study)),
        findings={
            "boards": study.boards,
            "coverage": wanted.coverage,
            "confidence": wanted.confidence,
            "readings": study.found,
            "proposals": study.proposals,
        },
        pictures=tuple(_pictures(study, readings)) if pictures else (),
    )


def _summary(study: LimitStudy) -> Iterator[str]:
    wanted, changing = study.wanted, told(study.proposals)
    yield (
        f"Limits that hold {percent(wanted.coverage)} of such boards with {percent(wanted.confidence)} confidence. "
        f"{len(changing)} of {len(study.proposals)} limits could change; nothing has been changed."
    )
    without = sum(1 for one in study.proposals if not one.word)
    if without:
        yield f"{without} limits have no proposal; why is said below."


def _tables(study: LimitStudy) -> Iterator[Table]:
    rows = tuple(
        (_name(one), _now(one), permitted(_bound(one.new_low), _bound(one.new_high), one.unit), one.word)
        for one in told(study.proposals)
    )
    if rows:
        yield Table(title="Proposed", head=("limit", "now", "proposed", ""), rows=rows)
    yield Table(
        title="What the boards say",
        head=("reading", "boards", "mean", "s", "p", "limits"),
        rows=tuple(_row(one) for one in study.found),
    )


def _bound(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _now(one: Proposal) -> str:
    return permitted(_bound(one.low), _bound(one.high), one.unit) if one.word != "new" else "none"


def _name(one: Proposal) -> str:
    first = one.titles[0]
    more = f" and {len(one.titles) - 1} more" if len(one.titles) > 1 else ""
    return f"{first}{more}" + (f" ({one.place})" if ":" in one.place else "")


def _row(one: Found) -> tuple[str, ...]:
    unit = one.quantity.unit
    limits = permitted(_bound(one.low), _bound(one.high), unit) if one.method else "-"
    p = "-" if math.isnan(one.normality) else f"{one.normality:.2g}"
    mark = "*" if one.method == "ranks" else ""
    return (
        one.quantity.title,
        str(one.boards),
        plain(one.mean, unit),
        plain(one.deviation, unit, digits=2),
        p,
        limits + mark,
    )


def _notes(study: LimitStudy) -> Iterator[str]:
    yield "p: probability of readings that lie so far from a normal distribution although they come from one"
    yield "normal readings: mean ± k·s with the exact factor k, noncentral t for one limit, by integration for two"
    if any(one.method == "ranks" for one in study.found):
        yield "*: limits by ranks, valid for every continuous distribution"
    yield f"two-sided limits by ranks need {study.enough} boards"
    taken = [one for one in study.found if one.scatter > 0]
    if taken:
        yield (
            f"scatter of the bench taken out of {len(taken)} readings: its variance, from the budgets or as stated; "
            "their factors k are by generalised pivots"
        )
    else:
        yield "no scatter of the bench was taken out"
    doubted = [one for one in study.found if one.doubted]
    if doubted:
        first, more = doubted[0], f", and {len(doubted) - 1} readings more" if len(doubted) > 1 else ""
        yield (
            f"{first.quantity.title} (s {plain(first.deviation, first.quantity.unit, digits=2)}, scatter "
            f"{plain(first.doubted, first.quantity.unit, digits=2)}){more}: they differ less than such a bench would "
            "let them, so its scatter was not taken out (is it stated too large?)"
        )
    for one in study.proposals:
        if one.reason:
            yield f"no proposal for {_name(one)}: {one.reason}"
    for one in told(study.proposals):
        if one.outside:
            yield f"{_name(one)}: {one.outside} readings of these good boards lie outside of the proposal"
        if not resolved(one):
            yield (
                f"{_name(one)}: too close for this bench, tolerance / U is {one.ratio:.2g} (wanted: {LEAST_RATIO:g}); "
                "a patch leaves it out"
            )
    yield "boards that are new, warm or old were tried only as far as they are among these"


def _pictures(study: LimitStudy, readings: Readings) -> Iterator[Picture]:
    """Draw the readings that look least normal first."""
    order = sorted(
        (one for one in study.found if math.isfinite(one.correlation)), key=lambda one: (one.normality, one.correlation)
    )
    shown = {one.quantity.id: one for one in order[:MOST]}
    for series in readings:
        if (one := shown.get(series.quantity.id)) is not None:
            last = of_boards(series)
            lines = [(name, value) for name, value in (("low", one.low), ("high", one.high)) if math.isfinite(value)]
            yield probability_plot(last.values, one.quantity.unit, one.quantity.title, lines=lines)
