"""What becomes of certificates after they were issued: withdrawn, or superseded by another. Nothing is ever taken back.

The records take all of it in one transaction; then each run folder that lies on this computer is told, so that the
records can be rebuilt from the folders with it, and so that a certificate can be checked without the records.
"""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from benchtest.clock import wall_time
from benchtest.records.database.opening import Records
from benchtest.records.database.questions import RunLine
from benchtest.records.database.record import Change, add_to_folder
from benchtest.records.database.storing import add_changes

WITHDRAWN: Final = "withdrawn"
SUPERSEDED: Final = "superseded"


@dataclass(frozen=True, kw_only=True, slots=True)
class Changed:
    """What a withdrawal did."""

    numbers: tuple[str, ...]
    """Certificates that were valid, or superseded, and are not any more."""
    untold: tuple[str, ...]
    """Run folders that could not be told: gone, or on another computer."""


def withdraw(records: Records, runs: Sequence[RunLine], *, reason: str, by: str, replaced_by: str = "") -> Changed:
    """Withdraw the certificates of these runs, or note by which number they are superseded, all of them or none."""
    status = SUPERSEDED if replaced_by else WITHDRAWN
    concerned = [run for run in runs if run.paper == "certificate" and run.status not in {WITHDRAWN, status}]
    now = wall_time()
    changes = [
        Change(key=os.urandom(16).hex(), status=status, reason=reason, by=by, at=now, replaced_by=replaced_by)
        for _ in concerned
    ]
    with records.writing() as connection:
        for run, change in zip(concerned, changes, strict=True):
            add_changes(connection, run.id, [change])
    told = zip(concerned, changes, strict=True)
    untold = tuple(run.folder for run, change in told if not add_to_folder(Path(run.folder), [change]))
    return Changed(numbers=tuple(run.number for run in concerned), untold=untold)
