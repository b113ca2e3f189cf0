"""How many stored runs a second are judged again from their stored values: greenhouse runs, the largest that there are.

The limit of 200 a second is that of 10 000 stored runs; fewer are judged here, and the rate is the same for each: what
a run costs is the reading of its journal. Run alone with `pytest tests/benchmarks/test_rejudge.py -s`.
"""

import shutil
from pathlib import Path
from time import process_time

import pytest

from benchtest.profile import load_profile
from benchtest.rejudge import Rejudge, run_folders
from benchtest.rejudge.report import Report
from tests.benchmarks.yardstick import slowness
from tests.rejudge.runs import everything, finished, revised

LEAST = 200
"""Runs a second and processor, on the machine that the yardstick was taken from."""
RUNS = 80


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of runs that differ in nothing but their names."""
    root = tmp_path_factory.mktemp("store")
    one = finished(everything(), root / "one").folder
    for number in range(RUNS):
        folder = root / f"runs/{number}"
        folder.mkdir(parents=True)
        for name in ("run.json", "journal.jsonl", "procedure.json"):
            shutil.copyfile(one / name, folder / name)
    return root / "runs"


@pytest.mark.parametrize("most", ["12 ms", "5 ms"])
def test_stored_runs_a_second(store: Path, tmp_path: Path, most: str) -> None:
    """Every certificate stays as it is, or every one would change: both from stored values, fast enough."""
    loaded = load_profile(revised(tmp_path, "greenhouse", ("max: 12 ms}", f"max: {most}}}")))
    rates = []
    for _ in range(2):
        judging, slow, begin = Rejudge(loaded), slowness(), process_time()
        runs = tuple(judging.run(folder) for folder in run_folders((store,)))
        rates.append(RUNS * slow / (process_time() - begin))
    report = Report(loaded=loaded, runs=runs)
    print(f"\n{max(rates):.0f} runs a second, {len(report.changed)} of {RUNS} changed (limit {LEAST})")

    assert {"stored values": RUNS} == report.ways
    assert len(report.changed) == (0 if most == "12 ms" else RUNS)
    assert max(rates) >= LEAST
