"""`benchtest check`: what is wrong with a document, and what a bench would do with it."""

from pathlib import Path

import click

from benchtest.cli.documents import fitted, fitting_options, prepare, profile_argument
from benchtest.cli.words import duration, say
from benchtest.profile import load_profile


@click.command()
@profile_argument
@click.option("--fixture", type=click.Path(path_type=Path), metavar="FILE", help="Also plan it on this bench.")
@fitting_options
def check(profile: Path, fixture: Path | None, variant: str | None, options: tuple[str, ...]) -> None:
    """Check PROFILE, and with --fixture whether that bench can do what it asks. Nothing is energised."""
    if fixture is None:
        _alone(profile, variant, options)
        return
    loaded = load_profile(profile)
    choices = [variant] if variant is not None or not loaded.profile.variants else list(loaded.profile.variants)
    for choice in choices:
        procedure = prepare(profile, fixture, choice, options).procedure
        readings = sum(len(step.checks) for step in procedure.steps)
        kind = f", {choice}" if choice else ""
        say(
            f"{profile}{kind}: {len(procedure.steps)} steps, {readings} readings, "
            f"about {duration(procedure.duration)} on this bench"
        )


def _alone(profile: Path, variant: str | None, options: tuple[str, ...]) -> None:
    loaded = load_profile(profile)
    if variant is not None or options:
        fitted(loaded, variant, options)
    board = loaded.profile.board
    say(f"{profile}: {board.name} {board.part}, {len(loaded.profile.relays)} relays, no problems")
