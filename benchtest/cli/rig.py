"""`benchtest rig`: the bench itself, without a board's verdict."""

from typing import Final

import click

from benchtest.cli.lazy import LazyGroup

COMMANDS: Final = {
    "check": ("benchtest.cli.rig_check:check", "Let the bench check itself, without a board."),
    "reference": ("benchtest.cli.rig_reference:reference", "Show how the bench's known-good board did on it."),
    "show": ("benchtest.cli.rig_show:show", "Show what is wired where, and what is energised now."),
}


@click.group("rig", cls=LazyGroup, commands=COMMANDS)
def rig() -> None:
    """Look after the bench: what is wired where, whether it is in order, how it does over time."""
