"""A depot on each kind of database, with a clock that the tests set, and runs that need no bench."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from benchtest.depot.entries import Intake
from benchtest.depot.flow import Depot
from benchtest.records.database.opening import Records, open_file, open_server
from benchtest.records.folder import write_run
from benchtest.results import Outcome, Run
from tests.records.finished import finished_run
from tests.servers.postgresql import Server

PART = "GZ-2140"


@dataclass
class Days:
    """A clock that goes on by an hour each time it is asked, and stands where it is put."""

    moment: datetime = field(default_factory=lambda: datetime(2026, 3, 2, 8, 0, tzinfo=UTC))

    def __call__(self) -> datetime:
        self.moment += timedelta(hours=1)
        return self.moment


@pytest.fixture(params=["sqlite", "postgresql"])
def records(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Records]:
    """Open records of each kind."""
    if request.param == "sqlite":
        opened = open_file(tmp_path / "records.sqlite")
    else:
        server: Server = request.getfixturevalue("postgresql")
        opened = open_server(server.new())
    with opened:
        yield opened


@pytest.fixture
def file(tmp_path: Path) -> Iterator[Records]:
    """Open records in a file: for what has nothing to do with the kind of database."""
    with open_file(tmp_path / "records.sqlite") as opened:
        yield opened


@pytest.fixture
def days() -> Days:
    """The clock of the depot."""
    return Days()


def board(serial: str = "S1", **more: Any) -> Intake:
    """Return an intake of a board with what else a test says of it."""
    return replace(Intake(part=PART, serial=serial), **more)


@pytest.fixture
def depot(records: Records, tmp_path: Path, days: Days) -> Depot:
    """A depot on each kind of database."""
    return Depot(root=tmp_path, records=records, now=days)


Ran = Callable[..., tuple[Run, Path]]


@pytest.fixture
def ran(tmp_path: Path) -> Ran:
    """Return a way to have a run of a board lie in the folder of all runs, with an outcome."""
    number = 0

    def run(order: str, outcome: Outcome = Outcome.PASS, *, technician: str = "Bo", **job: str) -> tuple[Run, Path]:
        nonlocal number
        number += 1
        made = finished_run()
        procedure = replace(made.procedure, part=PART)
        said: dict[str, Any] = {
            "serial": "S1",
            "work_order": order,
            "technician": technician,
            "customer": "",
            "phase": "",
            **job,
        }
        folder = tmp_path / f"20260302T0{number:05d}-{PART}-S1-{number:08x}"
        folder.mkdir()
        made = replace(made, number=f"N-{number}", outcome=outcome, procedure=procedure, job=replace(made.job, **said))
        write_run(folder, made)
        return made, folder

    return run
