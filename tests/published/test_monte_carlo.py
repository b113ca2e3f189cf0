"""Propagation of distributions (JCGM 101:2008) against our budgets and GTC, with a fixed seed.

A budget takes the model as a straight line about the estimate. Drawing every input from its own distribution and
working the model out each time needs no such thing; the two must agree in the standard uncertainty, and the interval ±U
must cover at least what is stated, since rectangular inputs have short tails.
"""

import math

import GTC
import numpy as np
import pytest

from benchtest.metrology.budget import combine
from benchtest.metrology.distributions import rectangular
from benchtest.metrology.uncertainty import NO_SCATTER, Quality, contact_resistance, difference, interval, reading

TRIALS = 1_000_000


def test_contact_resistance_by_drawing_lots() -> None:
    """R = v·Rs/(V - v): 40 mV of 12 V behind 120 Ω, ±1 mV of offset and 1 % of current."""
    quality = Quality(channel="c", unit="V", of_reading=0.0005, plus=0.001, step=0.0005)
    budget = contact_resistance(
        reading(0.04, quality), volts=0.04, source=12.0, series=120.0, tolerance=0.01, leads=0.005
    )
    lots = np.random.default_rng(1)
    volts = 0.04 + lots.uniform(-1, 1, TRIALS) * (0.04 * 0.0005 + 0.001) + lots.uniform(-0.5, 0.5, TRIALS) * 0.0005
    series = 120.0 * (1 + lots.uniform(-1, 1, TRIALS) * 0.01)
    ohms = volts * series / (12.0 - volts) + lots.uniform(-1, 1, TRIALS) * 0.005
    v = 0.04 + GTC.ureal(0, rectangular(0.04 * 0.0005 + 0.001)) + GTC.ureal(0, rectangular(0.00025))
    theirs = v * 120.0 * (1 + GTC.ureal(0, rectangular(0.01))) / (12.0 - v) + GTC.ureal(0, rectangular(0.005))

    assert budget.standard == pytest.approx(GTC.uncertainty(theirs), rel=1e-9)
    assert budget.standard == pytest.approx(ohms.std(), rel=0.005)
    expanded, _ = combine(budget).expanded(2.0)
    assert np.mean(np.abs(ohms - ohms.mean()) <= expanded) > 0.9545


def test_an_interval_by_drawing_lots() -> None:
    """Ten milliseconds between an order's stamp and an arrival between two samples, on a clock within 50 ppm."""
    budget = interval(0.010, clock=50e-6, stamps=(20e-6, 20e-6), sampled=(100e-6,), latency=30e-6)
    lots = np.random.default_rng(2)
    stamps = lots.uniform(-20e-6, 20e-6, (2, TRIALS)).sum(axis=0)
    rest = lots.uniform(-50e-6, 50e-6, TRIALS) + lots.uniform(-30e-6, 30e-6, TRIALS)
    seconds = (0.010 + stamps + rest) * (1 + lots.uniform(-50e-6, 50e-6, TRIALS))

    assert budget.standard == pytest.approx(seconds.std(), rel=0.005)
    expanded, _ = combine(budget).expanded(2.0)
    assert np.mean(np.abs(seconds - 0.010) <= expanded) > 0.9545


def test_a_difference_with_a_common_gain_by_drawing_lots() -> None:
    """24 V minus 18 V on two channels of one instrument that share 80 % of their accuracy."""
    one, other = (
        Quality(channel=name, unit="V", of_reading=0.0005, plus=0.003, shared=0.8, instrument="daq")
        for name in ("one", "other")
    )
    budgets = reading(24.0, one), reading(18.0, other)
    ours = difference(*budgets, repeat=NO_SCATTER, unit="V")
    own = [next(t for t in budget.terms if t.name == "own calibration").standard for budget in budgets]
    lots = np.random.default_rng(3)
    gain, offset = lots.uniform(-1, 1, TRIALS) * 0.8 * 0.0005, lots.uniform(-1, 1, TRIALS) * 0.8 * 0.003
    upper = 24.0 * (1 + gain) + offset + lots.normal(0, own[0], TRIALS)
    lower = 18.0 * (1 + gain) + offset + lots.normal(0, own[1], TRIALS)

    assert ours.standard == pytest.approx((upper - lower).std(), rel=0.005)
    assert ours.standard < math.hypot(*(budget.standard for budget in budgets))
