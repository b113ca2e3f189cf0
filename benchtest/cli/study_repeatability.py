"""`benchtest study repeatability`: whether the gauge is good enough."""

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from benchtest.cli.study_options import NOT_GOOD, OPEN, Share, study_options, tell_report
from benchtest.cli.words import say

if TYPE_CHECKING:
    from benchtest.studies.repeatability import Across


@click.command()
@study_options(("quantity", "unit", "value", "board", "operator", "low", "high"))
@click.option(
    "--across",
    type=click.Choice(["operator", "bench"]),
    default="operator",
    show_default=True,
    help="Who or what reads.",
)
@click.option(
    "--pool-above", type=Share(), default=0.25, show_default=True, help="p above which the interaction is pooled."
)
@click.option("--confidence", type=Share(), default=0.95, show_default=True, help="Of the confidence limits.")
@click.option("--maximum", type=Share(), metavar="SHARE", help="Exit 1 when the gauge takes more of the tolerance.")
def repeatability(
    sources: tuple[str, ...],
    part: str,
    patterns: tuple[str, ...],
    as_json: bool,
    html: Path | None,
    across: str,
    pool_above: float,
    confidence: float,
    maximum: float | None,
) -> int:
    """Analyse a gauge study: boards x operators (or benches) x repeats.

    'benchtest study plan' makes its sheet. With --maximum the exit code is 1 where a gauge takes more of the tolerance,
    3 where that cannot be said because there is none.
    """
    from benchtest.studies.reading import read
    from benchtest.studies.readings import Choice
    from benchtest.studies.repeatability import study_repeatability
    from benchtest.studies.repeatability_report import report

    readings = read(sources, choice=Choice(part=part), patterns=patterns)
    found = study_repeatability(readings, across=cast("Across", across), pool_above=pool_above, confidence=confidence)
    tell_report(report(found, readings, pictures=html is not None), as_json=as_json, html=html)
    if maximum is None:
        return 0
    shares = [one.of_tolerance[0] for one in found]
    if any(share > maximum for share in shares):
        say(f"a gauge takes more than {maximum:.4g} of the tolerance: {max(shares):.4g}", err=True)
        return NOT_GOOD
    return 0 if all(share <= maximum for share in shares) else OPEN
