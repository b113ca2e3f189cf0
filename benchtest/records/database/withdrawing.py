"""Withdrawing certificates by the dozen. Nothing is ever taken back: a board that is tested again gets a new one.

The records take all of it in one transaction; then a sealed note is laid into each run folder that is on this computer,
so that the records can be rebuilt from the folders with it, and a certificate be checked without the records.
"""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from benchtest.clock import wall_time
from benchtest.records.database.opening import Records
from benchtest.records.database.questions import RunLine
from benchtest.records.database.record import here
from benchtest.records.database.storing import add_changes
from benchtest.records.notes import WITHDRAWN, Change, withdraw_papers


@dataclass(frozen=True, kw_only=True, slots=True)
class Changed:
    """What a withdrawal did."""

    numbers: tuple[str, ...]
    """Certificates that were valid, or superseded, and are not any more."""
    untold: tuple[str, ...]
    """Run folders that could not be told: gone, or on another computer."""


def withdraw(records: Records, runs: Sequence[RunLine], *, root: Path, reason: str, by: str) -> Changed:
    """Withdraw the certificates of these runs, all of them or none. The run folders are looked for below `root` first.

    A certificate that was superseded is withdrawn with the one that took its place.
    """
    concerned = [run for run in runs if run.paper == "certificate" and run.status != WITHDRAWN]
    now = wall_time()
    changes = [Change(key=os.urandom(16).hex(), status=WITHDRAWN, reason=reason, by=by, at=now) for _ in concerned]
    with records.writing() as connection:
        for run, change in zip(concerned, changes, strict=True):
            add_changes(connection, run.id, [change])
    told = zip(concerned, changes, strict=True)
    untold = tuple(run.folder for run, change in told if not withdraw_papers(here(run.folder, root), change))
    return Changed(numbers=tuple(run.number for run in concerned), untold=untold)
