"""Opening a bench without a board's profile, for the commands that look at the bench itself."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, Final, TypeVar

import click

from benchtest.faults import Mishap
from benchtest.fixture import Fixture, Harness
from benchtest.fixture.wiring import adapters_of, channels_of
from benchtest.instruments import Role
from benchtest.plan.bare import no_board, nothing_to_do
from benchtest.procedure import LinkPlan
from benchtest.rig import Rig, Virtual, open_rig

Decorated = TypeVar("Decorated", bound=Callable[..., Any])
NEEDED: Final = (
    "this switches outputs and supplies on; take every plug off the board and say --no-board-connected "
    "(extra-low voltage only; local codes and licensed practice apply)"
)


def bench_options(command: Decorated) -> Decorated:
    """Add --harness, --port and --no-board-connected."""
    part = click.option("--harness", "part", metavar="PART", help="Which cable set, where there are several.")
    port = click.option("--port", "ports", multiple=True, metavar="ADAPTER=PORT", help="Where an adapter is.")
    free = click.option("--no-board-connected", is_flag=True, help="Nothing hangs on the bench: needed on a real one.")
    return part(port(free(command)))


def refuse_a_board(fixture: Fixture, harness: Harness, no_board_connected: bool) -> None:
    """Raise click's UsageError when a real bench may still have a board on it."""
    if fixture.adapters[harness.adapter].driver != "simulated" and not no_board_connected:
        raise click.UsageError(NEEDED)


def only(name: str | None, fixture: Fixture, harness: Harness) -> Harness:
    """Return the part of a harness that one adapter serves; all of it when none is named."""
    if name is None:
        return harness
    if name not in (known := adapters_of(fixture, harness)):
        raise click.UsageError(f"no adapter {name!r} serves {harness.part} (these do: {', '.join(known)})")
    mine = channels_of(name, fixture, harness)
    tables = {
        role.value: {where: number for where, number in getattr(harness, role.value).items() if number in mine}
        for role in Role
    }
    return harness.model_copy(update={**tables, "adapter": name, "link": None})


@contextmanager
def opened(
    fixture: Fixture,
    harness: Harness,
    ports: dict[str, str],
    *,
    link: LinkPlan | None = None,
    mishaps: tuple[Mishap, ...] = (),
) -> Iterator[Rig]:
    """Open the bench with no board on it; everything is off on every way out. Raises RigError.

    Its link is opened where `link` says what may be sent there; `mishaps` are those of a simulated bench.
    """
    procedure, nobody = replace(nothing_to_do(fixture, harness), link=link), no_board(harness)
    virtual = Virtual(mishaps=mishaps)
    with open_rig(procedure, nobody, fixture=fixture, harness=harness, ports=ports, virtual=virtual) as rig:
        yield rig
