"""D.c. supplies: mean, ripple, sags, recovery."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.signals.cycles import alternating
from benchtest.signals.series import Moments, Sampled, Stamped, Uneven
from benchtest.signals.supply import Ripple, direct, recovery, sags

RATE = 1e4
TIMES = np.arange(10_000) / RATE


def rippled(mean: float = 24.0, swing: float = 1.0, frequency: float = 103.7) -> Moments:
    """Return a d.c. voltage with a sine on it."""
    return np.asarray(mean + swing / 2 * np.sin(2 * np.pi * frequency * TIMES + 1.0))


def test_three_definitions_of_one_ripple() -> None:
    """A sine of 1 V peak to peak on 24 V, from even and from uneven columns, with samples missing."""
    holes = rippled()
    holes[[100, 5000]] = np.nan
    rng = np.random.default_rng(1)
    kept = np.sort(rng.choice(TIMES.size, 6000, replace=False))
    records: tuple[Sampled | Uneven, ...] = (
        Sampled(values=rippled(), rate=RATE),
        Sampled(values=holes, rate=RATE),
        Uneven(values=rippled()[kept], times=TIMES[kept]),
    )
    for series, unread in zip(records, (0, 2, 0), strict=True):
        found = direct(series)
        assert found.mean.value == pytest.approx(24.0, abs=2e-3)
        assert found.ripple(Ripple.PEAK_TO_PEAK).value == pytest.approx(1 / 24, rel=1e-3)
        assert found.ripple(Ripple.HALF).value == pytest.approx(0.5 / 24, rel=1e-3)
        assert found.ripple(Ripple.EFFECTIVE).value == pytest.approx(0.5 / np.sqrt(2) / 24, rel=3e-3)
        assert (found.cycles, found.unread) == (102, unread)


@given(st.floats(0.0, 6.28), st.integers(600, 3000))
def test_a_broken_cycle_at_an_end_does_not_lean_on_the_mean(phase: float, length: int) -> None:
    """Great ripple over few cycles, wherever the window begins and ends."""
    values = 10 + 5 * np.sin(2 * np.pi * 50 * np.arange(length) / RATE + phase)
    assert direct(Sampled(values=values, rate=RATE)).mean.value == pytest.approx(10.0, abs=5e-3)


def test_a_steady_voltage_has_no_ripple_and_no_cycles() -> None:
    """12 V flat is 12 V; of a mean of zero no share can be taken."""
    found = direct(Sampled(values=np.full(100, 12.0), rate=RATE))
    assert (found.mean.value, found.cycles, found.ripple(Ripple.PEAK_TO_PEAK).value) == (12.0, 0, 0.0)
    assert "zero" in direct(Sampled(values=np.zeros(100), rate=RATE)).ripple(Ripple.HALF).reason


def test_a_clipped_supply_is_undecided() -> None:
    """At the converter's end neither mean nor ripple was seen; with no sample nothing was."""
    found = direct(Sampled(values=np.minimum(rippled(), 24.3), rate=RATE), saturation=(-24.3, 24.3))
    assert "converter" in found.mean.reason
    assert "converter" in found.ripple(Ripple.EFFECTIVE).reason
    assert "no sample" in direct(Sampled(values=np.full(5, np.nan), rate=RATE)).mean.reason


def test_one_sample_with_a_time_is_no_stretch() -> None:
    """It stands for no time, so no mean is made of it; nor of none."""
    assert "one sample" in direct(Uneven(values=np.array([24.0]), times=np.array([1.0]))).mean.reason
    assert "no sample" in direct(Uneven(values=np.array([]), times=np.array([]))).mean.reason


def test_long_records_need_little_memory() -> None:
    """Four million samples of mains, as supply and as alternating voltage: less than a copy with its times."""
    values = np.tile((24 * np.sin(2 * np.pi * np.arange(1 << 12) / (1 << 12))).astype(np.float32), 1 << 10)
    series = Sampled(values=values, rate=1e5)
    tracemalloc.start()
    found = alternating(series), direct(series)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found[0].effective.value == pytest.approx(24 / np.sqrt(2), rel=1e-5)
    assert found[1].alternating.value == pytest.approx(24 / np.sqrt(2), rel=1e-5)
    assert most < values.size * 16


