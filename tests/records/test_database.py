"""The records on SQLite and on PostgreSQL: each run once, whole, and back out as it went in."""

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, func, insert, inspect, select

from benchtest.errors import RecordsError
from benchtest.records.database.opening import Records, open_file, open_server
from benchtest.records.database.packed import Reading, pack_readings, unpack_readings
from benchtest.records.database.record import Record, read_record
from benchtest.records.database.schema import VERSIONS, version_of
from benchtest.records.database.storing import Stored, load, store
from benchtest.records.database.tables import BOARDS, METADATA, RUNS
from benchtest.records.database.upgrading import MIGRATIONS, upgrade
from benchtest.records.folder import write_run
from benchtest.results import Verdict
from tests.records.finished import finished_run
from tests.servers.postgresql import Server

KINDS = ("sqlite", "postgresql")


@pytest.fixture(params=KINDS)
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """An empty database of each kind."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'empty.sqlite'}"
    server: Server = request.getfixturevalue("postgresql")
    return server.new()


@pytest.fixture(params=KINDS)
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
def record(tmp_path: Path) -> Record:
    """A run with a welded relay, as the records keep it."""
    write_run(tmp_path, finished_run(welded=7))
    return read_record(tmp_path)


def stored(records: Records, record: Record) -> Stored:
    """Store one run in a transaction of its own."""
    with records.writing() as connection:
        return store(connection, record)


def count(records: Records) -> int:
    """Return how many runs there are."""
    with records.reading() as connection:
        return int(connection.scalar(select(func.count()).select_from(RUNS)) or 0)


def test_a_run_comes_back_as_it_went_in(records: Records, record: Record) -> None:
    """Every field, reading, limit and instrument is the same after a way through the database."""
    assert Stored.NEW == stored(records, record)
    with records.reading() as connection:
        assert record == load(connection, 1)


def test_the_same_run_is_stored_once(records: Records, record: Record) -> None:
    """Storing it again says so and changes nothing."""
    assert [Stored.NEW, Stored.SAME, Stored.SAME] == [stored(records, record) for _ in range(3)]
    assert 1 == count(records)


def test_a_paused_run_that_went_on_replaces_itself(records: Records, record: Record) -> None:
    """The later state stays, whichever of the two comes last."""
    later = replace(record, resumed=1, run_digest="77" * 32, outcome="pass", reason="all well")
    done = [stored(records, one) for one in (record, later, record, later)]

    assert [Stored.NEW, Stored.REPLACED, Stored.OLDER, Stored.SAME] == done
    with records.reading() as connection:
        assert later == load(connection, 1)


def test_a_run_with_another_content_is_refused(records: Records, record: Record) -> None:
    """One identity and two contents: somebody changed a run file, and the records keep what they have."""
    stored(records, record)
    with pytest.raises(RecordsError, match=r"another content .*run\.json was changed"):
        stored(records, replace(record, run_digest="88" * 32))
    with records.reading() as connection:
        assert record == load(connection, 1)


def test_what_fails_halfway_leaves_nothing(records: Records, record: Record) -> None:
    """A run whose transaction fails is not there, nor is its board."""
    broken = replace(record, readings=record.readings[:-1])
    with pytest.raises(ValueError, match="shorter"):
        stored(records, broken)
    with records.reading() as connection:
        assert 0 == connection.scalar(select(func.count()).select_from(BOARDS))


def test_all_migrations_together_make_the_tables(url: str) -> None:
    """Step by step from nothing, alembic finds no difference to what a new database gets at once."""
    engine = create_engine(url)
    try:
        with engine.connect() as connection, connection.begin():
            upgrade(connection)
            assert [] == compare_metadata(MigrationContext.configure(connection), METADATA)
            assert VERSIONS[-1] == version_of(connection)
    finally:
        engine.dispose()


def test_a_new_database_is_what_the_migrations_make(records: Records) -> None:
    """The tables that are made at once are those of the newest version."""
    with records.reading() as connection:
        assert [] == compare_metadata(MigrationContext.configure(connection), METADATA)
        assert VERSIONS[-1] == version_of(connection)


def test_the_versions_are_those_of_the_migrations() -> None:
    """What this program says it knows is what it can bring about."""
    steps = [step.revision for step in ScriptDirectory(str(MIGRATIONS)).walk_revisions()]
    assert list(VERSIONS) == steps[::-1]


def test_every_constraint_has_a_name() -> None:
    """Else SQLite could not change it later."""
    assert [] == [(table.name, one) for table in METADATA.tables.values() for one in table.constraints if not one.name]


def test_foreign_keys_hold(records: Records) -> None:
    """A run without its board is refused: on SQLite that has to be asked for on each connection."""
    columns = {c["name"] for c in inspect(records.engine).get_columns("readings")}
    row = dict.fromkeys(columns, 1) | {"content": b""}
    with pytest.raises(RecordsError, match=r"(?i)foreign key"), records.writing() as connection:
        connection.execute(insert(METADATA.tables["readings"]).values(row))


Columns = tuple[float | str | None, float | None, float | None, Verdict, str]
ROWS: list[Columns] = [
    (0.0074, 1.2e-4, 2.0, Verdict.PASS, ""),
    (math.inf, None, None, Verdict.FAIL, "over-range"),
    ("3 flashes", None, None, Verdict.CONDITIONAL_PASS, ""),
    (None, None, None, Verdict.NOT_TESTED, "no channel reaches it: µ, Ω, 漢"),
    (-5e-324, 0.0, 2.87, Verdict.CONDITIONAL_FAIL, ""),
    ("", None, None, Verdict.FAIL, "said nothing"),
]
READINGS = [
    Reading(value=value, uncertainty=u, coverage=k, verdict=verdict, note=note) for value, u, k, verdict, note in ROWS
]


def test_readings_are_packed_without_loss() -> None:
    """Numbers to the last bit, infinities, words, empty words, nothing, notes in any script."""
    assert tuple(READINGS) == unpack_readings(pack_readings(READINGS))
    assert () == unpack_readings(pack_readings([]))


def test_a_reading_that_is_not_a_number_stays_one() -> None:
    """NaN is neither nothing nor a word."""
    nan = replace(READINGS[0], value=math.nan)
    (back, other) = unpack_readings(pack_readings([nan, READINGS[0]]))
    assert isinstance(back.value, float)
    assert math.isnan(back.value)
    assert READINGS[0] == other


@pytest.mark.parametrize("content", [b"", b"x", pack_readings(READINGS)[:-3]])
def test_packed_readings_that_are_not_whole_are_refused(content: bytes) -> None:
    """Half a value is no value."""
    with pytest.raises(ValueError, match="not packed readings"):
        unpack_readings(content)
