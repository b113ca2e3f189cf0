"""A copy of the records that can be trusted, and the way back.

SQLite: by its backup interface, which copies what the write-ahead log still holds as well, while others may write. The
copy is looked through as a whole before it gets its name, and again before it takes the place of the records, which are
set aside and not thrown away. A server's records are backed up by the server's own means.
"""

import glob
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import func, select

from benchtest.errors import RecordsError
from benchtest.records.database.opening import Records, open_file
from benchtest.records.database.rebuilding import set_aside
from benchtest.records.database.tables import RUNS
from benchtest.records.database.upgrading import copy_file


@dataclass(frozen=True, kw_only=True, slots=True)
class Contents:
    """What is in a database."""

    runs: int
    last: datetime | None
    """When the last of them ended; None where there is none."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Restored:
    """What a way back did."""

    contents: Contents
    missing: int
    """Runs that the records had and the backup lacks."""
    aside: Path | None
    """Where the records are that were there before."""


def back_up(file: Path, to: Path) -> Contents:
    """Copy the records in `file` to a new file, look the copy through, and return what is in it.

    Raises RecordsError when there is something already, or when the copy is not whole.
    """
    if not file.exists():
        raise RecordsError(f"{file}: there are no records to back up")
    if to.exists():
        raise RecordsError(f"{to}: is there already, and a backup replaces nothing (try another name)")
    with _draft(to) as draft:
        copy_file(file, draft)
        contents = look_through(draft)
        draft.rename(to)
    return contents


def look_through(file: Path) -> Contents:
    """Check a database as a whole and return what is in it. Raises RecordsError when it is not sound."""
    _check(file)
    with open_file(file) as records:
        return contents_of(records)


def _check(file: Path) -> None:
    try:
        with closing(sqlite3.connect(file)) as connection:
            found = [row[0] for row in connection.execute("PRAGMA integrity_check(3)")]
            strangers = connection.execute("PRAGMA foreign_key_check").fetchall()
    except sqlite3.Error as cause:
        raise RecordsError(f"{file}: is not a sound records database: {cause} (try another backup)") from cause
    if found != ["ok"] or strangers:
        said = "; ".join(found) if found != ["ok"] else f"{len(strangers)} rows belong to nothing"
        raise RecordsError(f"{file}: is damaged: {said} (try another backup)")


def contents_of(records: Records) -> Contents:
    """Return what is in open records."""
    with records.reading() as connection:
        row = connection.execute(select(func.count(), func.max(RUNS.c.ended)).select_from(RUNS)).one()
    return Contents(runs=row[0], last=row[1])


def restore(backup: Path, file: Path) -> Restored:
    """Put a copy of `backup` in the place of the records and set those aside; return what it lacks of them.

    Raises RecordsError when the backup is not sound, or of a newer version; nothing was changed then.
    """
    if not backup.exists():
        raise RecordsError(f"{backup}: is not there")
    _check(backup)
    file.parent.mkdir(parents=True, exist_ok=True)
    with _draft(file) as draft:
        copy_file(backup, draft)
        contents = look_through(draft)
        missing = len(_identities(file) - _identities(draft))
        aside = set_aside(file, "replaced")
        draft.rename(file)
    return Restored(contents=contents, missing=missing, aside=aside)


def _identities(file: Path) -> set[str]:
    """Return which runs are in a database; none where it is not there, or cannot be read any more."""
    if not file.exists():
        return set()
    try:
        with open_file(file) as records, records.reading() as connection:
            return set(connection.scalars(select(RUNS.c.identity)))
    except RecordsError:
        return set()


@contextmanager
def _draft(beside: Path) -> Iterator[Path]:
    draft = beside.with_name(f"{beside.name}.{os.urandom(4).hex()}.part")
    try:
        yield draft
    except OSError as cause:
        raise RecordsError(f"{beside}: cannot be written: {cause.strerror}") from cause
    finally:
        for part in draft.parent.glob(f"{glob.escape(draft.name)}*"):
            part.unlink()
