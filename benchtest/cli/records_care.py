"""`benchtest records sync`, `rebuild`, `backup`, `restore`, `upgrade`: looking after the records."""

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from benchtest.cli.records_look import when
from benchtest.cli.records_options import address, file_of, opened, records_option, runs_option
from benchtest.cli.words import say
from benchtest.records.address import Address
from benchtest.records.folder import DEPOT

if TYPE_CHECKING:
    from benchtest.records.database.backup import Contents
    from benchtest.records.database.delivering import Delivered
    from benchtest.records.database.rebuilding import Indexed

LEFT_OUT: Final = 4
"""Exit code where something was left out."""


@click.command("sync")
@runs_option
@records_option
@click.option("--all", "everything", is_flag=True, help="Every run of this bench: for a server that lost some.")
def sync(root: Path, records: str, everything: bool) -> int:
    """Deliver this bench's runs that the server has not taken yet, each exactly once, and hear what was withdrawn."""
    from benchtest.records.database.delivering import deliver, fetch_changes, queue_everything, waiting
    from benchtest.records.database.opening import open_file, open_server

    place = address(records, root)
    if not place.server or place.file is None:
        raise click.UsageError("there is no server to deliver to (try --records postgresql://host/name)")
    told: list[Delivered] = []
    with open_file(place.file) as bench:
        if everything:
            queue_everything(bench)
        with open_server(place.server) as server:
            deliver(bench, server, told=told.append)
            news = fetch_changes(bench, server, root)
        left = waiting(bench)
    for one in told:
        if one.stored is None:
            say(f"not taken: {one.number}: {one.problem}", err=True)
    done = [one for one in told if one.stored is not None]
    runs = "1 run" if len(done) == 1 else f"{len(done)} runs"
    say(f"{runs} delivered{f', {left} still wait' if left else ''}")
    if news:
        say(f"{news} certificates of this bench were withdrawn or superseded on the server")
    return LEFT_OUT if left else 0


@click.command("rebuild")
@runs_option
@records_option
def rebuild(root: Path, records: str) -> int:
    """Store every run folder below --runs that this bench's records lack, after checking it against its digests.

    A records file that is damaged is set aside first. With a server, what was missing is queued for `records sync`.
    Exit code 4 when a run had to be left out because something in its folder is not what it was.
    """
    from benchtest.records.database.opening import open_file
    from benchtest.records.database.rebuilding import rebuild as carry_out
    from benchtest.records.database.rebuilding import set_aside_if_damaged

    if not root.is_dir():
        raise click.UsageError(f"{root} is no folder of runs (try --runs)")
    place = address(records, root)
    if place.file is None:
        raise click.UsageError("no records are kept ('none' was chosen)")
    aside = set_aside_if_damaged(place.file)
    if aside is not None:
        say(f"the records were damaged; they are now {aside}")
    with open_file(place.file) as found:
        done = list(map(_told, carry_out(found, root, queue=bool(place.server))))
    counts = Counter(one.stored.value for one in done if one.stored is not None)
    cases = _restored_cases(place, root)
    words = f" ({', '.join(f'{count} {word}' for word, count in counts.items())})" if counts else ""
    say(f"{counts.total()} runs{words}, {len(done) - counts.total()} folders left out")
    return LEFT_OUT if any(one.damaged for one in done) or cases else 0


def _restored_cases(place: Address, root: Path) -> bool:
    """Bring in the cases of the depot beside the runs, where there is one; return whether something was left out."""
    if not (root / DEPOT).is_dir():
        return False
    from benchtest.depot.flow import Depot

    with opened(place) as found:
        restored = Depot(root=root, records=found).restore()
    for problem in restored.problems:
        say(problem, err=True)
    say(f"{restored.cases} cases of the depot came in, {restored.entries} entries")
    return bool(restored.problems)


def _told(one: "Indexed") -> "Indexed":
    """Say of a folder what a person should know."""
    if one.stored is None:
        say(f"left out: {one.folder.name}: {one.reason}", err=True)
    elif one.reason:
        say(f"{one.folder.name}: {one.reason}", err=True)
    return one


@click.command("backup")
@click.argument("to", type=click.Path(path_type=Path), metavar="FILE")
@runs_option
@records_option
def backup(to: Path, root: Path, records: str) -> int:
    """Copy the records to the new FILE while others may use them, and look the copy through."""
    from benchtest.records.database.backup import back_up

    contents = back_up(file_of(address(records, root)), to)
    say(f"{to}: whole, {_said(contents)}")
    return 0


@click.command("restore")
@click.argument("source", type=click.Path(path_type=Path), metavar="FILE")
@runs_option
@records_option
def restore(source: Path, root: Path, records: str) -> int:
    """Put a copy of the backup FILE in the place of the records, which are set aside. Let no run go on meanwhile."""
    from benchtest.records.database.backup import restore as carry_out

    file = file_of(address(records, root))
    done = carry_out(source, file)
    say(f"{file}: {_said(done.contents)}")
    if done.aside is not None:
        say(f"what was there before is now {done.aside}")
    if done.missing:
        say(f"the backup is older: it lacks {done.missing} runs ('benchtest records rebuild' brings them back)")
    return 0


def _said(contents: "Contents") -> str:
    runs = "1 run" if contents.runs == 1 else f"{contents.runs} runs"
    return runs if contents.last is None else f"{runs}, the last of {when(contents.last)} UTC"


@click.command("upgrade")
@runs_option
@records_option
def upgrade(root: Path, records: str) -> int:
    """Bring the tables on a server up to date, when all benches have been updated. Back the server up first."""
    from benchtest.records.database.opening import upgrade_on_server

    place = address(records, root)
    if not place.server:
        with opened(place) as found:  # a file is brought up to date by being opened
            say(f"{found.name}: up to date")
        return 0
    say(f"{upgrade_on_server(place.server)}: up to date")
    return 0