def test_a_window_in_seconds() -> None:
    """Only what lies between the moments counts."""
    values = np.where(TIMES < 0.5, 12.0, 24.0)
    assert direct(Sampled(values=values, rate=RATE), since=0.6, until=0.9).mean.value == pytest.approx(24.0)


def dipped(*dips: tuple[float, float, float]) -> Moments:
    """Return 24 V with dips: begin, end, volts."""
    volts = np.full(TIMES.size, 24.0)
    for begin, end, low in dips:
        volts[(TIMES >= begin) & (TIMES < end)] = low
    return volts


def test_sags_have_depth_and_duration() -> None:
    """Two dips below 20 V; one to 21 V is none. Even and uneven alike."""
    volts = dipped((0.1, 0.103, 12.0), (0.3, 0.31, 21.0), (0.5, 0.52, 18.0))
    for series in (Sampled(values=volts, rate=RATE), Uneven(values=volts, times=TIMES)):
        found = sags(series, limit=20.0, back=22.0, nominal=24.0)
        assert [sag.lowest.value for sag in found.each] == [12.0, 18.0]
        assert [sag.depth.value for sag in found.each] == [12.0, 6.0]
        assert [sag.duration.value for sag in found.each] == pytest.approx([0.003, 0.02], abs=2e-4)
        assert found.gap == pytest.approx(1 / RATE)


def test_sags_cut_by_the_record_have_no_duration() -> None:
    """Below at the begin, below at the end: how long is not known, how deep is at least told."""
    found = sags(Sampled(values=dipped((0.0, 0.01, 10.0), (0.9, 2.0, 11.0)), rate=RATE), limit=20, back=22, nominal=24)
    first, last = found.each
    assert "begins" in first.duration.reason
    assert "ends" in last.duration.reason
    assert (first.depth.value, last.depth.value) == (14.0, 13.0)


def test_sags_of_stamps_have_times_but_no_volts() -> None:
    """A comparator's edges: when and how long."""
    series = Stamped(times=np.array([0.2, 0.25]), rising=np.array([False, True]), first=True, begin=0.0, end=1.0)
    (sag,) = sags(series, limit=0, back=1, nominal=24.0).each
    assert sag.duration.value == pytest.approx(0.05)
    assert "no volts" in sag.depth.reason


def test_a_record_that_shows_neither_has_no_sags_to_tell() -> None:
    """Between the limits all along, or with holes: the absence of sags is not claimed."""
    assert "neither" in sags(Sampled(values=np.full(9, 21.0), rate=RATE), limit=20, back=22, nominal=24).reason
    holes = dipped()
    holes[5:9] = np.nan
    found = sags(Sampled(values=holes, rate=RATE), limit=20, back=22, nominal=24)
    assert "4 samples" in found.reason
    assert found.gap == pytest.approx(5 / RATE)


def test_recovery_ends_when_it_stays_inside() -> None:
    """A load step that rings: the last time outside counts, on the line between two samples."""
    since = np.maximum(TIMES - 0.1, 0.0)
    volts = 24 - 4 * np.exp(-since / 0.02) * np.cos(2 * np.pi * 50 * since) * (TIMES >= 0.1)
    found = recovery(Sampled(values=volts, rate=RATE), low=23.5, high=24.5, since=0.1)
    outside = TIMES[np.abs(volts - 24.0) > 0.5][-1]
    assert found.value == pytest.approx(outside - 0.1, abs=1 / RATE)


def test_recovery_that_is_not_seen_is_undecided() -> None:
    """Outside at the end, or no samples; a voltage that never left needed no time."""
    volts = Sampled(values=dipped((0.5, 2.0, 12.0)), rate=RATE)
    assert "outside" in recovery(volts, low=23, high=25, since=0.4).reason
    assert "no sample" in recovery(volts, low=23, high=25, since=2.0).reason
    assert recovery(volts, low=23, high=25, since=0.1, until=0.4).value == 0.0
