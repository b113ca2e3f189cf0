"""`benchtest adapter`: one adapter of a bench."""

from typing import Final

import click

from benchtest.cli.lazy import LazyGroup

COMMANDS: Final = {
    "check": ("benchtest.cli.adapter_check:check", "Say whether an adapter keeps what the bench relies on."),
}


@click.group("adapter", cls=LazyGroup, commands=COMMANDS)
def adapter() -> None:
    """Look at the adapters of a bench by themselves."""
