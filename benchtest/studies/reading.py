"""Where the readings of a study come from: tables and run folders, as they were named on the command line."""

from collections.abc import Sequence
from pathlib import Path

from benchtest.errors import StudyError
from benchtest.studies.reading_runs import read_runs, run_folders
from benchtest.studies.reading_table import read_table
from benchtest.studies.readings import Readings, joined


def read(paths: Sequence[Path], *, passed_only: bool = False, patterns: Sequence[str] = ()) -> Readings:
    """Return the readings of tables and run folders as one, those of the named quantities.

    Raises StudyError for a path that is neither, CaptureError for a table that cannot be read.
    """
    tables = [path for path in paths if path.is_file()]
    folders = [path for path in paths if path.is_dir()]
    for path in paths:
        if path not in tables and path not in folders:
            raise StudyError(f"{path}: there is no such table or folder (a CSV table, or a folder of runs)")
    parts = [read_table(path) for path in tables]
    if folders:
        found = [run for folder in folders for run in run_folders(folder)]
        parts.append(read_runs(found, source=", ".join(map(str, folders)), passed_only=passed_only))
    return joined(parts).only(patterns)
