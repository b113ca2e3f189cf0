"""Bringing older tables up to date, step by step; loads alembic, which nothing else does."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Final

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, Engine, text

from benchtest.clock import wall_time
from benchtest.errors import RecordsError
from benchtest.records.database.schema import LOCK, VERSIONS, version_of

MIGRATIONS: Final = Path(__file__).parent / "migrations"


def upgrade(connection: Connection, to: str = "head") -> None:
    """Take the steps that are missing, in the transaction of this connection."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, to)


def upgrade_file(engine: Engine, file: Path, version: str) -> Path:
    """Bring a file up to date after copying it beside itself; return where the copy is.

    Raises RecordsError when no copy can be made; nothing was changed then.
    """
    kept = file.with_name(f"{file.name}.schema-{version}-{wall_time():%Y%m%dT%H%M%S}")
    copy_file(file, kept)
    with engine.connect().execution_options(writes=True) as connection:
        beneath = connection.connection.driver_connection  # a transaction has not begun yet, as these lines need
        assert isinstance(beneath, sqlite3.Connection)
        beneath.execute("PRAGMA foreign_keys=OFF")  # a table that is copied is dropped for a moment
        with connection.begin():
            if version_of(connection) != VERSIONS[-1]:  # another program may have been quicker
                upgrade(connection)
        beneath.execute("PRAGMA foreign_keys=ON")
    return kept


def upgrade_server(engine: Engine) -> None:
    """Bring the tables on a server up to date; two at once wait for each other."""
    with engine.connect() as connection, connection.begin():
        connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
        connection.execute(text("SET LOCAL statement_timeout = 0"))
        upgrade(connection)


def copy_file(file: Path, to: Path) -> None:
    """Copy a database with everything that its log still holds. Raises RecordsError when that cannot be done."""
    try:
        with closing(sqlite3.connect(file)) as source, closing(sqlite3.connect(to)) as copy:
            source.backup(copy)
    except sqlite3.Error as cause:
        to.unlink(missing_ok=True)
        raise RecordsError(f"{to}: no copy of {file} can be made there: {cause}") from cause
