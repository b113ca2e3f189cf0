"""`benchtest hookup`: a printable sheet that says what is plugged in where."""

from pathlib import Path

import click

from benchtest.cli.documents import fitting_options, fixture_option, partial_option, prepare, profile_argument
from benchtest.cli.words import say
from benchtest.cli.written import Written


@click.command()
@profile_argument
@fixture_option
@fitting_options
@partial_option
@click.option("-o", "--output", type=Written(), required=True, metavar="FILE", help="A .pdf or .html file.")
def hookup(
    profile: Path, fixture: Path, variant: str | None, options: tuple[str, ...], partial: bool, output: Path
) -> None:
    """Write the hook-up sheet of the board of PROFILE on this bench: every connector, pin by pin.

    It says what must stay empty, which plugs are easily swapped, and whether the run tells that before power.
    """
    if output.suffix not in {".pdf", ".html"}:
        raise click.UsageError(f"--output {str(output)!r} ends in neither .pdf nor .html")
    prepared = prepare(profile, fixture, variant, options, partial=partial)
    from benchtest.clock import wall_time
    from benchtest.hookup import describe, to_html, to_pdf
    from benchtest.hookup.describe import Documents

    documents = Documents(
        profile=prepared.profile.path.name,
        profile_digest=prepared.profile.digest,
        fixture=prepared.fixture.path.name,
        fixture_digest=prepared.fixture.digest,
        made=f"{wall_time():%Y-%m-%d}",
    )
    sheet = describe(prepared.fitted, prepared.fixture.fixture, prepared.harness, prepared.procedure, documents)
    try:
        output.write_bytes(to_pdf(sheet) if output.suffix == ".pdf" else to_html(sheet).encode())
    except OSError as problem:
        hint = "try another place with -o"
        raise click.UsageError(f"{output}: cannot be written: {problem.strerror} ({hint})") from None
    say(f"{output}: {len(sheet.connectors)} connectors, {len(sheet.wires)} wires")
    for row in sheet.swaps:
        say(f"  easily swapped: {row.cells[0]}: {row.cells[1]}")
