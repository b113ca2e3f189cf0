"""Which records a command is about: an option, else the environment, else the file beside the run folders."""

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
    help=f"The records: a file, postgresql://host/name, or none.  [default: {NAME} in --runs; or ${VARIABLE}]",
)


def address(records: str, root: Path) -> Address:
    """Return where the records are. Raises click's UsageError for what is no place for them."""
    try:
        return Address.parse(records, root=root)
    except ValueError as problem:
        raise click.UsageError(f"--records {records!r}: {problem}") from None


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
