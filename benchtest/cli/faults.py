"""`benchtest faults`: what can be wrong with a simulated board of this profile."""

from pathlib import Path

import click

from benchtest.cli.documents import fitted, fitting_options, profile_argument
from benchtest.cli.words import say
from benchtest.faults import possible
from benchtest.profile import load_profile


@click.command()
@profile_argument
@fitting_options
def faults(profile: Path, variant: str | None, options: tuple[str, ...]) -> None:
    """List the faults that --fault of `benchtest run` takes for this board, with what each one means.

    Without --variant it lists those of the first one.
    """
    loaded = load_profile(profile)
    if variant is None:
        variant = next(iter(loaded.profile.variants), None)
    found = possible(fitted(loaded, variant, options))
    widest = max(len(fault.text) for fault in found)
    for fault in found:
        say(f"{fault.text:<{widest}}  {fault.sentence}")
