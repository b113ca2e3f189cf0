"""`benchtest study drift`: control charts of the same thing, read again and again."""

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from benchtest.cli.study_options import NOT_GOOD, study_options, tell_report

if TYPE_CHECKING:
    from benchtest.metrology.control_chart import RuleSet
    from benchtest.studies.drift import Kind


@click.command()
@study_options(("quantity", "unit", "value", "at", "group", "bench", "board"))
@click.option(
    "--chart",
    type=click.Choice(["individuals", "means", "ewma"]),
    default="individuals",
    show_default=True,
    help="Single readings with moving ranges, means with deviations of groups, or weighted averages.",
)
@click.option(
    "--rules",
    type=click.Choice(["western electric", "nelson", "limits"]),
    default="western electric",
    show_default=True,
)
@click.option(
    "--baseline", type=click.IntRange(8), default=20, show_default=True, help="Points that the limits come from."
)
@click.option(
    "--by", type=click.Choice(["group", "board", "operator"]), default="group", show_default=True, help="Groups."
)
@click.option(
    "--weight", type=click.FloatRange(0, 1, min_open=True), default=0.2, show_default=True, help="Of an EWMA."
)
@click.option("--board", metavar="SN", help="Only this board.")
@click.option("--bench", metavar="NAME", help="Only this bench.")
def drift(
    sources: tuple[str, ...],
    part: str,
    patterns: tuple[str, ...],
    as_json: bool,
    html: Path | None,
    chart: str,
    rules: str,
    baseline: int,
    by: str,
    weight: float,
    board: str | None,
    bench: str | None,
) -> int:
    """Chart readings over time and name the rules that say something has moved.

    Meant for one board on one bench. Exit code 1 when a signal comes after the baseline. A bench whose fixture names
    readings to chart is stopped by their signals: see 'benchtest rig reference'.
    """
    from benchtest.studies.drift import study_drift
    from benchtest.studies.drift_report import report
    from benchtest.studies.reading import read
    from benchtest.studies.readings import Choice

    readings = read(sources, choice=Choice(part=part, board=board, bench=bench), patterns=patterns).where(
        board=board, bench=bench
    )
    found = study_drift(
        readings, kind=cast("Kind", chart), rules=cast("RuleSet", rules), baseline=baseline, by=by, weight=weight
    )
    made = report(found, readings, rules=cast("RuleSet", rules), pictures=html is not None)
    tell_report(made, as_json=as_json, html=html)
    return NOT_GOOD if any(one.fresh for one in found.studies) else 0
