"""Speed as ratios inside one run: start-up against a bare interpreter, a whole run against its own parts and estimate.

Run alone with `pytest tests/benchmarks -s` to see the figures.
"""

import compileall
import json
import os
import resource
import shlex
import statistics
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from time import perf_counter
from typing import Any

import pytest

from benchtest.cli.documents import Prepared
from tests.benchmarks.yardstick import slowness

ROOT = Path(__file__).parent.parent.parent
TWO_BAY = ["profiles/greenhouse.yaml", "--variant", "two-bay", "--option", "dosing"]
EMBEDDED = ["--fixture", "fixtures/simulated.yaml", "--serial", "SPEED", "--json"]
WITH_BYTE_CODE = {
    name: value
    for name, value in os.environ.items()
    if name not in {"PYTHONDONTWRITEBYTECODE", "BENCHTEST_RECORDS"}  # a run is measured with its records
}


def seconds(*words: str) -> float:
    """Return the wall time of one process."""
    begin = perf_counter()
    subprocess.run([sys.executable, *words], cwd=ROOT, env=WITH_BYTE_CODE, check=True, stdout=subprocess.DEVNULL)
    return perf_counter() - begin


def processor_seconds() -> float:
    """Return what all ended child processes have taken of the processors."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


@pytest.fixture(scope="module", autouse=True)
def byte_code() -> None:
    """Start-up is measured with byte-code present, as an installed package has it."""
    compileall.compile_dir(ROOT / "benchtest", quiet=1)


def test_help_starts_within_six_bare_interpreters() -> None:
    """`--help` takes at most six times as long as an interpreter that does nothing."""
    pairs = [(seconds("-c", "pass"), seconds("-m", "benchtest", "--help")) for _ in range(9)]
    bare, helped = (statistics.median(column) for column in zip(*pairs, strict=True))
    print(f"\n--help {helped * 1e3:.0f} ms, bare {bare * 1e3:.0f} ms, ratio {helped / bare:.2f} (limit 6)")

    assert helped <= 6 * bare


def test_a_whole_simulated_run_is_mostly_the_job_itself(tmp_path: Path) -> None:
    """Process start to certificate: at most 3 s, and at most 40 % of it outside perform, judge, papers and records.

    The 3 s are of processor time, since others may be busy on this computer, and of the machine that the yardstick was
    taken from; nothing in a simulated run waits.
    """
    runs = []
    for _ in range(5):
        begin, before = perf_counter(), processor_seconds()
        done = subprocess.run(
            [sys.executable, "-m", "benchtest", "run", *TWO_BAY, *EMBEDDED, "--runs", str(tmp_path)],
            cwd=ROOT,
            env=WITH_BYTE_CODE,
            check=True,
            capture_output=True,
        )
        whole = perf_counter() - begin
        spent = json.loads(done.stdout)["seconds"]
        job = spent["performing"] + spent["papers"] + spent["recording"]
        runs.append((whole, (processor_seconds() - before) / slowness(), 1 - job / whole))
    whole, worked, outside = (statistics.median(column) for column in zip(*runs, strict=True))
    print(f"\nwhole run {whole:.2f} s, {worked:.2f} s of it processor time (limit 3)")
    print(f"{outside:.0%} of it outside perform, judge, certificate, records (limit 40 %)")

    assert worked <= 3.0
    assert outside <= 0.40


@contextmanager
def served() -> Iterator[list[str]]:
    """Serve the greenhouse board behind a pty and an slcan adapter; yield the words to run against it."""
    words = ["simulate", *TWO_BAY, "--fixture", "fixtures/serial.yaml"]
    process = subprocess.Popen(
        [sys.executable, "-u", "-m", "benchtest", *words], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    try:
        yield next(shlex.split(line)[1:] for line in process.stdout if "benchtest run" in line)
    finally:
        process.terminate()
        process.communicate(timeout=20)


@pytest.mark.slow
def test_over_wires_the_run_keeps_to_the_plans_estimate_and_verdicts(
    greenhouse: Prepared, bench: Any, tmp_path: Path
) -> None:
    """Over pty and slcan, wall time is at most 1.10 × the estimate, and every verdict is that of the run in process."""
    with served() as words:
        begin = perf_counter()
        done = subprocess.run(
            [sys.executable, "-m", "benchtest", *words, "--json", "--runs", str(tmp_path)],
            cwd=ROOT,
            env=WITH_BYTE_CODE,
            check=False,
            capture_output=True,
            text=True,
        )
        wall = perf_counter() - begin
    summary = json.loads(done.stdout)
    run = json.loads((ROOT / summary["folder"] / "run.json").read_text(encoding="utf-8"))
    estimate = summary["seconds"]["estimate"]
    print(f"\nover wires {wall:.1f} s, estimate {estimate:.1f} s, ratio {wall / estimate:.3f} (limit 1.10)")
    at_home = {r.check.id: r.verdict.value for r in bench.performed(greenhouse).results}

    assert 0 == done.returncode, done.stderr
    assert at_home == {result["check"]["id"]: result["verdict"] for result in run["results"]}
    assert wall <= 1.10 * estimate
