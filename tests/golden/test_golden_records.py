"""Records of every version that was ever released come up to today's, on SQLite and on PostgreSQL, whole.

The files were written by the program of their day and are never written again.
"""

import gzip
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import Connection, create_engine, select, text

from benchtest.cli import entry
from benchtest.errors import RecordsError
from benchtest.records.database.opening import Records, open_file, open_server
from benchtest.records.database.questions import history, recall
from benchtest.records.database.schema import VERSIONS, version_of
from benchtest.records.database.storing import load
from benchtest.records.database.tables import METADATA, OUTBOX
from benchtest.records.database.upgrading import upgrade
from benchtest.results import Verdict
from tests.records.finished import finished_run
from tests.servers.postgresql import Server

HERE = Path(__file__).parent
OLD = [path.name.split(".")[0].removeprefix("records-") for path in sorted(HERE.glob("records-*.sqlite.gz"))]


def unpacked(version: str, folder: Path) -> Path:
    """Return a copy of the records of a version."""
    folder.mkdir(exist_ok=True)
    file = folder / "records.sqlite"
    file.write_bytes(gzip.decompress((HERE / f"records-{version}.sqlite.gz").read_bytes()))
    return file


def look(records: Records) -> None:
    """Everything that was stored then is found now: runs, readings, instruments, a withdrawal, the queue."""
    pattern = finished_run(welded=7)
    with records.reading() as connection:
        assert VERSIONS[-1] == version_of(connection)
        runs = history(connection, "GOLD-1").runs
        assert [("pass", "withdrawn"), ("fail", "")] == [(run.outcome, run.status) for run in runs]
        assert len(pattern.results) == len(load(connection, runs[1].id).readings)
        failed = [one for one in load(connection, runs[1].id).readings if one.verdict is Verdict.FAIL]
        assert sum(result.verdict is Verdict.FAIL for result in pattern.results) == len(failed)
        assert 2 == len(recall(connection, "R-0002", since=runs[0].started))
        assert [runs[1].id] == list(connection.scalars(select(OUTBOX.c.run_id)))


def test_there_is_a_file_of_the_first_version() -> None:
    """Else the tests below would look at nothing."""
    assert "0001" in OLD


@pytest.mark.parametrize("version", OLD)
def test_an_old_file_comes_up_to_date_by_being_opened(version: str, tmp_path: Path) -> None:
    """After a copy of it was laid beside it."""
    file = unpacked(version, tmp_path)
    with open_file(file) as records:
        look(records)
    (copy,) = tmp_path.glob(f"records.sqlite.schema-{version}-*")
    with closing(sqlite3.connect(copy)) as kept, closing(sqlite3.connect(unpacked(version, tmp_path / "x"))) as old:
        assert list(old.iterdump()) == list(kept.iterdump())


@pytest.mark.parametrize("version", OLD)
def test_an_old_server_comes_up_to_date_when_it_is_told_to(version: str, tmp_path: Path, postgresql: Server) -> None:
    """Not before: the other benches may be old too. Then everything is there."""
    url = postgresql.new()
    engine = create_engine(url)
    with engine.connect() as connection, connection.begin():
        upgrade(connection, version)
        _copy_rows(unpacked(version, tmp_path), connection)
    engine.dispose()

    with pytest.raises(RecordsError, match=r"older benchtest .* 'benchtest records upgrade'"):
        open_server(url)
    assert 0 == entry(["records", "upgrade", "--records", url])
    with open_server(url) as records:
        look(records)


def _copy_rows(file: Path, connection: Connection) -> None:
    """Put the rows of a file into the tables of a server, table by table."""
    with closing(sqlite3.connect(file)) as old:
        old.row_factory = sqlite3.Row
        names = {row["name"] for row in old.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        for table in METADATA.sorted_tables:
            if table.name in names:
                rows = [dict(row) for row in old.execute(f'SELECT * FROM "{table.name}"')]
                for row in rows:
                    columns = ", ".join(f'"{name}"' for name in row)
                    marks = ", ".join(f":{name}" for name in row)
                    connection.execute(text(f'INSERT INTO "{table.name}" ({columns}) VALUES ({marks})'), row)
