"""Every command with its help, as one page made from the program.

    python -m tests.docs.commands

writes `docs/commands.md`; a test holds it to the program.
"""

from collections.abc import Iterator
from typing import Final

import click

from benchtest.cli import group
from tests.docs.keys import DOCS

PAGE: Final = "commands.md"
WIDTH: Final = 100
ABOUT: Final = (
    "What `--help` says of each, made from the program by `python -m tests.docs.commands`. Exit codes: 0 pass, 1 fail,"
    " 2 wrong usage, 3 inconclusive, 4 document or plan problem (nothing was energised), 5 bench fault (the board is"
    " not judged), 6 aborted."
)


def page() -> str:
    """Return the page as Markdown."""
    lines = ["# Commands", "", ABOUT, ""]
    for names, command, context in _commands(group, ("benchtest",), None):
        lines += [f"## {' '.join(names)}", "", "```text", *command.get_help(context).splitlines(), "```", ""]
    return "\n".join(lines).rstrip() + "\n"


def _commands(
    command: click.Command, names: tuple[str, ...], parent: click.Context | None
) -> Iterator[tuple[tuple[str, ...], click.Command, click.Context]]:
    context = click.Context(
        command, info_name=names[-1], parent=parent, terminal_width=WIDTH, **command.context_settings
    )
    yield names, command, context
    if isinstance(command, click.Group):
        for name in command.list_commands(context):
            found = command.get_command(context, name)
            assert found is not None
            yield from _commands(found, (*names, name), context)


if __name__ == "__main__":
    (DOCS / PAGE).write_text(page(), encoding="utf-8")
