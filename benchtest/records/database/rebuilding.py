"""The records made again from the run folders, which are the truth; every file is checked against its digest first.

What the records have besides, such as runs of another bench or withdrawn certificates, stays. A file that is no
database any more is set aside, never thrown away.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from benchtest.canonical import digest, read_whole, wrong
from benchtest.clock import wall_time
from benchtest.errors import BenchtestError, RecordsError
from benchtest.records.address import NAME
from benchtest.records.database.opening import COMPANIONS, Damaged, Records, open_file
from benchtest.records.database.record import record_of
from benchtest.records.database.storing import Stored, changes_of, identifier, store
from benchtest.records.folder import DEPOT, read_run
from benchtest.records.journal import read_journal
from benchtest.records.notes import WITHDRAWN, withdraw_papers
from benchtest.results import Run

SUFFIX: Final = Path(NAME).suffix
"""Without it, a file that is no database may be somebody's letter."""
CUT_OFF: Final = "was cut off: it has no run.json"


@dataclass(frozen=True, kw_only=True, slots=True)
class Indexed:
    """What became of one folder."""

    folder: Path
    stored: Stored | None
    """None when it was skipped."""
    reason: str = ""
    """Why it was skipped, or what is missing in it."""
    damaged: bool = False
    """Skipped because something in it is not what it was."""


def set_aside_if_damaged(file: Path) -> Path | None:
    """Rename a file that is no sound database and return its new name; None when it is sound, or not there.

    Raises RecordsError when it is sound but not for this program: of a newer version, or of another program.
    """
    if not file.exists():
        return None
    try:
        with open_file(file) as records, records.reading() as connection:
            found = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar()
        if found == "ok":
            return None
    except Damaged:
        if file.suffix != SUFFIX:
            raise RecordsError(f"{file}: is no database, and is left where it is (try another place)") from None
    return set_aside(file, "damaged")


def set_aside(file: Path, why: str) -> Path | None:
    """Rename a database with the files that belong to it and return its new name; None when it is not there."""
    if not file.exists():
        return None
    aside = file.with_name(f"{file.name}.{why}-{wall_time():%Y%m%dT%H%M%S}")
    for ending in COMPANIONS:
        part = file.with_name(file.name + ending)
        if part.exists():
            part.rename(aside.with_name(aside.name + ending))
    return aside


def rebuild(records: Records, root: Path, *, queue: bool = False) -> Iterator[Indexed]:
    """Store every run below `root` that the records lack, and say of each folder what became of it."""
    for folder in sorted(path for path in root.iterdir() if path.is_dir() and path.name != DEPOT):
        try:
            yield _index(records, folder, queue=queue)
        except (BenchtestError, OSError) as problem:
            yield Indexed(folder=folder, stored=None, reason=str(problem), damaged=True)


def _index(records: Records, folder: Path, *, queue: bool) -> Indexed:
    if not (folder / "run.json").is_file():
        ours = (folder / "journal.jsonl").is_file()
        return Indexed(folder=folder, stored=None, reason=CUT_OFF if ours else "is not a run folder")
    run = read_run(folder)
    missing = verify(run, folder)
    record = record_of(run, folder)
    with records.writing() as connection:
        done = store(connection, record, queue=queue)
        known = changes_of(connection, identifier(connection, record.identity))
    for change in known:
        if change.status == WITHDRAWN and all(one.status != WITHDRAWN for one in record.changes):
            withdraw_papers(folder, change)
    reason = f"{len(missing)} files of evidence are not there any more" if missing else ""
    return Indexed(folder=folder, stored=done, reason=reason)


def verify(run: Run, folder: Path) -> tuple[str, ...]:
    """Check a run folder against its digests and return which files are missing.

    Raises DocumentError when one is there and was changed, or when the chain of the journal does not hold.
    """
    missing = [] if (folder / "journal.jsonl").exists() else ["journal.jsonl"]
    if not missing and read_journal(folder / "journal.jsonl").head != run.journal_head:
        raise wrong(folder / "journal.jsonl", "is not the journal that run.json was made of")
    for relative, expected in run.recordings.items():
        path = folder / relative
        if not path.resolve().is_relative_to(folder.resolve()):
            raise wrong(path, "is outside the run folder")
        if not path.exists():
            missing.append(relative)
        elif digest(read_whole(path)) != expected:
            raise wrong(path, "was changed after the run", hint="its digest in run.json is another; look for a copy")
    return tuple(missing)
