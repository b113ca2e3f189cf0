"""Transition durations and state levels against textbook step responses and worked examples.

The step responses follow from their formulas (computed apart). The ten samples and the histogram of 110 samples are
worked examples in the terms of IEEE 181-2011 (clause texts not read), computed apart with a general-purpose library.
"""

import math

import numpy as np
import pytest
from scipy import special

from benchtest.signals.series import Sampled
from benchtest.signals.transitions import Levels, state_levels, transitions

RATE = 1000.0
"""Samples in a unit of the shape."""
TIME = np.arange(-20_000, 40_000) / RATE


def between(low: float, high: float) -> Levels:
    """Return known levels."""
    return Levels(low=low, high=high, method="mode", bins=100, used=0, unread=0, saturated=0, clipped=False)


def second_order(damping: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return the step response with an angular frequency of 1."""
    ringing, time = math.sqrt(1 - damping**2), np.maximum(TIME, 0.0)
    decay = np.exp(-damping * time)
    return 1 - decay * (np.cos(ringing * time) + damping / ringing * np.sin(ringing * time))


SHAPES = {
    "linear": (np.clip(TIME, 0.0, 1.0), 0.8, 0.5),
    "first order": (1 - np.exp(-np.maximum(TIME, 0.0)), 2.197225, 0.693147),
    "gaussian": (special.ndtr(TIME), 2.563103, 0.0),
    "half cosine": ((1 - np.cos(np.pi * np.clip(TIME, 0.0, 1.0))) / 2, 0.590334, 0.5),
    "second order, 0.5": (second_order(0.5), 1.63757, 1.29404),
}


@pytest.mark.parametrize(("wave", "duration", "middle"), SHAPES.values(), ids=SHAPES.keys())
def test_ten_to_ninety_per_cent(
    wave: np.ndarray[tuple[int], np.dtype[np.float64]], duration: float, middle: float
) -> None:
    """Linear 0.8 T, first order ln 9 = 2.197225 τ, Gaussian 2.563103 σ, half-cosine 0.590334 T, ζ 0.5 1.63757/ω."""
    (found,) = transitions(Sampled(values=wave, rate=RATE, start=float(TIME[0])), between(0.0, 1.0))
    assert found.duration.value == pytest.approx(duration, abs=1e-5)
    assert found.middle == pytest.approx(middle, abs=1e-5)


@pytest.mark.parametrize(("name", "duration"), [("first order", 1.386294), ("gaussian", 1.683242)])
def test_twenty_to_eighty_per_cent(name: str, duration: float) -> None:
    """First order ln 4 = 1.386294 τ, Gaussian 1.683242 σ."""
    series = Sampled(values=SHAPES[name][0], rate=RATE)
    (found,) = transitions(series, between(0.0, 1.0), percent=(20.0, 80.0))
    assert found.duration.value == pytest.approx(duration, abs=1e-5)


@pytest.mark.parametrize("damping", [0.2, 0.3, 0.5, 0.7071])
def test_overshoot_does_not_move_the_level(damping: float) -> None:
    """A ringing step overshoots by 52.66, 37.23, 16.30, 4.32 %; the mode of the upper half stays at 100 %."""
    wave = second_order(damping)
    overshoot = math.exp(-math.pi * damping / math.sqrt(1 - damping**2))
    assert wave.max() == pytest.approx(1 + overshoot, abs=1e-5)
    levels = state_levels(Sampled(values=wave, rate=RATE), bins=200)
    assert levels.high == pytest.approx(1.0, abs=wave.max() / 200)


def test_ten_samples_a_second_apart() -> None:
    """0 0 0 1 3 5 5 5 5 5 with levels 0 and 5: crossings at 2.5, 3.75 and 4.75 s, 2.25 s from 10 to 90 %."""
    series = Sampled(values=np.array([0.0, 0, 0, 1, 3, 5, 5, 5, 5, 5]), rate=1.0)
    (found,) = transitions(series, between(0.0, 5.0))
    assert (found.begin, found.middle, found.end) == pytest.approx((2.5, 3.75, 4.75))
    assert found.duration.value == pytest.approx(2.25)


HISTOGRAM = np.repeat(
    [0.10, 0.12, -0.30, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5.6, 4.85, 4.90],
    [40, 8, 4, 1, 1, 1, 1, 1, 1, 1, 1, 1, 6, 7, 36],
)


@pytest.mark.parametrize(
    ("method", "bins", "low", "high"),
    [("mode", 100, 0.0835, 4.9215), ("mode", 118, 0.125, 4.925), ("mean", 100, 0.1975, 4.8858)],
)
def test_levels_of_110_samples(method: str, bins: int, low: float, high: float) -> None:
    """The mode moves with the bins, by up to half of one; so the number of bins is part of the answer."""
    levels = state_levels(Sampled(values=HISTOGRAM, rate=1.0), method="mean" if method == "mean" else "mode", bins=bins)
    assert (levels.low, levels.high) == pytest.approx((low, high), abs=5e-5)
    assert (levels.method, levels.bins, levels.used) == (method, bins, 110)
