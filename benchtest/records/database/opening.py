"""Opening the records on SQLite or PostgreSQL; what goes wrong there is said in a sentence.

SQLite: a write-ahead log, every commit on the disk before it is acknowledged (`synchronous=FULL`), foreign keys kept,
what is deleted written over, ten seconds of patience with another writer, and no network share. A new file is made
whole under another name and then linked to its own, so that there is never half a database.

PostgreSQL: connections are tried before use, and nothing is waited for long: a bench tests, whatever becomes of the
server.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final, Self

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import (
    ArgumentError,
    DBAPIError,
    InterfaceError,
    NoSuchModuleError,
    OperationalError,
    SQLAlchemyError,
)

from benchtest.errors import RecordsError
from benchtest.records.address import Address
from benchtest.records.database.schema import create, fit
from benchtest.records.database.shares import share

PATIENCE: Final = 10.0
"""Seconds to wait for another writer of the same file."""
CONNECT: Final = 3
"""Seconds until a server must have answered a new connection."""
STATEMENT: Final = 30_000
"""Milliseconds that a server may take for one statement, and a third of it to wait for a lock."""
COMPANIONS: Final = ("-wal", "-shm", "")
"""Endings of the files that one SQLite database may consist of; the log first, that none is left for another one."""
REBUILD: Final = "try 'benchtest records rebuild': it sets this file aside and reads the run folders again"
IN_WORDS: Final = {
    sqlite3.SQLITE_NOTADB: f"is not a records database ({REBUILD})",
    sqlite3.SQLITE_CORRUPT: f"is damaged ({REBUILD})",
    sqlite3.SQLITE_FULL: "the disk is full (try making room)",
    sqlite3.SQLITE_BUSY: f"another program has been writing there for {PATIENCE:.0f} s (try again)",
    sqlite3.SQLITE_READONLY: "cannot be written (look at the rights of the file and of its folder)",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened (look at the rights of the file and of its folder)",
    sqlite3.SQLITE_IOERR: "the disk refuses to read or write (is it full, or failing?)",
}
"""What SQLite says, by its result code."""


class Unreachable(RecordsError):
    """The server of the records is away, or too slow: what waits for it can be delivered later."""


class Damaged(RecordsError):
    """The file is no sound database."""


class Records:
    """An open records database; use it in a `with`, or close it."""

    def __init__(self, engine: Engine, name: str) -> None:
        self.engine = engine
        self.name = name
        """As it is shown: without a password."""

    @property
    def on_server(self) -> bool:
        """Whether several benches can share it."""
        return self.engine.dialect.name == "postgresql"

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Look things up, all of them at one moment."""
        with explained(self.name), self.engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Change things: all of it, or nothing. It is kept when the block has been left."""
        with (
            explained(self.name),
            self.engine.connect().execution_options(writes=True) as connection,
            connection.begin(),
        ):
            yield connection

    def close(self) -> None:
        self.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *rest: object) -> None:
        self.close()


def open_records(address: Address) -> Records:
    """Open the records that are asked: the server where there is one, else the file.

    Raises RecordsError that says what is wrong and what to try, also when there is no file.
    """
    if address.server:
        return open_server(address.server)
    if address.file is None:
        raise RecordsError("no records are kept here ('none' was chosen; try --records PATH)")
    if not address.file.exists():
        raise RecordsError(
            f"{address.file}: no records are there (a finished run makes them, and 'benchtest records rebuild' makes "
            "them from run folders; try --runs or --records)"
        )
    return open_file(address.file)


# ---------------------------------------------------------------- SQLite


def open_file(path: Path) -> Records:
    """Open a bench's own records, and make them when they are not there."""
    refuse_share(path)
    if not path.exists():
        _make(path)
    records = Records(_file_engine(path), str(path))
    try:
        with explained(records.name):
            fit(records.engine, records.name, file=path)
    except BaseException:
        records.close()
        raise
    return records


def refuse_share(path: Path) -> None:
    """Raise RecordsError when a database at `path` would lie on a network share."""
    kind = share(path)
    if kind:
        raise RecordsError(
            f"{path}: lies on a network share ({kind}), where SQLite's locks do not hold and records can be damaged "
            "(try --records with a path on this computer, or a PostgreSQL server: postgresql://host/name)"
        )


def _file_engine(path: Path, *, draft: bool = False) -> Engine:
    engine = create_engine(f"sqlite:///{path}", connect_args={"timeout": PATIENCE, "isolation_level": None})
    event.listen(engine, "connect", _prepare_draft if draft else _prepare_file)
    event.listen(engine, "begin", _begin)
    return engine


def _prepare_file(connection: sqlite3.Connection, _: object) -> None:
    connection.execute("PRAGMA journal_mode=WAL")
    _prepare_draft(connection, _)


def _prepare_draft(connection: sqlite3.Connection, _: object) -> None:
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA foreign_keys=ON")
    connection.execute("PRAGMA secure_delete=ON")


