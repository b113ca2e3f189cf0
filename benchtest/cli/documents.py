"""Options that name documents and choices, and their loading; shared by the commands."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from benchtest.fixture import load_fixture
from benchtest.prepared import Prepared, prepared
from benchtest.profile import LoadedProfile, load_profile
from benchtest.profile.fitting import FittedProfile, fit

__all__ = [
    "Prepared",
    "fitted",
    "fitting_options",
    "fixture_option",
    "partial_option",
    "prepare",
    "profile_argument",
]

Decorated = TypeVar("Decorated", bound=Callable[..., Any])

profile_argument = click.argument("profile", type=click.Path(path_type=Path), metavar="PROFILE")
fixture_option = click.option(
    "--fixture", type=click.Path(path_type=Path), required=True, metavar="FILE", help="The bench: a fixture file."
)


def fitting_options(command: Decorated) -> Decorated:
    """Add --variant and --option."""
    variant = click.option("--variant", metavar="NAME", help="Variant of the board, where the profile has several.")
    option = click.option(
        "--option", "options", multiple=True, metavar="NAME", help="Option that is fitted; may be repeated."
    )
    return variant(option(command))


partial_option = click.option(
    "--as-far-as-possible",
    "partial",
    is_flag=True,
    help="Do what this bench can; what it cannot do or resolve becomes 'not tested', by name.",
)


def fitted(loaded: LoadedProfile, variant: str | None, options: tuple[str, ...]) -> FittedProfile:
    """Return the profile for one choice; an unknown choice is wrong usage."""
    try:
        return fit(loaded.profile, variant=variant, options=options)
    except ValueError as problem:
        raise click.UsageError(str(problem)) from None


def prepare(
    profile: Path, fixture: Path, variant: str | None, options: tuple[str, ...], *, partial: bool = False
) -> Prepared:
    """Load, fit and plan; with `partial` as far as the bench goes.

    Raises DocumentError, PlanError or click's UsageError; nothing was energised then.
    """
    loaded, bench = load_profile(profile), load_fixture(fixture)
    return prepared(loaded, bench, fitted(loaded, variant, options), partial=partial)
