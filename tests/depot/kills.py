"""Boards that go through the depot are killed at random moments; afterwards every acknowledged entry is there, once.

    python -m tests.depot.kills 200                                  # on SQLite
    python -m tests.depot.kills 200 postgresql://user@127.0.0.1/name # on an empty database of a server

The tests do the same a few times.
"""

import os
import random
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import click
from sqlalchemy import func, select

from benchtest.depot.flow import Depot
from benchtest.depot.folder import case_folders, folder_of, read_lines
from benchtest.records.database.case_tables import CASES, ENTRIES
from benchtest.records.database.opening import open_file, open_server

ROOT = Path(__file__).parents[2]


def killed(root: Path, place: str, name: str, entries: int, more: float) -> list[tuple[str, int]]:
    """Let boards go through until so many entries were acknowledged and a moment more; return which were."""
    command = [sys.executable, "-m", "tests.depot.releasing", str(root), place, name]
    said: list[tuple[str, int]] = []
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert "ready\n" == process.stdout.readline()
        for _ in range(entries):
            order, number = process.stdout.readline().split()
            said.append((order, int(number)))
        try:
            process.wait(timeout=more)
        except subprocess.TimeoutExpired:
            os.kill(process.pid, signal.SIGKILL)
        said += [(order, int(number)) for order, number in map(str.split, process.stdout)]
    return said


def kills(root: Path, place: str, *, number: int, seed: int = 20261128) -> Iterator[bool]:
    """Kill so many times, and yield of each time whether all that was acknowledged is there and both sides agree."""
    chance = random.Random(seed)
    for name in range(number):
        said = killed(root, place, f"W{name}", chance.randint(1, 8), chance.random() * 0.05)
        with open_server(place) if "://" in place else open_file(Path(place)) as records:
            depot = Depot(root=root, records=records)
            problems = depot.restore().problems
            there = [
                entries <= len(depot.case(order).entries) and depot.personal(order).customer == f"customer of {order}"
                for order, entries in dict(said).items()
            ]
            yield not problems and all(there) and _agree(depot)


def _agree(depot: Depot) -> bool:
    """Return whether every case has the same lines in its file and in the database, each once."""
    with depot.records.reading() as connection:
        counted = select(ENTRIES.c.work_order, func.count()).group_by(ENTRIES.c.work_order)
        known: dict[str, int] = {row[0]: row[1] for row in connection.execute(counted)}
        stored = select(CASES.c.work_order, CASES.c.entries)
        rows: dict[str, int] = {row[0]: row[1] for row in connection.execute(stored)}
    files = {}
    for folder in case_folders(depot.root):
        lines, _ = read_lines(folder)
        if lines:
            files[folder.name] = len(lines)
    return {folder_of(depot.root, order).name: count for order, count in known.items()} == files and known == rows


def main(number: int, place: str = "") -> int:
    """Kill so many times; return 0 when nothing was lost."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        held = list(kills(root, place or str(root / "records.sqlite"), number=number, seed=1))
    click.echo(f"{sum(held)} of {len(held)} kills lost nothing and doubled nothing")
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), *sys.argv[2:]))
