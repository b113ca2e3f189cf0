"""What a million runs cost to ask: history, recall, list, find, store, on SQLite and PostgreSQL; and the page about it.

    python -m tests.benchmarks.million --write docs/records-speed.md

Makes some twelve gigabytes below the temporary folder and takes a quarter of an hour; with `--runs` it makes fewer.
"""

import argparse
import os
import platform
import random
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from statistics import median
from time import perf_counter, process_time
from typing import Final

from benchtest.records.database.opening import Records, open_file, open_server
from benchtest.records.database.questions import Wanted, find_runs, history, list_runs, recall
from benchtest.records.database.record import Record
from benchtest.records.database.storing import load, store
from tests.benchmarks.generated import Generated, fill
from tests.servers.postgresql import served

TRIES: Final = 40
LIMITS: Final = {"history of a serial": 0.020, "recall, 90 days": 0.200, "store a run": 0.010}
"""Seconds."""
HEAD: Final = """# Speed of the records

Generated runs of {years} years on twenty benches, {checks} readings each, five runs a board; asked and stored by the
functions that the commands use, in one process. Made by `python -m tests.benchmarks.million --write
docs/records-speed.md` on {machine}. Median of {tries}, in brackets the quickest and the slowest; then the processor
time of this program. Where the load average is more than the number of cores, others took processors and disk away in
between, and quickest and processor time say more of the records than the median does. `bare sqlite3` fetches or writes
the same rows by Python's own module with the statements written out, and makes nothing of them.

"""


@dataclass(frozen=True, kw_only=True)
class Timed:
    """How long one thing took, again and again."""

    seconds: tuple[float, ...]
    worked: tuple[float, ...]
    """Seconds of this program on a processor: others may be busy on this computer."""

    @property
    def middle(self) -> float:
        return median(self.seconds)

    def __str__(self) -> str:
        least, most = min(self.seconds) * 1e3, max(self.seconds) * 1e3
        return f"{self.middle * 1e3:.1f} ms ({least:.1f} to {most:.0f}), {median(self.worked) * 1e3:.1f} of it work"


def timed(act: Callable[[int], object], tries: int = TRIES) -> Timed:
    """Do something again and again, each time with another number, and measure each."""
    act(-1)
    taken, worked = list[float](), list[float]()
    for number in range(tries):
        begin, before = perf_counter(), process_time()
        act(number)
        worked.append(process_time() - before)
        taken.append(perf_counter() - begin)
    return Timed(seconds=tuple(taken), worked=tuple(worked))


class Asked:
    """Records of many runs, asked at random."""

    def __init__(self, records: Records, generated: Generated) -> None:
        self.records, self.generated = records, generated
        chance = random.Random(5)
        self.serials = [generated.serial(chance.randint(1, generated.boards)) for _ in range(TRIES + 1)]
        self.instruments = [f"I-{chance.randint(1, 60):04d}" for _ in range(TRIES + 1)]
        self.since = generated.moment(generated.runs) - timedelta(days=90)
        with records.reading() as connection:
            self.pattern: Record = load(connection, 1)
        self.stored = 0

    def everything(self) -> dict[str, Timed]:
        """Measure every question, and storing."""
        return {
            "history of a serial": timed(self.history),
            "recall, 90 days": timed(self.recall),
            "list of the newest 50": timed(self.list),
            "find by a work order": timed(self.find, 5),
            "store a run": timed(self.store),
        }

    def history(self, number: int) -> int:
        with self.records.reading() as connection:
            return len(history(connection, self.serials[number]).drifts)

    def recall(self, number: int) -> int:
        with self.records.reading() as connection:
            return len(recall(connection, self.instruments[number], since=self.since))

    def list(self, _: int) -> int:
        with self.records.reading() as connection:
            return len(list_runs(connection, Wanted(), limit=50))

    def find(self, number: int) -> int:
        with self.records.reading() as connection:
            return len(find_runs(connection, f"WO-{(number + 2) * self.generated.runs // 200}", limit=50))

    def store(self, number: int) -> None:
        self.stored += 1
        identity = f"{number + 2:032x}{id(self):032x}"
        record = replace(self.pattern, identity=identity, number=f"NEW-{number}", serial=self.serials[number])
        with self.records.writing() as connection:
            store(connection, record)


