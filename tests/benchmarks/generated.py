"""Records of many runs, made by arithmetic and put in by each database's own bulk way.

A depot of twenty benches over ten years: every board comes five times, every bench has three instruments that are
calibrated twice a year, one run in ten fails. Readings are those of a board with 464 of them, in some hundred kinds.
"""

import math
import random
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from hashlib import sha256
from itertools import islice
from typing import Any, Final

from sqlalchemy import Table, text

from benchtest.records.database.opening import Records
from benchtest.records.database.packed import Line, Reading, pack_checklist, pack_readings
from benchtest.records.database.tables import (
    BOARDS,
    CALIBRATIONS,
    CERTIFICATE_CHANGES,
    CHECKLISTS,
    EQUIPMENT,
    FINDINGS,
    INSTRUMENTS,
    READINGS,
    RUNS,
    spelled,
)
from benchtest.results import Verdict

YEARS: Final = 10
BENCHES: Final = 20
PERIODS: Final = 2 * YEARS
"""Calibrations of an instrument, two a year."""
PER_BENCH: Final = 3
VISITS: Final = 5
"""Runs of a board."""
CHECKS: Final = 464
KINDS: Final = 100
"""Of packed readings."""
FIRST_DAY: Final = datetime(2016, 1, 4, tzinfo=UTC)
AT_ONCE: Final = 5_000
Row = tuple[Any, ...]


