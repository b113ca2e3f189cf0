"""Which records a command is about: an option, else the environment, the site file, the file beside the runs."""

import os
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchtest.cli.words import say
from benchtest.records.address import NAME, VARIABLE, Address

if TYPE_CHECKING:
    from benchtest.records.database.keeping import Kept
    from benchtest.records.database.opening import Records

runs_option = click.option(
    "--runs",
    "root",
    type=click.Path(path_type=Path),
    default=Path("runs"),
    show_default=True,
    metavar="DIR",
    help="Where the run folders are.",
)
records_option = click.option(
    "--records",
    envvar=VARIABLE,
    default="",
    metavar="PLACE",
    help=f"The records: a file, postgresql://host/name, or none; else ${VARIABLE}, the site file, {NAME} in --runs.",
)


def address(records: str, root: Path, site: Path | None = None) -> Address:
    """Return where the records are: as asked, else as the site file says, else beside the run folders.

    Raises click's UsageError for what is no place for them, DocumentError when there is a site file that is wrong.
    """
    try:
        return Address.parse(records or _by_the_site(site), root=root)
    except ValueError as problem:
        raise click.UsageError(f"--records {records!r}: {problem}") from None


def _by_the_site(given: Path | None) -> str:
    if given is None and not os.environ.get("BENCHTEST_SITE"):
        return ""
    from benchtest.site import find_site

    found = find_site(given)
    return "" if found is None else found.site.records


def file_of(place: Address) -> Path:
    """Return the file that holds the records. Raises click's UsageError where a server does, or nobody."""
    if place.server or place.file is None:
        raise click.UsageError(
            "that is for records in a file (a server is backed up by its own means, such as pg_dump)"
        )
    return place.file


def opened(place: Address) -> "Records":
    """Open the records that a command is about, for a `with`. Raises RecordsError."""
    from benchtest.records.database.opening import open_records

    return open_records(place)


def day(_ctx: click.Context, _parameter: click.Parameter, text: str | None) -> datetime | None:
    """Return the first moment of a day here, for click; a moment with its time is taken as it is."""
    if text is None:
        return None
    try:
        found = datetime.fromisoformat(text.strip())
        return found.astimezone()
    except (ValueError, OverflowError, OSError):
        raise click.BadParameter(f"{text!r} is not a day (try 2026-03-14)") from None


def tell_kept(kept: "Kept") -> None:
    """Say on standard error what a person must know of a run in the records; nothing when all is well."""
    if kept.problem:
        say(
            f"NOT in the records: {kept.problem}. The run folder is whole: 'benchtest records rebuild' brings it in",
            err=True,
        )
    elif kept.waiting:
        runs = "1 run waits" if kept.waiting == 1 else f"{kept.waiting} runs wait"
        say(f"{runs} for the server of the records: {kept.undelivered} ('benchtest records sync' delivers)", err=True)


def tell_records(folder: Path) -> None:
    """Let the records hear what was laid into a run folder, where they are beside it or the environment names them."""
    place = address(os.environ.get(VARIABLE, ""), folder.resolve().parent)
    if place.file is None or not place.file.exists() or not (folder / "run.json").is_file():
        return
    from benchtest.records.database.keeping import keep
    from benchtest.records.folder import read_run

    tell_kept(keep(read_run(folder), folder, place))
