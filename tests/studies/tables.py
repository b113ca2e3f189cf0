"""Tables of readings as people hand them in, and run folders of several boards."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from benchtest.records.folder import create_folder, write_run
from benchtest.results import Outcome
from tests.records.finished import finished_run

BEGAN = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def table(path: Path, head: str, rows: Iterable[Sequence[object]]) -> Path:
    """Write a table and return its path."""
    path.write_text("\n".join([head, *(",".join(map(str, row)) for row in rows)]) + "\n", encoding="utf-8")
    return path


def boards(path: Path, count: int, *, seed: int = 1, unit: str = "ms", limits: str = "1,12") -> Path:
    """Write the operate time of some boards."""
    values = np.random.default_rng(seed).normal(6.5, 0.3, count)
    rows = [("K3 operate", unit, f"{value:.4f}", f"B{n}", limits) for n, value in enumerate(values, 1)]
    return table(path, "quantity,unit,value,board,low,high", rows)


def gauge(path: Path, *, boards: int = 5, operators: str = "AB", repeats: int = 2, without: Sequence[int] = ()) -> Path:
    """Write a gauge study, without some of its rows."""
    chance = np.random.default_rng(3)
    rows = [
        (f"{6 + board / 10 + chance.normal(0, 0.02):.4f}", board, operator, "ms")
        for board in range(1, boards + 1)
        for operator in operators
        for _ in range(repeats)
    ]
    return table(path, "value,board,operator,unit", [row for n, row in enumerate(rows) if n not in without])


def runs(root: Path, count: int, *, fail: int = 0, seed: int = 1, bench: str = "Bench 1") -> Path:
    """Write runs of as many boards, numbers a little different from board to board; the last ones failed."""
    chance, model = np.random.default_rng(seed), finished_run()
    for number in range(count):
        started = BEGAN + timedelta(days=number)
        results = tuple(
            replace(one, value=one.value * float(chance.normal(1, 0.01)) + float(chance.normal(0, 1e-5)))
            if isinstance(one.value, float)
            else one
            for one in model.results
        )
        run = replace(
            model,
            job=replace(model.job, serial=f"GB-{number}"),
            started=started.isoformat(),
            results=results,
            outcome=Outcome.PASS if number < count - fail else Outcome.FAIL,
            bench=bench,
        )
        write_run(create_folder(root, started=started, part=run.procedure.part, serial=run.job.serial), run)
    return root