class Bare:
    """The same rows by sqlite3 alone."""

    def __init__(self, file: Path, asked: Asked) -> None:
        self.connection = sqlite3.connect(file, isolation_level=None)
        for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
            self.connection.execute(f"PRAGMA {pragma}")
        self.asked = asked
        (self.content,) = self.connection.execute("SELECT content FROM readings WHERE run_id = 1").fetchone()
        self.row = self.connection.execute("SELECT * FROM runs WHERE id = 1").fetchone()
        self.since = f"{asked.since:%Y-%m-%dT%H:%M:%S.000Z}"

    def everything(self) -> dict[str, Timed]:
        return {
            "history of a serial": timed(self.history),
            "recall, 90 days": timed(self.recall),
            "store a run": timed(self.store),
        }

    def history(self, number: int) -> int:
        words = (
            "SELECT r.*, b.part, c.content FROM boards b JOIN runs r ON r.board_id = b.id "
            "JOIN readings c ON c.run_id = r.id WHERE b.serial = ? ORDER BY r.started"
        )
        return len(self.connection.execute(words, (self.asked.serials[number],)).fetchall())

    def recall(self, number: int) -> int:
        words = (
            "SELECT r.*, b.part, b.serial, (SELECT max(status) FROM certificate_changes x WHERE x.run_id = r.id) "
            "FROM runs r JOIN boards b ON b.id = r.board_id WHERE r.equipment_id IN (SELECT equipment_id FROM "
            "calibrations c JOIN instruments i ON i.id = c.instrument_id WHERE i.serial = ?) AND r.started >= ? "
            "ORDER BY r.started"
        )
        return len(self.connection.execute(words, (self.asked.instruments[number], self.since)).fetchall())

    def store(self, number: int) -> None:
        fresh = 100_000_000 + number + 1
        row = (fresh, f"{number + 1:064d}", *self.row[2:])
        self.connection.execute("BEGIN IMMEDIATE")
        self.connection.execute(f"INSERT INTO runs VALUES ({', '.join('?' * len(row))})", row)
        self.connection.execute("INSERT INTO readings VALUES (?, 1, ?)", (fresh, self.content))
        self.connection.execute("COMMIT")

    def close(self) -> None:
        self.connection.close()


def measured(file: Path, url: str, generated: Generated) -> dict[str, dict[str, Timed]]:
    """Fill both databases and measure them; by kind of database, then by question."""
    found = {}
    with open_file(file) as records:
        _tell(f"filling {file}")
        fill(records, generated)
        asked = Asked(records, generated)
        found["SQLite"] = asked.everything()
        bare = Bare(file, asked)
        found["bare sqlite3"] = bare.everything()
        bare.close()
    with open_server(url) as records:
        _tell("filling the server")
        fill(records, generated)
        found["PostgreSQL"] = Asked(records, generated).everything()
    return found


def _tell(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def table(found: dict[str, dict[str, Timed]], runs: int) -> str:
    """Return the figures."""
    lines = [
        f"| {runs:,} runs".replace(",", " ") + " | limit | SQLite | PostgreSQL | bare sqlite3 | SQLite / bare |",
        "|---|---|---|---|---|---|",
    ]
    for name, ours in found["SQLite"].items():
        bare = found["bare sqlite3"].get(name)
        limit = f"{LIMITS[name] * 1e3:.0f} ms" if name in LIMITS else ""
        ratio = f"{ours.middle / bare.middle:.1f}" if bare else ""
        lines.append(f"| {name} | {limit} | {ours} | {found['PostgreSQL'][name]} | {bare or ''} | {ratio} |")
    return "\n".join(lines) + "\n"


def kept(found: dict[str, dict[str, Timed]], load: float) -> str:
    """Return which limits were kept, by which measure."""
    lines = [f"Load average while measuring: {load:.1f}.", ""]
    for kind in ("SQLite", "PostgreSQL"):
        for name, limit in LIMITS.items():
            one = found[kind][name]
            measures = {"median": one.middle, "quickest": min(one.seconds), "processor time": median(one.worked)}
            by = [word for word, value in measures.items() if value <= limit]
            lines.append(f"- {kind}, {name}: {'within its limit by ' + ', '.join(by) if by else 'too slow'}")
    return "\n".join(lines) + "\n"


def main(arguments: Sequence[str]) -> int:
    """Measure, print, and write the page when asked to."""
    parser = argparse.ArgumentParser(description="Measures records of many runs.")
    parser.add_argument("--runs", type=int, default=1_000_000)
    parser.add_argument("--write", type=Path, metavar="FILE")
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="million-") as place, served(durable=True) as server:
        file = Path(place) / "records.sqlite"
        found = measured(file, server.new(), Generated(asked.runs))
        load = os.getloadavg()[1]
        size = file.stat().st_size
    page = (
        table(found, asked.runs)
        + f"\nThe SQLite file has {size / 1e9:.1f} GB, {size / asked.runs / 1e3:.1f} kB a run.\n"
    )
    page += "\n" + kept(found, load)
    print(page)
    if asked.write is not None:
        machine = f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, two shared cores"
        head = HEAD.format(years=10, checks=464, machine=machine, tries=TRIES)
        asked.write.write_text(head + page, encoding="utf-8")
    return int("too slow" in page)


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
