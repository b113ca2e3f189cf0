"""What tests of commands share: the shipped board, and what a command answers."""

import json
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from sqlalchemy import func, select

from benchtest.records.database.opening import Records
from benchtest.records.database.record import Record, read_record
from benchtest.records.database.tables import RUNS
from benchtest.records.folder import write_run
from tests.records.finished import finished_run

ROOT: Final = Path(__file__).parents[2]
CARWASH: Final = ("run", str(ROOT / "profiles/carwash.yaml"), "--fixture", str(ROOT / "fixtures/simulated.yaml"))
Said = Callable[..., tuple[int, str, str]]
"""Gives a command and hears its exit code, what it printed and what it said beside."""


def rows(said: tuple[int, str, str]) -> list[dict[str, object]]:
    """Return the rows of an answer in JSON."""
    code, printed, _ = said
    assert 0 == code, said
    found: list[dict[str, object]] = json.loads(printed)["rows"]
    return found


@cache
def _one() -> Record:
    with TemporaryDirectory() as folder:
        write_run(Path(folder), finished_run())
        return read_record(Path(folder))


def like(number: int, **changed: Any) -> Record:
    """Return a run of its own, as the records keep it."""
    return replace(_one(), identity=f"{number:064x}", number=f"N-{number}", **changed)


def count(records: Records) -> int:
    """Return how many runs there are."""
    with records.reading() as connection:
        return int(connection.scalar(select(func.count()).select_from(RUNS)) or 0)
