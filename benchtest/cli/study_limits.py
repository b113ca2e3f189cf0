"""`benchtest study limits`: where limits should be, from boards that are known to be good."""

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from benchtest.cli.study_options import Amount, Share, study_options, tell_report
from benchtest.cli.words import say
from benchtest.cli.written import Written

if TYPE_CHECKING:
    from benchtest.studies.limits import Method


@click.command()
@study_options(("quantity", "unit", "value", "board", "low", "high", "scatter"))
@click.option("--coverage", type=Share(), default=0.95, show_default=True, help="Share of boards that limits hold.")
@click.option("--confidence", type=Share(), default=0.95, show_default=True, help="With which they do.")
@click.option(
    "--method",
    type=click.Choice(["auto", "normal", "ranks"]),
    default="auto",
    show_default=True,
    help="How limits come.",
)
@click.option("--scatter", type=Amount(), metavar="QUANTITY", help="Standard deviation of the bench, to be taken out.")
@click.option("--profile", type=click.Path(path_type=Path), metavar="FILE", help="The profile to make a patch of.")
@click.option("--patch", "target", type=Written(), metavar="FILE", help="Where to write the patch.")
def limits(
    sources: tuple[str, ...],
    part: str,
    patterns: tuple[str, ...],
    as_json: bool,
    html: Path | None,
    coverage: float,
    confidence: float,
    method: str,
    scatter: tuple[float, str] | None,
    profile: Path | None,
    target: Path | None,
) -> None:
    """Propose limits from the readings of known-good boards; nothing is changed.

    Of runs, those that passed count, the last of each board. With --profile, what changes is shown as a patch.
    """
    from benchtest.studies.limits import Wanted, study_limits, told
    from benchtest.studies.limits_report import report
    from benchtest.studies.reading import read
    from benchtest.studies.readings import Choice

    if target is not None and profile is None:
        raise click.UsageError("--patch needs --profile: which file is to be patched?")
    readings = read(sources, choice=Choice(part=part, passed_only=True, last_of_each=True), patterns=patterns)
    if scatter is not None:
        _same_unit(scatter[1], {quantity.unit for quantity in readings.quantities})
    wanted = Wanted(
        coverage=coverage,
        confidence=confidence,
        method=cast("Method", method),
        scatter=None if scatter is None else scatter[0],
    )
    found = study_limits(readings, wanted)
    tell_report(report(found, readings, pictures=html is not None), as_json=as_json, html=html)
    if profile is not None:
        from benchtest.studies.limits_patch import patch

        made = patch(profile, told(found.proposals))
        for one in made.left_out:
            say(f"not in the patch: {one}", err=True)
        if target is not None:
            target.write_text(made.text, encoding="utf-8")
        elif not as_json:
            click.echo(f"\n{made.text}", nl=False)


def _same_unit(unit: str, units: set[str]) -> None:
    if units != {unit}:
        named = ", ".join(sorted(one or "no unit" for one in units))
        raise click.UsageError(f"--scatter in {unit or 'no unit'} for readings in {named} (choose them with --reading)")
