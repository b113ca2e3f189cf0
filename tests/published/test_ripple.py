"""Ripple of ideal rectifiers by three definitions, and r.m.s. in the windows of IEC 61000-4-30.

The ripple table follows from the definitions (computed apart by quadrature); 4.2 % of a six-pulse rectifier is a
textbook figure. The windows' errors are computed apart.
"""

import math

import numpy as np
import pytest

from benchtest.signals.cycles import alternating
from benchtest.signals.series import Sampled
from benchtest.signals.supply import Ripple, direct

RATE = 50_000.0
TIMES = np.arange(10_317) / RATE  # ten mains cycles and a third


def rectified(pulses: int) -> Sampled:
    """Return an ideal rectifier's voltage, peak 1, from 50 Hz."""
    angle = 2 * np.pi * 50 * TIMES
    if pulses == 1:
        return Sampled(values=np.maximum(np.sin(angle), 0.0), rate=RATE)
    turn = 2 * np.pi / pulses
    return Sampled(values=np.cos((angle + 0.3) % turn - turn / 2), rate=RATE)


@pytest.mark.parametrize(
    ("pulses", "effective", "peak_to_peak"),
    [
        (1, 1.2114, 3.1416),
        (2, 0.4834, 1.5708),
        (3, 0.1827, 0.6046),
        (6, 0.04197, 0.1403),
        (12, 0.01028, 0.03447),
    ],
)
def test_ripple_of_rectifiers(pulses: int, effective: float, peak_to_peak: float) -> None:
    """Half-wave to twelve-pulse: the definitions differ by a factor of three and more."""
    found = direct(rectified(pulses))
    assert found.ripple(Ripple.EFFECTIVE).value == pytest.approx(effective, rel=2e-3)
    assert found.ripple(Ripple.PEAK_TO_PEAK).value == pytest.approx(
        peak_to_peak, rel=5e-3
    )  # a sample may miss the valley
    assert found.ripple(Ripple.HALF).value == pytest.approx(peak_to_peak / 2, rel=5e-3)


def test_five_per_cent_of_an_unfiltered_six_pulse_rectifier_is_no_peak_to_peak_figure() -> None:
    """A controller's manual prints 5 % peak-to-peak for it (read): only the r.m.s. definition fits."""
    found = direct(rectified(6))
    peak_to_peak, effective = (found.ripple(rule).value for rule in (Ripple.PEAK_TO_PEAK, Ripple.EFFECTIVE))
    assert peak_to_peak is not None
    assert effective is not None
    assert peak_to_peak > 0.05 > effective


def test_a_triangle_is_peak_to_peak_over_root_twelve() -> None:
    """Of a filtered supply's triangular ripple the r.m.s. is 0.288675 of peak to peak (exact)."""
    values = 24 + np.abs((100 * TIMES) % 1.0 - 0.5)
    found = direct(Sampled(values=values, rate=RATE))
    assert found.alternating.value == pytest.approx(0.5 * 0.288675, rel=1e-3)


@pytest.mark.parametrize(
    ("frequency", "fixed"), [(49.0, 0.0077), (50.5, 0.0046), (51.0, 0.0074), (52.0, 0.0045), (50.0, 0.0), (60.0, 0.0)]
)
def test_whole_cycles_have_no_error_of_a_fixed_window(frequency: float, fixed: float) -> None:
    """A fixed 200 ms is out by this share in the worst phase; whole cycles of the same record are not."""
    times = np.arange(2000) / 10_000
    phases = np.linspace(0.0, 2 * np.pi, 90)
    waves = [np.sin(2 * np.pi * frequency * times + phase) for phase in phases]
    plain = [math.sqrt(2 * float(np.mean(wave**2))) - 1 for wave in waves]
    whole = [alternating(Sampled(values=wave, rate=10_000.0)).effective.value for wave in waves]
    assert max(map(abs, plain)) == pytest.approx(fixed, abs=3e-4)
    assert all(value is not None and abs(value * math.sqrt(2) - 1) < 1e-5 for value in whole)


TURNS = (np.arange(20_000) / 1500.0) % 1.0
SINE = np.sin(2 * np.pi * TURNS)


@pytest.mark.parametrize(
    ("wave", "mean", "effective", "crest"),
    [
        (SINE, 0.0, 0.707107, 1.414214),
        (np.maximum(SINE, 0.0), 0.318310, 0.5, 2.0),
        (np.abs(np.sin(np.pi * TURNS)), 0.636620, 0.707107, 1.414214),
        (4 * np.abs(TURNS - 0.5) - 1, 0.0, 0.577350, 1.732051),
        (2 * TURNS - 1, 0.0, 0.577350, 1.732051),
        (np.where(TURNS < 0.5, 1.0, -1.0), 0.0, 1.0, 1.0),
        (np.where(TURNS < 0.25, 1.0, 0.0), 0.25, 0.5, 2.0),
    ],
    ids=["sine", "half-wave", "full-wave", "triangle", "sawtooth", "square", "pulse of a quarter"],
)
def test_mean_effective_and_crest_of_textbook_waves(
    wave: np.ndarray[tuple[int], np.dtype[np.float64]], mean: float, effective: float, crest: float
) -> None:
    """They follow from the definitions, for a peak of 1."""
    found = alternating(Sampled(values=wave, rate=1500.0))
    assert found.mean.value == pytest.approx(mean, abs=2e-3)
    assert found.effective.value == pytest.approx(effective, rel=1e-3)
    assert found.crest.value == pytest.approx(crest, rel=2e-3)
    assert found.frequency.value == pytest.approx(1.0, rel=1e-3)
