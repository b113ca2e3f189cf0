"""A real PostgreSQL server for the tests: Debian's, with a data directory of its own, on loopback only.

The server refuses to run as root; it runs as user `postgres` then, whom Debian's package makes.
"""

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Final

import psycopg
from psycopg import sql

PROGRAMS: Final = Path("/usr/lib/postgresql")
OWNER: Final = "postgres"


class Absent(Exception):
    """There is no PostgreSQL on this computer."""


@dataclass(frozen=True, kw_only=True)
class Server:
    """A server that runs, and the way to databases of one's own."""

    port: int
    data: Path
    programs: Path
    numbers: "count[int]"
    durable: bool
    """Whether it waits for the disk, as it must where its speed is measured; the tests kill its clients only."""

    def new(self) -> str:
        """Make an empty database and return its URL."""
        name = f"records_{next(self.numbers)}"
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        return self.url(name)

    def url(self, name: str) -> str:
        return f"postgresql://{OWNER}@127.0.0.1:{self.port}/{name}"

    def process(self) -> int:
        """Return the number of the server's first process."""
        return int((self.data / "postmaster.pid").read_text(encoding="ascii").split()[0])

    def stop(self) -> None:
        """Stop it at once, whoever is connected."""
        _as_owner(self.programs / "pg_ctl", "-D", self.data, "-m", "immediate", "-w", "stop")

    def start(self) -> None:
        """Start it, on the port that it has."""
        words = f"-p {self.port} -h 127.0.0.1 -k {self.data} -c shared_buffers=64MB -c max_connections=40"
        words += "" if self.durable else " -c fsync=off -c full_page_writes=off"
        _as_owner(self.programs / "pg_ctl", "-D", self.data, "-l", self.data / "log", "-o", words, "-w", "start")


def _programs() -> Path:
    for folder in sorted(PROGRAMS.glob("*/bin"), reverse=True):
        if (folder / "initdb").exists():
            return folder
    found = shutil.which("initdb")
    if found is None:
        raise Absent("no PostgreSQL server (try: apt-get install postgresql)")
    return Path(found).resolve().parent


def _as_owner(*words: str | Path) -> None:
    command = [str(word) for word in words]
    if os.geteuid() == 0:
        command = ["runuser", "-u", OWNER, "--", *command]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stdin=subprocess.DEVNULL, cwd="/")


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@contextmanager
def served(*, durable: bool = False) -> Iterator[Server]:
    """Serve PostgreSQL until the block is left. Raises Absent where there is none."""
    programs = _programs()
    with tempfile.TemporaryDirectory(prefix="pg-", ignore_cleanup_errors=True) as place:
        data = Path(place) / "data"
        data.mkdir(mode=0o700)
        if os.geteuid() == 0:
            Path(place).chmod(0o755)
            shutil.chown(data, OWNER)
        _as_owner(programs / "initdb", "-D", data, "-U", OWNER, "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "-N")
        server = Server(port=_free_port(), data=data, programs=programs, numbers=count(1), durable=durable)
        server.start()
        try:
            yield server
        finally:
            server.stop()
