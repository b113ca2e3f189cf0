"""Options that name documents and choices, and their loading; shared by the commands."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import click

from benchtest.errors import PlanError
from benchtest.fixture import LoadedFixture, load_fixture
from benchtest.fixture.document import Harness
from benchtest.plan import plan, plan_self_check
from benchtest.procedure import BenchProcedure, Procedure
from benchtest.profile import LoadedProfile, load_profile
from benchtest.profile.fitting import FittedProfile, fit

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


@dataclass(frozen=True, kw_only=True, slots=True)
class Prepared:
    """Everything that is known before a bench is opened."""

    profile: LoadedProfile
    fixture: LoadedFixture
    fitted: FittedProfile
    harness: Harness
    procedure: Procedure
    self_check: BenchProcedure | None
    """How the bench checks itself; None where a person or a record is the bench."""

    @property
    def before(self) -> float:
        """The plan's estimate of the bench's check of itself, in seconds."""
        return self.self_check.procedure.duration if self.self_check else 0.0

    @property
    def duration(self) -> float:
        """The plan's estimate of everything, in seconds."""
        return self.before + self.procedure.duration


def prepare(
    profile: Path, fixture: Path, variant: str | None, options: tuple[str, ...], *, partial: bool = False
) -> Prepared:
    """Load, fit and plan; with `partial` as far as the bench goes.

    Raises DocumentError, PlanError or click's UsageError; nothing was energised then.
    """
    loaded, bench = load_profile(profile), load_fixture(fixture)
    chosen = fitted(loaded, variant, options)
    part = loaded.profile.board.part
    harness = bench.harnesses.get(part)
    if harness is None:
        known = ", ".join(bench.harnesses) or "none"
        raise PlanError([f"{fixture}: no harness for {part} (this fixture has: {known})"])
    procedure = plan(
        chosen, database=loaded.database, fixture=bench.fixture, harness=harness, place=loaded.place, partial=partial
    )
    own = plan_self_check(bench.fixture, harness, link=procedure.link, board=True)
    return Prepared(profile=loaded, fixture=bench, fitted=chosen, harness=harness, procedure=procedure, self_check=own)
