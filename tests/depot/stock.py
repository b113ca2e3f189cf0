"""A depot's records of many boards, made by chance from a seed: what came in, what was found, what was done.

Rows go into the tables at once, as an index that was filled by years of work would hold them; there are no folders.
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from sqlalchemy import Connection, insert

from benchtest.depot.complaints import Complaint
from benchtest.records.database.case_tables import CASES, REPAIRS
from benchtest.records.database.tables import BOARDS, EQUIPMENT, FINDINGS, RUNS

PARTS: Final = ("GZ-2140", "CW-0815")
BEGIN: Final = datetime(2024, 1, 8, 9, 0, tzinfo=UTC)
CHECKS: Final = tuple(f"exercise.K{n}.{what}" for n in range(1, 15) for what in ("operate-time", "bounce-time"))
KINDS: Final = ("contact welded", "contact never closes", "coil open", "long bounce", "contact chatters")
PER_BATCH: Final = 20_000


@dataclass(frozen=True, kw_only=True)
class Made:
    """What was put in, to be counted again by other means."""

    cases: list[dict[str, Any]]
    repairs: list[dict[str, Any]]
    runs: list[dict[str, Any]]
    findings: list[dict[str, Any]]


def make(*, boards: int, cases: int, seed: int = 1) -> Made:
    """Return rows of so many cases of so many boards; each has one to three runs, one case in three is a repair."""
    chance = random.Random(seed)
    rows = Made(cases=[], repairs=[], runs=[], findings=[])
    hours = 24 * 700 / cases
    busy: dict[int, datetime] = {}
    for number in range(1, cases + 1):
        received = BEGIN + timedelta(hours=number * hours)
        board = 1 + int(boards * chance.random() ** 2)
        while busy.get(board, BEGIN) > received:
            board = 1 + int(boards * chance.random())
        closed = received + timedelta(minutes=int(chance.lognormvariate(8.5, 0.8)))
        left = busy.get(board)
        back_after = None if left is None else int((received - left).total_seconds() // 60)
        busy[board] = closed
        _case(rows, chance, number, board, (received, closed), back_after)
    return rows


def _case(
    rows: Made, chance: random.Random, number: int, board: int, times: tuple[datetime, datetime], back_after: int | None
) -> None:
    received, closed = times
    repaired = chance.random() < 0.55
    first = "pass" if chance.random() < 0.9 else "fail"
    order, version = f"W-{number}", ("aa" if number % 3 else "bb") * 32
    row: dict[str, Any] = {
        "work_order": order, "board_id": board, "serial_stated": "", "revision": "C", "rma": "",
        "part": PARTS[board % 2], "back_after": back_after,
        "complaint": chance.choice(list(Complaint)).value, "state": "returned", "open": 0, "received": received,
        "released": closed, "closed": closed, "stay": int((closed - received).total_seconds() // 60),
        "found": "fail" if repaired else "pass", "first_left": first if repaired else "",
        "last_left": "pass" if repaired else "", "profile": f"{board % 2}.yaml", "profile_digest": version,
        "repairs": int(repaired), "minutes": 0, "cost": 0, "cost_limit": None, "entries": 6, "customer": "",
        "contact": "", "words": "", "photos": 0, "erased": "",
    }  # fmt: skip
    rows.cases.append(row)
    _run(rows, chance, row, "as found", "fail" if repaired else "pass")
    if repaired:
        part = f"K{1 + int(14 * chance.random() ** 2)}"
        repair = {
            "work_order": order, "number": 4, "board_part": PARTS[board % 2], "at": received + timedelta(hours=1),
            "what": "replaced relay", "part": part, "replaced": 1, "lot": "", "minutes": 20, "cost": 1500,
            "fault": f"{part} {chance.choice(KINDS)}",
        }  # fmt: skip
        rows.repairs.append(repair)
        for outcome in (first, "pass") if first == "fail" else ("pass",):
            _run(rows, chance, row, "as left", outcome)


def _run(rows: Made, chance: random.Random, case: dict[str, Any], phase: str, outcome: str) -> None:
    number = len(rows.runs) + 1
    row: dict[str, Any] = {
        "id": number, "identity": f"{number:064x}", "number": f"N-{number}", "board_id": case["board_id"],
        "equipment_id": 1, "started": case["received"] + timedelta(hours=1),
        "ended": case["received"] + timedelta(hours=2), "offset_minutes": 0, "outcome": outcome,
        "reason": "", "paper": "certificate", "origin": "measured", "phase": phase, "revision": "C", "variant": "",
        "technician": "B", "work_order": case["work_order"], "customer": "",
        "profile": "p.yaml", "profile_digest": "aa" * 32,
        "fixture": "f.yaml", "fixture_digest": "bb" * 32, "bench": "b", "place": "p", "software": "benchtest",
        "folder": f"/runs/{number}", "run_digest": f"{number:064x}", "journal_head": f"{number:064x}", "resumed": 0,
        "checks": 464, "not_tested": 0, "simulated_faults": "[]",
    }  # fmt: skip
    rows.runs.append(row)
    if outcome == "fail":
        chosen = sorted({int(len(CHECKS) * chance.random() ** 2) for _ in range(3)})
        rows.findings.extend(
            {
                "run_id": number, "position": at, "check_id": CHECKS[at], "verdict": "fail", "value": 0.02,
                "word": None, "uncertainty": 1e-4, "unit": "s", "note": "",
            }
            for at in chosen
        )  # fmt: skip


def fill(connection: Connection, made: Made, *, boards: int) -> None:
    """Put the rows into empty tables."""
    connection.execute(insert(EQUIPMENT).values(id=1, digest="cc" * 32))
    ids = ({"id": n, "serial": f"S{n:06d}", "part": PARTS[n % 2]} for n in range(1, boards + 1))
    for table, rows in (
        (BOARDS, list(ids)),
        (CASES, made.cases),
        (REPAIRS, made.repairs),
        (RUNS, made.runs),
        (FINDINGS, made.findings),
    ):
        for batch in _batches(rows):
            connection.execute(insert(table), batch)


def _batches(rows: list[dict[str, Any]]) -> Iterator[list[dict[str, Any]]]:
    return (rows[start : start + PER_BATCH] for start in range(0, len(rows), PER_BATCH))
