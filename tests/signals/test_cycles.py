"""R.m.s. over whole cycles."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from benchtest.signals.cycles import alternating, effective
from benchtest.signals.series import Moments, Sampled, Uneven


@given(st.floats(0.0, 6.28), st.floats(47.0, 53.0), st.integers(800, 2000))
def test_a_sine_has_its_effective_value_wherever_the_window_begins(phase: float, frequency: float, length: int) -> None:
    """24 V r.m.s. read within its own window term, for any phase, frequency and window of several cycles."""
    moments = np.arange(length) / 10_000
    found = effective(24 * math.sqrt(2) * np.sin(2 * np.pi * frequency * moments + phase))
    assert found.cycles >= 2
    assert abs(found.value - 24.0) <= found.ends


def test_noise_cuts_no_cycles() -> None:
    """A noisy sine has as many cycles as the clean one."""
    moments = np.arange(20_000) / 100_000
    noise = np.random.default_rng(1).normal(0.0, 0.5, 20_000)
    assert effective(34 * np.sin(2 * np.pi * 50 * moments + 1.0) + noise).cycles == 9


def test_a_steady_voltage_is_taken_whole() -> None:
    """A d.c. voltage has no cycles; its r.m.s. is its size."""
    found = effective(np.full(100, -24.0))
    assert (found.value, found.cycles, found.alternating) == (24.0, 0, 0.0)


def test_less_than_a_cycle_is_told() -> None:
    """A quarter of a sine has no whole cycle, and says how much it alternates."""
    found = effective(34 * np.sin(np.linspace(0.0, np.pi / 2, 50)))
    assert found.cycles == 0
    assert found.alternating > 5


RATE = 1e4
TIMES = np.arange(3000) / RATE


def mains(*, offset: float = 0.0, frequency: float = 50.3, phase: float = 0.7) -> Moments:
    """Return 24 V r.m.s. of a sine with an offset."""
    return np.asarray(24 * math.sqrt(2) * np.sin(2 * np.pi * frequency * TIMES + phase) + offset)


@given(st.floats(0.0, 6.28), st.floats(45.0, 65.0), st.floats(-20.0, 20.0))
def test_a_sine_on_an_offset_whatever_the_window(phase: float, frequency: float, offset: float) -> None:
    """R.m.s. with and without its mean, the mean, frequency and crest factor, by the definitions."""
    found = alternating(Sampled(values=mains(offset=offset, frequency=frequency, phase=phase), rate=RATE))
    root = math.hypot(24.0, offset)
    assert found.effective.value == pytest.approx(root, rel=2e-3)
    assert found.alternating.value == pytest.approx(24.0, rel=2e-3)
    assert found.mean.value == pytest.approx(offset, abs=0.05)
    assert found.frequency.value == pytest.approx(frequency, rel=1e-4)
    assert found.crest.value == pytest.approx((24 * math.sqrt(2) + abs(offset)) / root, rel=3e-3)


def test_an_uneven_column_with_holes_has_the_same_answer() -> None:
    """Samples at random times, some no numbers; a plain mean of squares would weigh the crowded times too much."""
    rng = np.random.default_rng(5)
    times = np.sort(rng.uniform(0.0, 0.3, 3000) ** 1.5 / 0.3**0.5)
    values = 24 * math.sqrt(2) * np.sin(2 * np.pi * 50.3 * times + 0.7)
    values[rng.choice(3000, 50, replace=False)] = np.nan
    found = alternating(Uneven(values=values, times=times))
    assert found.effective.value == pytest.approx(24.0, rel=2e-3)
    assert found.frequency.value == pytest.approx(50.3, rel=1e-3)
    assert found.unread == 50


def test_clipped_peaks_leave_the_frequency_and_nothing_else() -> None:
    """At the converter's end the peaks were not seen; the cycles were."""
    found = alternating(Sampled(values=np.clip(mains(), -30, 30), rate=RATE), saturation=(-30.0, 30.0))
    assert found.frequency.value == pytest.approx(50.3, rel=1e-3)
    assert found.effective.value is found.crest.value is found.peak.value is None
    assert "clipped" in found.effective.reason


def test_the_frequency_is_where_scipy_finds_the_peak() -> None:
    """The greatest line of scipy's periodogram is within one bin of it, with noise."""
    values = mains() + np.random.default_rng(6).normal(0, 2.0, TIMES.size)
    lines, power = signal.periodogram(values, RATE, window="hann", nfft=1 << 18)
    found = alternating(Sampled(values=values, rate=RATE)).frequency.value
    assert found == pytest.approx(lines[np.argmax(power)], abs=0.1)


def test_what_is_no_steady_cycle_is_undecided() -> None:
    """Less than one cycle, a drop-out of several, nothing readable: each with its reason."""
    dropped = mains()
    dropped[1000:1700] = 0.0
    assert "less than one" in alternating(Sampled(values=mains()[:150], rate=RATE)).effective.reason
    assert "usual one" in alternating(Sampled(values=dropped, rate=RATE)).frequency.reason
    assert "no sample" in alternating(Sampled(values=np.full(10, np.nan), rate=RATE)).effective.reason
    assert "less than one" in alternating(Sampled(values=np.full(10, 24.0), rate=RATE)).effective.reason


def test_codes_of_a_converter_are_read_like_volts() -> None:
    """Whole numbers of 16 bits give the same cycles as the floats that they stand for."""
    codes = np.round(mains() * 900).astype(np.int16)
    found = alternating(Sampled(values=codes, rate=RATE))
    assert found.effective.value == pytest.approx(24 * 900, rel=2e-3)
    assert found.frequency.value == pytest.approx(50.3, rel=1e-4)
