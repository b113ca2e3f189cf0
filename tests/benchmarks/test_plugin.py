"""What profiles as tests cost: for those who use them, and for those who do not.

Run alone with `pytest tests/benchmarks/test_plugin.py -s` to see the figures.
"""

import statistics
import subprocess
import sys
from pathlib import Path
from time import perf_counter

from tests.benchmarks.test_speed import ROOT, WITH_BYTE_CODE, byte_code, processor_seconds
from tests.benchmarks.yardstick import slowness

assert byte_code  # measured with byte-code present, as an installed package has it

PYTEST = [sys.executable, "-m", "pytest"]
PLUGIN = ["-p", "benchtest.pytest_plugin"]
ALONE = {**WITH_BYTE_CODE, "PYTEST_ADDOPTS": ""}
"""Without what this session itself was asked for."""
BARE = ["-p", "no:hypothesispytest", "-p", "no:xdist", "-p", "no:cov", "-p", "no:cacheprovider", "-q"]
"""Without other plugins, so that ours is what differs."""


def worked(words: list[str], folder: Path) -> float:
    """Return the processor time of one start of pytest in a folder without tests; it finds none, and says so."""
    before = processor_seconds()
    environment = {**ALONE, "PYTHONPATH": str(ROOT), "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    done = subprocess.run([*PYTEST, *words], cwd=folder, env=environment, check=False, capture_output=True)
    assert 5 == done.returncode, done.stderr
    return processor_seconds() - before


def test_a_start_of_pytest_that_does_not_use_it_takes_15_ms_longer_at_most(tmp_path: Path) -> None:
    """In pairs, processor time, on the machine that the yardstick was taken from."""
    (tmp_path / "pytest.ini").write_text("[pytest]\n")
    worked([*BARE, *PLUGIN], tmp_path)
    pairs = [(worked(BARE, tmp_path), worked([*BARE, *PLUGIN], tmp_path), slowness()) for _ in range(7)]
    more = statistics.median((plugged - bare) / slow for bare, plugged, slow in pairs)
    bare = statistics.median(bare / slow for bare, _, slow in pairs)
    print(f"\npytest {bare * 1e3:.0f} ms, with the plugin {more * 1e3:.1f} ms more (limit 15)")

    assert more <= 15e-3


def test_the_shipped_profiles_are_tested_within_five_seconds() -> None:
    """The whole line from start to end, every variant bare and with all options; processor time: nothing waits."""
    before, begin, slow = processor_seconds(), perf_counter(), slowness()
    done = subprocess.run(
        [*PYTEST, *PLUGIN, "profiles/", "--fixture", "fixtures/simulated.yaml", "-q"],
        cwd=ROOT,
        env=ALONE,
        check=False,
        capture_output=True,
        text=True,
    )
    whole, spent = perf_counter() - begin, (processor_seconds() - before) / max(slow, slowness())
    print(f"\n{done.stdout.splitlines()[-1]}; whole {whole:.1f} s, {spent:.1f} s of processor time (limit 5)")

    assert 0 == done.returncode, done.stdout
    assert " passed" in done.stdout
    assert spent <= 5.0
