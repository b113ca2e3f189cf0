"""State levels, thresholds for a record of unknown levels, and transitions."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal, stats

from benchtest.signals.series import Sampled, Stamped, Uneven
from benchtest.signals.transitions import state_levels, suggest_thresholds, transitions

RNG = np.random.default_rng(7)


def square(noise: float = 0.1, *, low: float = 0.0, high: float = 5.0) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return ten thousand samples of a noisy square wave."""
    return np.where((np.arange(10_000) // 500) % 2, high, low) + RNG.normal(0.0, noise, 10_000)


def test_a_square_wave_has_its_two_levels() -> None:
    """Both methods find 0 V and 5 V, the mode within a bin, the mean within its scatter."""
    series = Sampled(values=square(), rate=1e4)
    mode, mean = state_levels(series), state_levels(series, method="mean")
    assert (mode.low, mode.high) == pytest.approx((0.0, 5.0), abs=0.06)
    assert (mean.low, mean.high) == pytest.approx((0.0, 5.0), abs=0.01)
    assert (mode.bins, mode.used, mode.unread, mode.saturated, mode.clipped) == (100, 10_000, 0, 0, False)


def test_what_cannot_be_read_is_left_out_and_counted() -> None:
    """Non-numbers and samples at the converter's ends enter no level."""
    values = square()
    values[100:110], values[200:205], values[800:803] = np.nan, 10.0, -10.0
    levels = state_levels(Sampled(values=values, rate=1e4), saturation=(-10.0, 10.0))
    assert (levels.unread, levels.saturated, levels.used) == (10, 8, 9982)
    assert levels.high == pytest.approx(5.0, abs=0.1)


@pytest.mark.parametrize(
    ("values", "why"),
    [
        (np.full(1000, 5.0), "one level only"),
        (RNG.normal(5.0, 0.1, 10_000), "spreads apart"),
        (np.linspace(0.0, 5.0, 10_000), "spreads apart"),
        (np.sin(np.arange(10_000) / 50), "spreads apart"),
        (np.append(RNG.normal(0.0, 0.01, 1000), 5.0), "fewer than 3 samples"),
        (np.full(10, np.nan), "no sample"),
        (np.array([]), "no sample"),
    ],
    ids=["constant", "noise", "ramp", "sine", "one spike", "no numbers", "empty"],
)
def test_a_record_without_two_levels_gets_no_thresholds(
    values: np.ndarray[tuple[int], np.dtype[np.float64]], why: str
) -> None:
    """The reason is said and no number is; a reference level of it cannot be asked."""
    found = suggest_thresholds(Sampled(values=values, rate=1e4))
    assert (found.low, found.high) == (None, None)
    assert why in found.levels.reason
    with pytest.raises(ValueError, match="no reference level"):
        found.levels.reference(50)


def test_a_flicker_of_the_last_digit_is_no_swing() -> None:
    """A supply that flickers by one step of the converter has one level."""
    flicker = Sampled(values=12.0 + 0.005 * RNG.integers(0, 2, 1000), rate=1e4)
    assert suggest_thresholds(flicker, resolution=0.005).low is None


def test_stamps_carry_no_levels() -> None:
    """An edge list has no volts to take levels from."""
    series = Stamped(times=np.array([1.0]), rising=np.array([True]), first=False, begin=0.0, end=2.0)
    assert "stamped" in state_levels(series).reason


@given(st.floats(0.1, 100), st.floats(-50, 50))
def test_thresholds_follow_scale_and_offset(factor: float, offset: float) -> None:
    """In other units and from another zero, thresholds are the same shares of the swing."""
    values = np.where((np.arange(1000) // 50) % 2, 5.0, 0.0) + 0.05 * np.sin(np.arange(1000))
    plain = suggest_thresholds(Sampled(values=values, rate=1e3), percent=(10, 90))
    moved = suggest_thresholds(Sampled(values=values * factor + offset, rate=1e3), percent=(10, 90))
    assert plain.low is not None
    assert plain.high is not None
    assert moved.low == pytest.approx(plain.low * factor + offset, abs=0.06 * factor)  # one bin more or less
    assert moved.high == pytest.approx(plain.high * factor + offset, abs=0.06 * factor)


def test_a_record_that_sits_at_its_own_extremes_is_clipped() -> None:
    """A sine cut off at nine tenths sits there; a whole one in the codes of a converter, or a noisy one, does not."""
    sine = np.sin(np.arange(20_000) / 30)
    cut, whole = np.minimum(sine, 0.9), np.round(sine * 30_000) / 30_000
    noisy = sine + RNG.normal(0, 0.01, sine.size)
    assert [state_levels(Sampled(values=v, rate=1.0)).clipped for v in (cut, -cut, whole, noisy)] == [1, 1, 0, 0]


def test_levels_agree_with_the_histogram_of_scipy() -> None:
    """The fullest bins are those that scipy.stats finds in the same range with the same count."""
    values = square(0.3)
    levels = state_levels(Sampled(values=values, rate=1e4), bins=60)
    edges = np.linspace(values.min(), values.max(), 61)
    counts = stats.binned_statistic(values, values, "count", bins=edges).statistic
    middles = (edges[1:] + edges[:-1]) / 2
    assert levels.low == pytest.approx(middles[:30][np.argmax(counts[:30])])
    assert levels.high == pytest.approx(middles[30:][np.argmax(counts[30:])])


def test_an_odd_number_of_bins_is_refused() -> None:
    """Mid-range would lie inside a bin."""
    with pytest.raises(ValueError, match="even number"):
        state_levels(Sampled(values=square(), rate=1e4), bins=99)


def test_a_jump_has_no_duration_but_a_bound() -> None:
    """Without a sample on the slope only the interval is known."""
    series = Sampled(values=np.repeat([0.0, 5.0, 0.0], 50), rate=1e3)
    rise, fall = transitions(series, state_levels(series))
    assert (rise.rising, fall.rising) == (True, False)
    assert rise.duration.value is None
    assert "shorter than 0.001 s" in rise.duration.reason
    assert rise.middle == pytest.approx(0.0495, abs=5e-4)


def test_a_first_order_filter_of_scipy_rises_and_falls_in_its_time() -> None:
    """A square wave through scipy's first-order low-pass: every transition lasts ln 9 time constants."""
    rate, tau = 1e5, 1e-3
    numerator, denominator = signal.bilinear([1.0], [tau, 1.0], rate)
    wave = signal.lfilter(numerator, denominator, np.where((np.arange(100_000) // 2000) % 2, 5.0, 0.0))
    series = Sampled(values=wave, rate=rate)
    found = transitions(series, state_levels(series, bins=1000))
    assert len(found) == 49
    assert [t.duration.value for t in found] == pytest.approx([tau * np.log(9)] * 49, rel=0.02)


def test_an_uneven_column_gives_the_same_transition() -> None:
    """A ramp of 8 ms taken at random times: 6.4 ms from 10 % to 90 %."""
    times = np.sort(RNG.uniform(0.0, 0.1, 5000))
    series = Uneven(values=np.clip((times - 0.05) / 8e-3, 0.0, 1.0) * 5, times=times)
    (rise,) = transitions(series, state_levels(series, bins=1000))
    assert rise.duration.value == pytest.approx(6.4e-3, rel=0.01)
    assert rise.middle == pytest.approx(0.054, abs=1e-5)


def test_codes_of_a_converter_have_levels_and_transitions_too() -> None:
    """Whole numbers of 16 bits: levels within a bin, and the thresholds between them."""
    codes = np.round(square(noise=0.01) * 6000).astype(np.int16)
    series = Sampled(values=codes, rate=1e4)
    found = suggest_thresholds(series, percent=(10, 90), saturation=(-32768, 32767))
    assert (found.low, found.high) == pytest.approx((3000, 27000), abs=300)
    assert len(transitions(series, found.levels)) == 19


@pytest.mark.parametrize("percent", [(0, 90), (90, 10), (50, 50), (10, 100), (float("nan"), 90)])
def test_thresholds_lie_between_the_levels_in_order(percent: tuple[float, float]) -> None:
    """At a level itself noise would decide; in the wrong order nothing could."""
    with pytest.raises(ValueError, match="expected 0 < low < high < 100"):
        suggest_thresholds(Sampled(values=square(), rate=1e4), percent=percent)
