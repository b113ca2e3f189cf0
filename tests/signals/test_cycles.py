"""R.m.s. over whole cycles."""

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from benchtest.signals.cycles import effective


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
