"""What a run leaves on disk: journal, recordings, run file, test-result XML. Written atomically, checked when read."""

from benchtest.records.folder import (
    RUN_FORMAT,
    clean_serial,
    clean_text,
    create_folder,
    load_readings,
    read_run,
    save_recorded,
    save_scalars,
    write_run,
)
from benchtest.records.journal import Journal, JournalEntry, JournalRead, read_journal
from benchtest.records.junit import write_junit

__all__ = [
    "RUN_FORMAT",
    "Journal",
    "JournalEntry",
    "JournalRead",
    "clean_serial",
    "clean_text",
    "create_folder",
    "load_readings",
    "read_journal",
    "read_run",
    "save_recorded",
    "save_scalars",
    "write_junit",
    "write_run",
]
