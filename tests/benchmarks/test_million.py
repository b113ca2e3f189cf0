"""A study over a million readings: processor time and memory of the whole command, start of the program included.

Run alone with `pytest tests/benchmarks/test_million.py -s`. The limits are 10 s and 500 MB.
"""

import json
import subprocess
import sys
from pathlib import Path
from time import perf_counter

import numpy as np

from tests.benchmarks.yardstick import slowness

READINGS, QUANTITIES = 1_000_000, 200
SECONDS, MEGABYTES = 10.0, 500.0
COMMAND = (
    "import resource, sys; from benchtest.cli import entry; code = entry(sys.argv[1:]); "
    "used = resource.getrusage(resource.RUSAGE_SELF); "
    "peak = next(line for line in open('/proc/self/status') if line.startswith('VmHWM')).split()[1]; "
    "print(used.ru_utime + used.ru_stime, int(peak) / 1024, file=sys.stderr); sys.exit(code)"
)
"""The command, and what it has used; `ru_maxrss` would count what the process was before it became this program."""
ROOT = Path(__file__).parents[2]


def million(path: Path) -> Path:
    """Write a table of operate times: 5000 boards with two hundred readings each."""
    values = np.random.default_rng(1).normal(6.5, 0.3, READINGS)
    with path.open("w", encoding="utf-8") as file:
        file.write("quantity,unit,value,board,bench,at,low,high\n")
        for start in range(0, READINGS, QUANTITIES):
            board = start // QUANTITIES
            tail = f"B{board},Bench 1,2026-03-{1 + board % 28:02d}T{board % 24:02d}:{board % 60:02d}:00,1,12\n"
            rows = enumerate(values[start : start + QUANTITIES])
            file.write("".join(f"K{number} operate,ms,{value:.4f},{tail}" for number, value in rows))
    return path


def test_limits_from_a_million_readings(tmp_path: Path) -> None:
    """Table in, tolerance limits of two hundred readings out."""
    path = million(tmp_path / "million.csv")
    slow = slowness()
    begin = perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", COMMAND, "study", "limits", str(path), "--json"],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    passed = perf_counter() - begin
    spent, memory = map(float, done.stderr.split())
    found = json.loads(done.stdout)
    print(f"\n{READINGS} readings: {spent:.1f} s of a processor, {passed:.1f} s by the clock, {memory:.0f} MB")

    assert QUANTITIES == len(found["readings"])
    assert {READINGS // QUANTITIES} == {one["boards"] for one in found["readings"]}
    assert spent <= SECONDS * slow
    assert memory <= MEGABYTES
