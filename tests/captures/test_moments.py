"""Even within the rounding of the printed digits, or at times of their own: which it is decides what a gap means."""

from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.captures import Options
from benchtest.captures.moments import Moments, place, straight
from benchtest.errors import CaptureError
from tests.captures.recordings import Dialect, read, sampled, table, uneven


@given(
    rate=st.sampled_from([44_100.0, 48_000.0, 3.0, 7.0, 1e6, 9_600.0]),
    digits=st.integers(2, 9),
    count=st.integers(400, 900),
    start=st.floats(-1, 1),
)
def test_even_times_are_even_however_they_are_rounded(rate: float, digits: int, count: int, start: float) -> None:
    """From a digit as coarse as half a step on, the rate is found to better than a hundredth."""
    quantum = 10.0**-digits
    if quantum > 0.5 / rate:
        return
    times = start + np.arange(count) / rate
    with TemporaryDirectory() as folder:
        series = sampled(read(Path(folder), table(Dialect(digits=digits), times, np.zeros(count))))
    assert abs(series.rate / rate - 1) <= 0.01
    assert np.abs(series.moments(np.arange(count)) - times).max() <= 1.5 * quantum


@given(
    jitter=st.lists(st.integers(0, 400), min_size=20, max_size=80).filter(lambda steps: max(steps) - min(steps) > 20)
)
def test_times_that_really_vary_are_kept(jitter: list[int]) -> None:
    """A poll that comes 0 to 0.4 ms late, printed to the microsecond, is uneven, and keeps its times."""
    times = [place * 0.001 + late * 1e-6 for place, late in enumerate(jitter)]
    with TemporaryDirectory() as folder:
        series = uneven(read(Path(folder), table(Dialect(), times, np.zeros(len(times)))))
    assert np.abs(series.times - times).max() <= 1e-6


def test_one_lost_sample_in_whole_milliseconds_is_not_hidden_by_the_rounding(tmp_path: Path) -> None:
    """0, 1, 2, 3, 5, 6, 7 ms: the last digit is as coarse as the step, and the pattern does not repeat."""
    content = "Time (ms),CH1\n" + "".join(f"{time},1\n" for time in (0, 1, 2, 3, 5, 6, 7))
    recorded = read(tmp_path, content)
    assert 7 == uneven(recorded).times.size
    assert any("first after row 4" in note for note in recorded.notes)


def test_stamps_coarser_than_the_samples_need_the_rate(tmp_path: Path) -> None:
    """Two rows with one stamp: refused with the row in a short file; the rate settles it."""
    content = "Time (s),CH1\n" + "".join(f"{place // 2 / 10:.1f},{place % 3}\n" for place in range(8))
    with pytest.raises(CaptureError, match=r"data row 2: time does not go forward.*'rate'"):
        read(tmp_path, content)
    assert 20 == sampled(read(tmp_path, content, options=Options(rate=20))).rate


def test_stamps_of_whole_seconds_over_a_long_time_give_the_rate(tmp_path: Path) -> None:
    """Four rows a second for a quarter of an hour: even, with a note that the stamps are coarse."""
    content = "Time (s),CH1\n" + "".join(f"{place // 4},{place % 3}\n" for place in range(3600))
    recorded = read(tmp_path, content)
    assert pytest.approx(4, rel=1e-3) == sampled(recorded).rate
    assert any("printed coarsely" in note for note in recorded.notes)


def test_exponents_tell_the_rounding_too(tmp_path: Path) -> None:
    """Four digits after the mark and exponents: the largest number decides how coarse the column is."""
    content = "Time (s),CH1\n" + "".join(f"{place / 3 * 1e-6:.4E},1\n" for place in range(500))
    assert pytest.approx(3e6, rel=1e-3) == sampled(read(tmp_path, content)).rate


def test_times_on_disk_are_the_times_in_memory() -> None:
    """Beyond some ten millions of rows times wait in a temporary file: nothing else differs."""
    here, there = Moments(10), Moments(10**9)
    for block in np.array_split(np.arange(1000) * 0.25, 7):
        here.append(block)
        there.append(block)
    assert straight(here) == straight(there)
    assert 0.25 == straight(here)[1]
    assert here.whole().tolist() == there.whole().tolist()
    for moments in (here, there):
        series, notes = place(Path("x"), np.zeros(1000), moments, quantum=0.01, told=None)
        assert ([], 249.75) == (notes, series.end)
        moments.close()