def _begin(connection: Connection) -> None:
    """A writer takes its turn at the beginning: one that reads first and then writes could be refused halfway."""
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _make(path: Path) -> None:
    """Make an empty database whole under another name, then link it; whoever comes second takes the first one's."""
    draft = path.with_name(f"{path.name}.{os.urandom(4).hex()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with explained(str(path)):
            _fill(draft, path)
        _link(draft, path)
    except OSError as cause:
        raise RecordsError(f"{path}: cannot be made: {cause.strerror} (try another place with --records)") from cause
    finally:
        for ending in COMPANIONS:
            with suppress(OSError):  # where no file can be, none is left
                draft.with_name(draft.name + ending).unlink(missing_ok=True)


def _fill(draft: Path, path: Path) -> None:
    """Make the tables, and only then turn to a log, of which nothing is left when the file is closed."""
    engine = _file_engine(draft, draft=True)
    try:
        with engine.connect().execution_options(writes=True) as connection, connection.begin():
            create(connection)
        with engine.connect() as connection:
            mode = connection.connection.execute("PRAGMA journal_mode=WAL").fetchone()
    finally:
        engine.dispose()
    if mode is None or mode[0] != "wal":
        raise RecordsError(f"{path}: its file system cannot keep a write-ahead log (try a disk of this computer)")
    if draft.with_name(f"{draft.name}-wal").exists():
        raise RecordsError(f"{path}: {IN_WORDS[sqlite3.SQLITE_FULL]}")


def _link(draft: Path, path: Path) -> None:
    try:
        os.link(draft, path)
    except FileExistsError:
        return
    except OSError:  # a file system without links, such as that of a memory stick
        draft.replace(path)


# ---------------------------------------------------------------- PostgreSQL


def open_server(url: str, *, connect: int = CONNECT, statement: int = STATEMENT) -> Records:
    """Open the records that several benches share, and make their tables when the database has none."""
    engine, name = _server_engine(url, connect, statement)
    records = Records(engine, name)
    try:
        with explained(name):
            fit(engine, name)
    except BaseException:
        records.close()
        raise
    return records


def upgrade_on_server(url: str) -> str:
    """Bring the tables on a server up to date and return its name."""
    from benchtest.records.database.upgrading import upgrade_server

    engine, name = _server_engine(url, CONNECT, STATEMENT)
    try:
        with explained(name):
            upgrade_server(engine)
    finally:
        engine.dispose()
    return name


def _server_engine(url: str, connect: int, statement: int) -> tuple[Engine, str]:
    try:
        made = make_url(url)
        timeouts: dict[str, Any] = {"connect_timeout": connect, "application_name": "benchtest"}
        if made.host and not made.host.startswith("/"):
            timeouts |= {"tcp_user_timeout": 1000 * connect}
        known = {key: value for key, value in timeouts.items() if key not in made.query}
        engine = create_engine(made, pool_pre_ping=True, pool_size=2, connect_args=known)
    except (ArgumentError, NoSuchModuleError, ValueError) as cause:
        raise RecordsError(f"this is not the address of a PostgreSQL database: {cause}") from cause
    except ImportError as cause:
        hint = "try, in the clone: .venv/bin/uv sync --inexact --no-dev --extra postgresql"
        raise RecordsError(f"records on a PostgreSQL server need psycopg ({hint})") from cause

    def prepare(connection: Any, _: object) -> None:
        connection.execute(f"SET statement_timeout = {statement}")
        connection.execute(f"SET lock_timeout = {statement // 3}")
        connection.execute("SET timezone = 'UTC'")
        connection.commit()

    event.listen(engine, "connect", prepare)
    return engine, made.set(drivername="postgresql", query={}).render_as_string(hide_password=True)


# ---------------------------------------------------------------- what goes wrong, in words


@contextmanager
def explained(name: str) -> Iterator[None]:
    """Turn what a database says into a sentence with what to try."""
    try:
        yield
    except SQLAlchemyError as cause:
        raise _kind(cause)(f"{name}: {_sentence(cause)}") from cause


def _kind(cause: SQLAlchemyError) -> type[RecordsError]:
    origin = cause.orig if isinstance(cause, DBAPIError) else None
    if isinstance(origin, sqlite3.Error):
        return Damaged if _code(origin) in {sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT} else RecordsError
    return Unreachable if isinstance(cause, OperationalError | InterfaceError) else RecordsError


def _code(error: sqlite3.Error) -> int:
    """Return the primary result code, without what extends it."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


def _sentence(cause: SQLAlchemyError) -> str:
    origin = cause.orig if isinstance(cause, DBAPIError) else cause
    said = " ".join(str(origin).split())
    if not isinstance(origin, sqlite3.Error):
        return f"the server of the records: {said}" if said else "the server of the records does not answer"
    return IN_WORDS.get(_code(origin), said)
