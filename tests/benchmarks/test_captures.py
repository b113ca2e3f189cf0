"""Speed and memory of reading other people's recordings, as ratios inside one run.

A table of a million rows against numpy's own reader and the csv module on the same file; peak memory of a process that
reads it, against one that only imports. Run alone with `pytest tests/benchmarks/test_captures.py -s`.
"""

import csv
import statistics
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from time import process_time
from typing import Any

import numpy as np
import pytest

from benchtest.captures import open_capture
from benchtest.signals.series import Sampled

ROWS = 1_000_000


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A million rows of time and volts below one line of headings."""
    path = tmp_path_factory.mktemp("captures") / "plain.csv"
    volts = 5 * np.sin(np.arange(ROWS) / 100)
    with path.open("w") as file:
        file.write("Time (s),CH1 (V)\n")
        file.writelines(f"{place / 1e6:.6f},{volt:.5f}\n" for place, volt in enumerate(volts))
    return path


def seconds(action: Callable[[], object]) -> float:
    """Return the processor time of an action: other work on the machine does not count."""
    begin = process_time()
    action()
    return process_time() - begin


def ours(path: Path) -> Sampled:
    """Return the channel of the table."""
    series = open_capture(path).series("CH1")
    assert isinstance(series, Sampled)
    return series


def by_numpy(path: Path) -> np.ndarray[Any, Any]:
    """Return the rows as numpy's own reader reads them from an open file, as one does behind a preamble."""
    with path.open() as file:
        next(file)
        return np.loadtxt(file, delimiter=",")


def by_csv(path: Path) -> list[tuple[float, float]]:
    """Return the rows as the csv module reads them."""
    with path.open(newline="") as file:
        rows = csv.reader(file)
        next(rows)
        return [(float(time), float(volts)) for time, volts in rows]


def test_a_million_rows_are_read_at_the_speed_of_numpy(plain: Path) -> None:
    """At most 1.5 times as long as numpy.loadtxt, evenness, units and words for no reading included."""
    rounds = [
        (
            seconds(lambda: ours(plain)),
            seconds(lambda: by_numpy(plain)),
            seconds(lambda: by_csv(plain)),
        )
        for _ in range(9)
    ]
    own, numpy, csv_module = (min(column) for column in zip(*rounds, strict=True))  # the least disturbed of nine
    ratio = own / numpy
    speeds = [
        f"{name} {ROWS / time / 1e6:.2f}" for name, time in (("ours", own), ("loadtxt", numpy), ("csv", csv_module))
    ]
    print(f"\nmillion rows/s: {', '.join(speeds)}")
    print(f"time to loadtxt's {ratio:.2f} (limit 1.5), to csv's {own / csv_module:.2f}")

    assert (ROWS, 1e6) == (ours(plain).values.size, round(ours(plain).rate))
    assert ratio <= 1.5


def test_a_word_in_every_hundredth_row_costs_little(plain: Path, tmp_path: Path) -> None:
    """Overloads all over the file: at most thrice what a plain file may take, and not the way cell by cell."""
    path = tmp_path / "words.csv"
    with plain.open() as source, path.open("w") as file:
        for place, line in enumerate(source):
            file.write(f"{line.partition(',')[0]},OL\n" if place % 100 == 50 else line)
    ratio = statistics.median(seconds(lambda: ours(path)) / seconds(lambda: by_numpy(plain)) for _ in range(3))
    print(f"\nwith a word in every hundredth row {ratio:.2f} times loadtxt on the plain file (limit 4.5)")

    assert ROWS // 100 == np.isnan(ours(path).values).sum()
    assert ratio <= 3 * 1.5


def peak(code: str, *arguments: str) -> int:
    """Return the peak memory in bytes of a process that runs this code."""
    report = "print(next(line for line in open('/proc/self/status') if line.startswith('VmHWM')).split()[1])"
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\n{report}", *arguments], check=True, capture_output=True, text=True
    )
    return int(done.stdout) * 1024


def test_memory_is_that_of_the_samples_and_their_times(plain: Path) -> None:
    """Above the imports: twice the samples and times that are kept, and blocks of some megabytes."""
    imports = "import sys; from benchtest.captures import open_capture; import benchtest.captures.table"
    bare = peak(imports)
    used = peak(f"{imports}\nopen_capture(sys.argv[1]).read(1)", str(plain)) - bare
    numbers = ROWS * 16
    print(f"\npeak {used / 1e6:.0f} MB above {bare / 1e6:.0f} MB of imports for {numbers / 1e6:.0f} MB of numbers")

    assert used <= 2 * numbers + 40e6
