"""One channel over time, however it was recorded."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.signals.levels import states
from benchtest.signals.series import STRETCH, Sampled, Stamped, Uneven, cut, stretch

NAN, INFINITE = float("nan"), float("inf")


@pytest.mark.parametrize("rate", [0.0, -1.0, NAN, INFINITE])
def test_a_rate_is_finite_and_above_zero(rate: float) -> None:
    """Nothing can be placed in time otherwise."""
    with pytest.raises(ValueError, match="samples per second"):
        Sampled(values=np.zeros(3), rate=rate)


@pytest.mark.parametrize(
    "times", [[0.0, 0.0, 1.0], [0.0, 2.0, 1.0], [0.0, 1.0, NAN], [NAN, 1.0, 2.0], [0, 1, INFINITE]]
)
def test_time_goes_forward(times: list[float]) -> None:
    """A column that stands still, goes back, or is no number is refused with its place."""
    with pytest.raises(ValueError, match="time does not go forward at sample"):
        Uneven(values=np.zeros(3), times=np.array(times, float))
    with pytest.raises(ValueError, match="3 samples at 2 times"):
        Uneven(values=np.zeros(3), times=np.arange(2.0))


def test_a_fault_deep_in_a_long_column_is_placed() -> None:
    """Beyond the first stretch, and just at a border between two."""
    for place in (STRETCH, STRETCH + 1, STRETCH + 17):
        times = np.arange(STRETCH + 20, dtype=float)
        times[place] = times[place - 1]
        with pytest.raises(ValueError, match=rf"at sample {place} "):
            Uneven(values=np.zeros(times.size), times=times)


@pytest.mark.parametrize(
    ("times", "rising", "why"),
    [
        ([1.0, 2.0], [True], "1 states at 2 times"),
        ([2.0, 1.0], [True, False], "do not go forward"),
        ([1.0, NAN], [True, False], "do not go forward"),
        ([1.0, 9.0], [True, False], "outside the time watched"),
    ],
)
def test_stamps_that_cannot_be(times: list[float], rising: list[bool], why: str) -> None:
    """Too few states, time going back, or edges after the end: refused."""
    with pytest.raises(ValueError, match=why):
        Stamped(times=np.array(times), rising=np.array(rising), first=None, begin=0.0, end=5.0)


@given(st.lists(st.floats(0.01, 10.0), min_size=2, max_size=30), st.floats(0.0, 28.0))
def test_moments_between_samples_lie_on_the_line(gaps: list[float], position: float) -> None:
    """The interpolation of numpy agrees; beyond the ends the ends stand."""
    times = np.cumsum(gaps)
    series = Uneven(values=np.zeros(times.size), times=times)
    assert series.moments(position) == pytest.approx(np.interp(position, np.arange(times.size), times))
    assert series.gap == pytest.approx(max(gaps[1:]))


def test_gaps_before_samples() -> None:
    """Even everywhere, or as the column says; the first sample has none before it."""
    places = np.array([0, 1, 2])
    assert Sampled(values=np.zeros(3), rate=4.0).gaps(places).tolist() == [0.25, 0.25, 0.25]
    assert Uneven(values=np.zeros(3), times=np.array([0.0, 1.0, 3.0])).gaps(places).tolist() == [0.0, 1.0, 2.0]


@given(st.floats(-1.0, 2.0), st.floats(-1.0, 2.0))
def test_a_part_is_the_same_of_every_kind(since: float, until: float) -> None:
    """Even and uneven columns of the same moments are cut at the same samples, and what is no number is left out."""
    values = np.arange(11.0)
    values[5] = NAN
    even, uneven = Sampled(values=values, rate=10.0), Uneven(values=values, times=np.arange(11) / 10)
    expected = [v for v in values if since - 1e-9 <= v / 10 <= until + 1e-9]
    nearly = any(abs(edge - v / 10) < 1e-6 for edge in (since, until) for v in range(11))
    for series in (even, uneven):
        moments, cut_out = cut(series, since=since, until=until)
        assert nearly or cut_out.tolist() == expected
        assert moments == pytest.approx(cut_out / 10)
        assert nearly or np.nan_to_num(stretch(series, since=since, until=until).values, nan=5.0).size >= len(expected)


def test_an_empty_column_has_no_time() -> None:
    """Nothing was watched, and nothing is known of it."""
    empty = Uneven(values=np.array([]), times=np.array([]))
    assert (empty.begin, empty.end, empty.gap) == (0.0, 0.0, INFINITE)
    assert states(empty, low=0.0, high=1.0).first is None
