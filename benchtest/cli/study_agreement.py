"""`benchtest study agreement`: two benches, or as found against as left."""

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from benchtest.cli.study_options import NOT_GOOD, OPEN, Amount, Share, study_options, tell_report

if TYPE_CHECKING:
    from benchtest.studies.agreement import Between


@click.command()
@study_options(("quantity", "unit", "value", "board", "bench", "phase"))
@click.option(
    "--between",
    type=click.Choice(["bench", "phase", "operator"]),
    default="bench",
    show_default=True,
    help="The two sides.",
)
@click.option("--sides", nargs=2, metavar="FIRST SECOND", help="Which two, where there are more.")
@click.option("--allowed", type=Amount(), metavar="QUANTITY", help="Difference that is allowed, such as '50 us'.")
@click.option("--confidence", type=Share(), default=0.95, show_default=True, help="Of the confidence limits.")
def agreement(
    sources: tuple[str, ...],
    part: str,
    patterns: tuple[str, ...],
    as_json: bool,
    html: Path | None,
    between: str,
    sides: tuple[str, str] | None,
    allowed: tuple[float, str] | None,
    confidence: float,
) -> int:
    """Compare readings of the same boards on two sides: mean difference and limits of agreement.

    With --allowed the exit code is 0 where the limits of agreement surely lie within it, 1 where one surely does not,
    3 where more pairs are needed to tell.
    """
    from benchtest.studies.agreement import study_agreement
    from benchtest.studies.agreement_report import report
    from benchtest.studies.reading import read
    from benchtest.studies.readings import Choice

    readings = read(sources, choice=Choice(part=part), patterns=patterns)
    units = {quantity.unit for quantity in readings.quantities}
    if allowed is not None and units != {allowed[1]}:
        named = ", ".join(sorted(one or "no unit" for one in units))
        raise click.UsageError(
            f"--allowed in {allowed[1] or 'no unit'} for readings in {named} (choose with --reading)"
        )
    limit = None if allowed is None else allowed[0]
    found = study_agreement(
        readings, between=cast("Between", between), sides=sides, allowed=limit, confidence=confidence
    )
    tell_report(report(found, readings, allowed=limit, pictures=html is not None), as_json=as_json, html=html)
    if allowed is None or all(one.agrees for one in found.studies):
        return 0
    return NOT_GOOD if any(one.agrees is False for one in found.studies) else OPEN
