"""`benchtest profile new`: a first profile, from a connector table or by asking."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from benchtest.cli.words import say

if TYPE_CHECKING:
    from benchtest.sketch import Draft

PART: Final = re.compile(r"[A-Z0-9][A-Z0-9-]{1,29}")


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE", required=False)
@click.option("--from", "table", type=click.Path(path_type=Path), metavar="CSV", help="Connector table to begin from.")
@click.option("--part", metavar="TEXT", help="Part number of the board; needed with --from.")
@click.option("--name", metavar="TEXT", help="Name of the board; needed with --from.")
@click.option("--template", is_flag=True, help="Print a connector table to begin from, and what its columns mean.")
def new(file: Path | None, table: Path | None, part: str | None, name: str | None, template: bool) -> int:
    """Write a first profile to FILE: by asking, or with --from from a connector table.

    The profile passes 'benchtest check' as it is written. Limits are not invented: what is still to be filled in stands
    in it as comments and is listed at the end. Every question has an example, and Enter takes what stands in brackets.
    """
    if template:
        _template()
        return 0
    if file is None:
        raise click.UsageError("name the file to be written, such as profiles/board.yaml")
    if file.exists():
        raise click.UsageError(f"{file} is there already (name a new file)")
    if not file.parent.is_dir():
        raise click.UsageError(f"{file}: there is no folder {file.parent}")
    _write(file, _from_table(table, part, name) if table is not None else _asked(part, name))
    return 0


def _template() -> None:
    from benchtest.sketch import ROLES, TEMPLATE

    click.echo(TEMPLATE, nl=False)
    say("\nroles:", err=True)
    for role, meaning in ROLES.items():
        say(f"  {role:<12} {meaning}", err=True)
    say("columns: docs/changing-profiles.md", err=True)


def _from_table(table: Path, part: str | None, name: str | None) -> "Draft":
    from benchtest.sketch import read_table

    if not part or not name:
        raise click.UsageError("--from needs --part and --name, such as --part CW-0410 --name 'Car-wash bay board'")
    if not PART.fullmatch(part):
        raise click.UsageError(f"{part!r} is not a part number (capitals, digits and dashes, such as CW-0410)")
    return read_table(table, part=part, name=name)


def _asked(part: str | None, name: str | None) -> "Draft":
    from benchtest.cli.profile_questions import ask

    return ask(part=part, name=name)


def _write(file: Path, draft: "Draft") -> None:
    from benchtest.documents.tidy import tidy
    from benchtest.profile import Profile, load_profile
    from benchtest.sketch import sketch

    made = sketch(draft)
    file.write_text(made.text, encoding="utf-8")
    loaded = load_profile(file)  # what is wrong with an answer has its place in the file that was written
    file.write_text(tidy(made.text, Profile), encoding="utf-8")
    board = loaded.profile.board
    say(f"{file}: {board.name} {board.part}, relays: {', '.join(loaded.profile.relays) or 'none'}; no problems")
    say("still to be filled in:")
    for sentence in made.open:
        say(f"  {sentence}")
