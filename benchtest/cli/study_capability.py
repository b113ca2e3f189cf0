"""`benchtest study capability`: how the spread of readings compares with the limits."""

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from benchtest.cli.study_options import NOT_GOOD, OPEN, Share, study_options, tell_report
from benchtest.cli.words import say

if TYPE_CHECKING:
    from benchtest.studies.capability import Within


@click.command()
@study_options(("quantity", "unit", "value", "board", "group", "at", "low", "high"))
@click.option(
    "--within",
    type=click.Choice(["neighbours", "group", "bench", "operator"]),
    default="neighbours",
    show_default=True,
    help="Short spans for Cp and Cpk; the group of a run is its day.",
)
@click.option("--confidence", type=Share(), default=0.95, show_default=True, help="Of the confidence limits.")
@click.option("--minimum", type=click.FloatRange(0), metavar="INDEX", help="Exit 1 when a Ppk is surely smaller.")
def capability(
    sources: tuple[str, ...],
    part: str,
    patterns: tuple[str, ...],
    as_json: bool,
    html: Path | None,
    within: str,
    confidence: float,
    minimum: float | None,
) -> int:
    """Compare the spread of readings with their limits: Cp, Cpk, Pp, Ppk, and by percentiles.

    With --minimum the exit code is 0 where every lower confidence limit of Ppk reaches it, 1 where an upper one does
    not, else 3.
    """
    from benchtest.studies.capability import study_capability
    from benchtest.studies.capability_report import report, worst
    from benchtest.studies.reading import read
    from benchtest.studies.readings import Choice

    readings = read(sources, choice=Choice(part=part, last_of_each=True), patterns=patterns)
    found = study_capability(readings, within=cast("Within", within), confidence=confidence)
    made = report(found, readings, within=cast("Within", within), confidence=confidence, pictures=html is not None)
    tell_report(made, as_json=as_json, html=html)
    if minimum is None or all(one.overall.nearer.low >= minimum for one in found.studies):
        return 0
    least = worst(found)[0]
    surely = any(one.overall.nearer.high < minimum for one in found.studies)
    words = "a Ppk is below" if surely else "it is open whether every Ppk reaches"
    say(f"{words} {minimum:g}: {least.quantity.title} has {least.overall.nearer.value:.2f}", err=True)
    return NOT_GOOD if surely else OPEN
