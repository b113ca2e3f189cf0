"""The schema's versions: a new database is made at once, an old one is brought up step by step, a newer one refused.

The steps are in `migrations/versions`; a test holds that all of them together make what `tables` says. Before a file is
brought up it is copied beside itself. A server is brought up by hand (`benchtest records upgrade`): one bench should
not lock out the others because it was updated first; until then it queues its runs.
"""

from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Engine, inspect, text

from benchtest.errors import RecordsError
from benchtest.records.database.case_tables import METADATA

VERSIONS: Final = ("0001", "0002")
"""All that there have been, the newest last."""
LOCK: Final = 0x62656E63
"""Number of the lock that whoever makes tables on a server holds; any number that nobody else takes."""


def create(connection: Connection) -> None:
    """Make all tables, and say which version they are."""
    METADATA.create_all(connection)
    key = "CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)"
    connection.execute(text(f"CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL, {key})"))
    connection.execute(text("INSERT INTO alembic_version VALUES (:version)"), {"version": VERSIONS[-1]})


def fit(engine: Engine, name: str, *, file: Path | None = None) -> None:
    """Make a database fit for this program, or raise RecordsError that says why it cannot be."""
    with engine.connect() as connection:
        version = version_of(connection)
    if version == VERSIONS[-1]:
        return
    if version is None:
        _create_on(engine, name)
        return
    if version not in VERSIONS:
        raise RecordsError(
            f"{name}: these records are of a newer benchtest (schema {version}; this one knows up to {VERSIONS[-1]}). "
            "Nothing was changed (try updating benchtest on this computer)"
        )
    if file is None:
        raise RecordsError(
            f"{name}: these records are of an older benchtest (schema {version} of {VERSIONS[-1]}); when all benches "
            "are updated, bring them up with 'benchtest records upgrade'"
        )
    from benchtest.records.database.upgrading import upgrade_file

    upgrade_file(engine, file, version)


def version_of(connection: Connection) -> str | None:
    """Return the version of the tables; None where there are none."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found: Any = connection.scalar(text("SELECT version_num FROM alembic_version"))
    return None if found is None else str(found)


def _create_on(engine: Engine, name: str) -> None:
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        if engine.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
        if version_of(connection) is not None:  # another bench was quicker
            return
        there = set(inspect(connection).get_table_names())
        if foreign := there if engine.dialect.name == "sqlite" else there & set(METADATA.tables):
            raise RecordsError(f"{name}: is a database of another program, with {min(foreign)} in it (try another one)")
        create(connection)
