"""`benchtest simulate`: a virtual board behind real wires, for a second terminal."""

import shlex
import shutil
import sys
from pathlib import Path

import click

from benchtest.cli.documents import fitting_options, fixture_option, partial_option, prepare, profile_argument
from benchtest.cli.words import say
from benchtest.faults import Mishap, parse, parse_defect, parse_trip
from benchtest.fixture.wiring import every_channel


@click.command()
@profile_argument
@fixture_option
@fitting_options
@partial_option
@click.option("--fault", "faults", multiple=True, metavar="TEXT", help="Give the board a fault; may be repeated.")
@click.option("--trip", "trips", multiple=True, metavar="TEXT", help="A guard that trips: 'lid after 2 s' of power.")
@click.option("--bench-fault", "defects", multiple=True, metavar="TEXT", help="The bench's own: 'light 503 blind'.")
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Which board of many.")
@click.option("--tcp", type=click.IntRange(0, 65535), metavar="PORT", help="Serve on 127.0.0.1, 0 for any free port.")
def simulate(
    profile: Path,
    fixture: Path,
    variant: str | None,
    options: tuple[str, ...],
    partial: bool,
    faults: tuple[str, ...],
    trips: tuple[str, ...],
    defects: tuple[str, ...],
    seed: int,
    tcp: int | None,
) -> None:
    """Serve a virtual board of PROFILE in real time: each adapter of the fixture, and its CAN side, on a pty (or TCP).

    Prints the line to paste in a second terminal. Ends with Ctrl-C.
    """
    from benchtest.simulator.served_board import serve_board

    prepared = prepare(profile, fixture, variant, options, partial=partial)
    try:
        wrong = tuple(parse(text, prepared.fitted) for text in faults)
        bench = prepared.fixture.fixture
        known = every_channel(bench, prepared.harness)
        mishaps: list[Mishap] = [parse_trip(text, bench.guards) for text in trips]
        mishaps += [parse_defect(text, known) for text in defects]
    except ValueError as problem:
        raise click.UsageError(str(problem)) from None

    def announce(ports: dict[str, str]) -> None:
        """Print what to paste in the second terminal."""
        words = [_how_called(), "run", str(profile), "--fixture", str(fixture)]
        words += ["--variant", prepared.fitted.variant] if prepared.fitted.variant else []
        words += [word for option in prepared.fitted.options for word in ("--option", option)]
        words += ["--as-far-as-possible"] if partial else []
        words += [word for name, port in ports.items() for word in ("--port", f"{name}={port}")]
        say("In a second terminal:\n")
        click.echo("  " + shlex.join([*words, "--serial", "DEMO-1"]))  # never broken over lines: it is to be pasted
        say("\nCtrl-C ends this one.")
        sys.stdout.flush()

    procedure = prepared.procedure
    serve_board(
        prepared.fitted,
        prepared.harness,
        prepared.fixture.fixture,
        procedure.link.database if procedure.link else None,
        seed,
        wrong,
        tcp=tcp,
        out=sys.stdout,
        announce=announce,
        mishaps=tuple(mishaps),
    )


def _how_called() -> str:
    """Return the program as a second terminal finds it: by its name where that is enough, else as it was called."""
    called = sys.argv[0]
    by_name = Path(called).name != "benchtest" or shutil.which("benchtest") == shutil.which(called)
    return "benchtest" if by_name else called
