"""Where the readings of a study come from: tables, run folders and records, as they were named on the command line."""

from collections.abc import Sequence
from pathlib import Path

from benchtest.errors import StudyError
from benchtest.records.address import SERVER, Address
from benchtest.studies.reading_records import read_records
from benchtest.studies.reading_runs import read_runs, run_folders
from benchtest.studies.reading_table import read_table
from benchtest.studies.readings import Choice, Readings, joined

SQLITE = b"SQLite format 3\x00"
"""How a file of records begins."""


def read(sources: Sequence[str | Path], *, choice: Choice | None = None, patterns: Sequence[str] = ()) -> Readings:
    """Return the readings of tables, run folders and records as one, those of the named quantities.

    Raises StudyError for a source that is none of them, CaptureError for a table that cannot be read.
    """
    chosen = choice or Choice()
    folders = [Path(source) for source in sources if not _server(source) and Path(source).is_dir()]
    parts = [_read_one(source, chosen) for source in sources if Path(source) not in folders]
    if folders:
        found = [run for folder in folders for run in run_folders(folder)]
        parts.append(read_runs(found, source=", ".join(map(str, folders)), choice=chosen))
    return joined(parts).only(patterns)


def _server(source: str | Path) -> bool:
    return str(source).startswith(SERVER)


def _read_one(source: str | Path, choice: Choice) -> Readings:
    path = Path(source)
    if _server(source) or (path.is_file() and _begins(path) == SQLITE):
        address = Address.parse(str(source), root=Path())
        return read_records(address, source="the records" if address.server else str(path), choice=choice)
    if not path.is_file():
        hint = "a CSV table, a folder of runs, a file of records, or postgresql://host/name"
        raise StudyError(f"{path}: there is no such table or folder ({hint})")
    return read_table(path)


def _begins(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(len(SQLITE))
