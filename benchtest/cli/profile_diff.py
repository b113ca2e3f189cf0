"""`benchtest profile diff`: what two versions of a profile mean differently."""

import json
from collections import defaultdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchtest.cli.words import say
from benchtest.profile import load_profile

if TYPE_CHECKING:
    from benchtest.revision import ReadingChange, Revision

NAMED = 6
"""Subjects that are named in one line before the rest are counted."""


@click.command()
@click.argument("old", type=click.Path(path_type=Path), metavar="OLD")
@click.argument("new", type=click.Path(path_type=Path), metavar="NEW")
@click.option(
    "--fail-on",
    type=click.Choice(["looser", "tighter", "any"]),
    multiple=True,
    help="Exit code 1 when there is such a difference; may be repeated.",
)
@click.option("--renamed", is_flag=True, help="The same board under another part number.")
@click.option("--json", "as_json", is_flag=True, help="Everything as JSON.")
def diff(old: Path, new: Path, fail_on: tuple[str, ...], renamed: bool, as_json: bool) -> int:
    """Say what profile NEW means differently from profile OLD, line by line and in sum.

    Meaning is compared, not text: order of keys, comments, spelling of quantities, and whether a relay or the default
    says its limit, make no difference. Looser: a board passes more easily, or less is looked at. Tighter: the opposite.

    Exit code 0 whatever the differences are, unless --fail-on names them (then 1); 4 when a profile has problems or the
    two are for unrelated boards.
    """
    from benchtest.revision import revise

    revision = revise(load_profile(old), load_profile(new), renamed=renamed)
    if as_json:
        click.echo(json.dumps(revision.as_json(), indent=2, ensure_ascii=False, allow_nan=False))
    else:
        _tell(revision)
    found = {str(direction) for direction in revision.directions}
    return 1 if (found if "any" in fail_on else found & set(fail_on)) else 0


def _tell(revision: "Revision") -> None:
    board = revision.new.profile.board
    say(f"{revision.old.path} -> {revision.new.path}: {board.name} {board.part}")
    if not revision.directions:
        same = revision.old.digest == revision.new.digest
        say("no difference" if same else "no difference in meaning, only in how it is written")
        return
    for change in revision.changes:
        say(f"  {change.sentence} ({change.direction})")
    before, after = revision.counts
    say(f"readings, over all variants with every option: {before} before, {after} after")
    for line in _readings(revision.readings):
        say(f"  {line}")
    for problem in revision.problems:
        say(f"  not compared: {problem}")
    say(f"in sum: {_sum(revision)}")


def _readings(changes: "tuple[ReadingChange, ...]") -> list[str]:
    """Return the readings that came, went or changed, those of one kind in one line."""
    kinds: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for change in changes:
        what = "no longer taken" if change.after is None else "new" if change.before is None else "with another limit"
        what = "with another expected word" if isinstance(change.before, str) and change.after is not None else what
        check = change.check
        name = check.title.removeprefix(check.subject).lstrip(": ")
        kinds[what, str(change.direction), name].append(check.subject)
    return [f"{what}: {name} of {_named(who)} ({direction})" for (what, direction, name), who in kinds.items()]


def _named(subjects: list[str]) -> str:
    names = list(dict.fromkeys(subjects))
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return ", ".join(names[:NAMED]) + more


def _sum(revision: "Revision") -> str:
    from benchtest.revision import Direction

    parts = [f"{revision.count(one, revision.changes)} {one}" for one in Direction]
    readings = [f"{count} {one}" for one in Direction if (count := revision.count(one, revision.readings))]
    return f"{', '.join(parts)}; readings: {', '.join(readings) or 'none differ'}"