@dataclass
class Generated:
    """So many runs."""

    runs: int
    seed: int = 1

    @property
    def boards(self) -> int:
        """How many boards there are."""
        return max(1, self.runs // VISITS)

    def serial(self, board: int) -> str:
        """Return the serial number of a board, from 1."""
        return f"GZ-{board:07d}"

    def moment(self, run: int) -> datetime:
        """Return when a run began, from 1 to `runs`."""
        return FIRST_DAY + timedelta(days=365.25 * YEARS * run / self.runs)

    @cached_property
    def lines(self) -> list[Line]:
        """The checklist of them all."""
        return [
            Line(check=f"step{n // 10}.K{n}.operate", step=f"step{n // 10}", title=f"K{n} operate time", unit="s",
                 low=0.001, high=0.012, word="")
            for n in range(CHECKS)
        ]  # fmt: skip

    def packed(self) -> list[bytes]:
        """Return packed readings of many kinds."""
        chance = random.Random(self.seed)
        return [
            pack_readings([
                Reading(value=chance.gauss(0.008, 0.0003), uncertainty=chance.choice([1.2e-4, 1.3e-4]), coverage=2.0,
                        verdict=Verdict.PASS, note="")
                for _ in range(CHECKS)
            ])
            for _ in range(KINDS)
        ]  # fmt: skip

    def rows(self, table: Table) -> Iterator[Row]:
        """Yield the rows of a table, in the order of its columns."""
        match table.name:
            case "boards":
                yield from ((n, self.serial(n), f"GZ-{2140 + n % 3}") for n in range(1, self.boards + 1))
            case "checklists":
                yield 1, "c" * 64, pack_checklist(self.lines)
            case "instruments":
                yield from ((n, f"instrument {n % PER_BENCH}", f"I-{n:04d}") for n in range(1, BENCHES * PER_BENCH + 1))
            case "equipment":
                yield from ((n, f"{n:064x}") for n in range(1, BENCHES * PERIODS + 1))
            case "calibrations":
                yield from self._calibrations()
            case "runs":
                yield from map(self._run, range(1, self.runs + 1))
            case "readings":
                kinds = self.packed()
                yield from ((n, 1, kinds[n % KINDS]) for n in range(1, self.runs + 1))
            case "findings":
                failed = (n for n in range(1, self.runs + 1) if n % 10 == 0)
                yield from ((n, 7, f"step0.K{n % 50}.operate", "fail", 0.02, None, 1e-4, "s", "late") for n in failed)
            case "certificate_changes":
                some = (n for n in range(1, self.runs + 1) if n % 997 == 0)
                yield from ((n, n, f"{n:032x}", "withdrawn", "low", "Q.", spelled(self.moment(n)), "") for n in some)

    def _calibrations(self) -> Iterator[Row]:
        for bench in range(BENCHES):
            for period in range(PERIODS):
                for place in range(PER_BENCH):
                    instrument = bench * PER_BENCH + place + 1
                    due = f"{2016 + (period + 2) // 2}-01-01"
                    yield bench * PERIODS + period + 1, place, instrument, f"C-{instrument}-{period}", "", due

    def _run(self, n: int) -> Row:
        chance = random.Random(n)
        bench, failed, began = chance.randrange(BENCHES), n % 10 == 0, self.moment(n)
        period = min(PERIODS - 1, math.floor(PERIODS * (n - 1) / self.runs))
        board = (n * 7919) % self.boards + 1
        digest = sha256(str(n).encode()).hexdigest()
        known = {
            "id": n, "identity": digest, "number": f"{began:%Y%m%d}-{digest[:8].upper()}", "board_id": board,
            "equipment_id": bench * PERIODS + period + 1, "started": spelled(began),
            "ended": spelled(began + timedelta(minutes=2)), "offset_minutes": 60,
            "outcome": "fail" if failed else "pass", "reason": "1 check failed" if failed else "all 464 checks passed",
            "paper": "report" if failed else "certificate", "origin": "measured", "work_order": f"WO-{n // 20}",
            "customer": f"Nursery {board % 1000}", "technician": f"Technician {bench % 7}", "phase": "as left",
            "bench": f"Bench {bench}", "profile": "greenhouse.yaml", "fixture": "bench.yaml", "run_digest": digest,
            "profile_digest": "a" * 64, "fixture_digest": "b" * 64, "journal_head": digest[::-1], "resumed": 0,
            "checks": CHECKS, "not_tested": 0, "simulated_faults": "[]", "place": "depot", "software": "benchtest 1",
            "folder": f"/srv/runs/{began:%Y%m%dT%H%M%S}-GZ-2140-{board:07d}-{digest[:8]}", "revision": "C",
            "variant": "two-bay, dosing",
        }  # fmt: skip
        return tuple(known[column.name] for column in RUNS.columns)


TABLES: Final[Sequence[Table]] = (
    BOARDS, CHECKLISTS, INSTRUMENTS, EQUIPMENT, CALIBRATIONS, RUNS, READINGS, FINDINGS, CERTIFICATE_CHANGES,
)  # fmt: skip


def fill(records: Records, generated: Generated) -> None:
    """Put all of it into empty records."""
    put = _copy if records.on_server else _many
    for table in TABLES:
        put(records, table, generated.rows(table))
    with records.engine.connect() as connection:
        if records.on_server:
            for table in TABLES:
                if "id" in table.columns:
                    connection.execute(text(f"SELECT setval('{table.name}_id_seq', max(id)) FROM {table.name}"))
            connection.commit()
            connection.execution_options(isolation_level="AUTOCOMMIT").exec_driver_sql("VACUUM ANALYZE")
        else:
            connection.exec_driver_sql("ANALYZE")


def _many(records: Records, table: Table, rows: Iterable[Row]) -> None:
    marks = ", ".join("?" * len(table.columns))
    raw = records.engine.raw_connection()
    try:
        for pragma in ("synchronous = OFF", "cache_size = -400000"):
            raw.cursor().execute(f"PRAGMA {pragma}")
        rest = iter(rows)
        while part := list(islice(rest, AT_ONCE)):
            cursor = raw.cursor()
            cursor.execute("BEGIN IMMEDIATE")
            cursor.executemany(f"INSERT INTO {table.name} VALUES ({marks})", part)
            cursor.execute("COMMIT")
    finally:
        raw.cursor().execute("PRAGMA synchronous = FULL")
        raw.cursor().execute("PRAGMA cache_size = -2000")
        raw.close()


def _copy(records: Records, table: Table, rows: Iterable[Row]) -> None:
    raw = records.engine.raw_connection()
    try:
        cursor = raw.cursor()
        cursor.execute("SET statement_timeout = 0")
        with cursor.copy(f"COPY {table.name} FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        raw.commit()
    finally:
        raw.close()
