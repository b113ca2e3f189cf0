"""A group of commands that imports each of them when it is asked for, so that `--help` loads click and little else."""

from collections.abc import Mapping
from importlib import import_module
from typing import Any

import click


class LazyGroup(click.Group):
    """A group that knows its commands by name, place and one line of help."""

    def __init__(self, *rest: Any, commands: Mapping[str, tuple[str, str]], **named: Any) -> None:
        super().__init__(*rest, **named)
        self._known = commands

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self._known)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self._known:
            return None
        module, _, name = self._known[cmd_name][0].partition(":")
        command = getattr(import_module(module), name)
        return command if isinstance(command, click.Command) else None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in self._known.items()])
