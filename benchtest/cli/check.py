"""`benchtest check`: what is wrong with a document, and what a bench would do with it."""

from pathlib import Path

import click

from benchtest.cli.documents import Prepared, fitted, fitting_options, partial_option, prepare, profile_argument
from benchtest.cli.words import duration, say
from benchtest.fixture.wiring import cautions
from benchtest.procedure import Absent
from benchtest.profile import load_profile


@click.command()
@profile_argument
@click.option("--fixture", type=click.Path(path_type=Path), metavar="FILE", help="Also plan it on this bench.")
@fitting_options
@partial_option
def check(profile: Path, fixture: Path | None, variant: str | None, options: tuple[str, ...], partial: bool) -> None:
    """Check PROFILE, and with --fixture whether that bench can do what it asks. Nothing is energised."""
    if fixture is None:
        _alone(profile, variant, options)
        return
    loaded = load_profile(profile)
    choices = [variant] if variant is not None or not loaded.profile.variants else list(loaded.profile.variants)
    for choice in choices:
        prepared = prepare(profile, fixture, choice, options, partial=partial)
        procedure = prepared.procedure
        readings = sum(len(step.checks) for step in procedure.steps)
        kind = f", {choice}" if choice else ""
        say(
            f"{profile}{kind}: {len(procedure.steps)} steps, {readings} readings, "
            f"about {duration(procedure.duration)} on this bench"
        )
        _tell_limits(prepared)


def _tell_limits(prepared: Prepared) -> None:
    """Print what cannot be tested here and why, and what whoever uses this bench must see to."""
    checks = [check for step in prepared.procedure.steps for check in step.checks]
    absent = [(check, check.measurand) for check in checks if isinstance(check.measurand, Absent)]
    if absent:
        say(f"  {len(absent)} of the readings are not possible on this bench:")
    for reading, why in absent:
        say(f"    {reading.title}: {why.reason.removeprefix(f'{reading.title}: ')}")
    for caution in cautions(prepared.fixture.fixture, prepared.harness):
        say(f"  Caution: {caution}")


def _alone(profile: Path, variant: str | None, options: tuple[str, ...]) -> None:
    loaded = load_profile(profile)
    if variant is not None or options:
        fitted(loaded, variant, options)
    board = loaded.profile.board
    say(f"{profile}: {board.name} {board.part}, {len(loaded.profile.relays)} relays, no problems")
