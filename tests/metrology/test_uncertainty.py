"""Standard uncertainties, and the budgets of what the bench reads."""

import math
from dataclasses import replace

import GTC
import numpy as np
import pytest

from benchtest.metrology.budget import Budget, combine, combined, expanded
from benchtest.metrology.distributions import arcsine, rectangular, resolution, triangular
from benchtest.metrology.uncertainty import (
    NO_SCATTER,
    Quality,
    Scatter,
    contact_resistance,
    difference,
    effective,
    interval,
    quotient,
    reading,
    scatter,
    scatter_of_mean,
    winding,
)

VOLTS = Quality(channel="X1.1-X1.2 sense", unit="V", of_reading=0.0005, plus=0.003, step=0.00125)
OTHER = replace(VOLTS, channel="X2.1-X2.2 sense")
SHARED = replace(VOLTS, shared=0.8, instrument="daq sense")
OTHER_SHARED = replace(OTHER, shared=0.8, instrument="daq sense")


def by_name(budget: Budget) -> dict[str, float]:
    """Return the contributions of a budget by name."""
    return {term.name: term.contribution for term in budget.terms}


def test_distributions_have_the_standard_deviation_of_their_samples() -> None:
    """A rectangular, triangular, arcsine and rounding error scatter as their formulas say."""
    even = (np.arange(1_000_000) + 0.5) / 1_000_000  # quantiles, no chance involved
    assert math.isclose(rectangular(3.0), np.std(6.0 * even - 3.0), rel_tol=1e-5)
    triangle = np.where(even < 0.5, np.sqrt(2 * even) - 1, 1 - np.sqrt(2 * (1 - even)))
    assert math.isclose(triangular(3.0), np.std(3.0 * triangle), rel_tol=1e-5)
    assert math.isclose(arcsine(3.0), np.std(3.0 * np.sin(2 * np.pi * even)), rel_tol=1e-5)
    assert math.isclose(resolution(0.1), np.std(0.1 * even), rel_tol=1e-5)


@pytest.mark.parametrize("terms", [[math.nan, 1.0], [math.nan, math.inf], [1.0, math.nan]])
def test_a_term_that_is_not_a_number_makes_the_sum_not_a_number(terms: list[float]) -> None:
    """An unknown contribution is never swallowed, not even by an infinite one."""
    assert math.isnan(combined(terms))


def test_expanded_is_k_times_standard() -> None:
    """U is k·u."""
    assert expanded(0.25, 2.0) == 0.5


def test_reading_adds_both_parts_of_the_accuracy_before_dividing() -> None:
    """24 V at ±(0.05 % + 3 mV) is one bound of 15 mV, so 8.66 mV standard; the converter's step comes on top."""
    budget = reading(24.0, VOLTS)
    assert {"calibration", "resolution"} == by_name(budget).keys()
    assert math.isclose(by_name(budget)["calibration"], 0.015 / math.sqrt(3))
    assert math.isclose(by_name(budget)["resolution"], 0.00125 / math.sqrt(12))
    assert math.isclose(budget.standard, math.hypot(*by_name(budget).values()))


def test_reading_of_a_negative_value_has_the_uncertainty_of_its_size() -> None:
    """The sign of a reading does not shrink its budget, whatever is shared."""
    for quality in (VOLTS, SHARED):
        assert math.isclose(reading(-24.0, quality).standard, reading(24.0, quality).standard)


def test_temperature_leads_and_thermal_voltages_are_terms_of_their_own() -> None:
    """20 ppm/K at 8 K from the calibration, 5 µV of thermal voltage, 10 mΩ of leads: each rectangular."""
    warm = reading(24.0, replace(VOLTS, drift=20e-6 * 8, emf=5e-6))
    assert math.isclose(by_name(warm)["temperature"], 24.0 * 160e-6 / math.sqrt(3))
    assert math.isclose(by_name(warm)["thermal EMF"], 5e-6 / math.sqrt(3))
    long = reading(0.3, Quality(channel="X10.1-X10.2 ohms", unit="Ω", plus=0.02, leads=0.01))
    assert math.isclose(by_name(long)["leads"], 0.01 / math.sqrt(3))


@pytest.mark.parametrize("value", [24.0, 0.001, -5.0])
def test_a_shared_accuracy_is_no_less_than_the_statement(value: float) -> None:
    """However much of it is common to all channels, one reading is as uncertain as the statement says."""
    for share in (0.0, 0.3, 0.8, 1.0):
        shared = replace(SHARED, shared=share)
        assert math.isclose(reading(value, shared).standard, reading(value, VOLTS).standard)


def test_what_two_channels_share_cancels_in_their_difference() -> None:
    """24 V minus 23.9 V: alone √2 times 8.66 mV; with 80 % common, what is left is the channels' own."""
    apart = difference(reading(24.0, VOLTS), reading(23.9, OTHER), repeat=NO_SCATTER, unit="V")
    common = difference(reading(24.0, SHARED), reading(23.9, OTHER_SHARED), repeat=NO_SCATTER, unit="V")
    gain, offset = 0.8 * 0.0005 * 24 / math.sqrt(3), 0.8 * 0.003 / math.sqrt(3)
    left = math.sqrt(2 * (0.015**2 / 3 - gain**2 - offset**2 + 0.00125**2 / 12))
    assert math.isclose(apart.standard, math.sqrt(2) * reading(24.0, VOLTS).standard, rel_tol=0.005)
    assert math.isclose(common.standard, left, rel_tol=0.005)
    assert common.standard < 0.8 * apart.standard


def test_a_shared_gain_does_not_cancel_between_opposite_voltages() -> None:
    """+24 V minus -24 V is 48 V: a common gain error counts twice, and is not taken for its opposite."""
    both = difference(reading(24.0, SHARED), reading(-24.0, OTHER_SHARED), repeat=NO_SCATTER, unit="V")
    assert both.standard > 48 * 0.8 * 0.0005 / math.sqrt(3)


def test_a_difference_is_what_gtc_makes_of_the_same_inputs() -> None:
    """Gain, offset and the channels' own errors as uncertain numbers of GTC, subtracted by GTC."""
    ours = difference(
        reading(24.0, SHARED), reading(20.0, OTHER_SHARED), repeat=Scatter(standard=1e-3, freedom=7), unit="V"
    )
    gain = GTC.ureal(0, rectangular(0.8 * 0.0005))
    offset = GTC.ureal(0, rectangular(0.8 * 0.003))
    own = [by_name(reading(v, SHARED))["own calibration"] for v in (24.0, 20.0)]
    one, other = (
        v * (1 + gain) + offset + GTC.ureal(0, u) + GTC.ureal(0, resolution(0.00125))
        for v, u in zip((24.0, 20.0), own, strict=True)
    )
    theirs = one - other + GTC.ureal(0, 1e-3, 7)
    assert math.isclose(ours.standard, theirs.u, rel_tol=1e-12)
    assert math.isclose(combine(ours).freedom, theirs.df, rel_tol=1e-9)


def test_scatter_of_few_samples_is_that_of_independent_ones() -> None:
    """Under forty samples the scatter of the mean is s/√n, as GTC says."""
    samples = np.array([1.0, 2.0, 4.0, 3.0, 2.5])
    assert math.isclose(scatter_of_mean(samples), GTC.type_a.estimate(samples).u)
    assert scatter_of_mean(samples[:1]) == 0.0
    assert (4.0, NO_SCATTER) == (scatter(samples).freedom, scatter(samples[:1]))
    assert scatter(np.arange(400.0)).freedom == 19.0


def test_scatter_of_a_slow_drift_is_not_divided_away() -> None:
    """A drift through the record keeps its size however finely it is sampled."""
    coarse, fine = (scatter_of_mean(np.linspace(0.0, 1.0, count)) for count in (2000, 20000))
    assert math.isclose(coarse, fine, rel_tol=0.01)
    assert coarse > 0.05


def test_interval_counts_stamps_samples_and_clock() -> None:
    """Ten seconds on a 50 ppm clock, two stamps of 20 µs and one sample interval of 100 µs."""
    budget = interval(10.0, clock=50e-6, stamps=(20e-6, 20e-6), sampled=(100e-6,))
    expected = math.sqrt((500e-6) ** 2 / 3 + 2 * (20e-6) ** 2 / 3 + (100e-6) ** 2 / 12)
    assert math.isclose(budget.standard, expected)
    late = interval(10.0, clock=50e-6, stamps=(20e-6, 20e-6), sampled=(100e-6,), latency=1e-3)
    assert math.isclose(late.standard, math.hypot(expected, 1e-3 / math.sqrt(3)))


def test_contact_resistance_agrees_with_gtc() -> None:
    """GTC propagates the same inputs through R = v·Rs/(V - v) to the same uncertainty."""
    drop = reading(0.005, replace(VOLTS, plus=0.001, step=0.0005))
    ours = contact_resistance(drop, volts=0.005, source=12.0, series=120.0, tolerance=0.01)
    volts = GTC.ureal(0.005, drop.standard)
    current = (12.0 - volts) / (120.0 * GTC.ureal(1.0, rectangular(0.01)))
    assert math.isclose(ours.standard, GTC.uncertainty(volts / current), rel_tol=1e-9)


def test_leads_add_to_a_contact() -> None:
    """5 mΩ of leads between the sensing point and the contact are read along."""
    facts = {"volts": 0.005, "source": 12.0, "series": 120.0, "tolerance": 0.01}
    bare, wired = (contact_resistance(reading(0.005, VOLTS), **facts, leads=ohms) for ohms in (0.0, 0.005))
    assert math.isclose(wired.standard, math.hypot(bare.standard, rectangular(0.005)))


def test_quotient_agrees_with_gtc() -> None:
    """A share of a known voltage, propagated by GTC."""
    one = reading(24.0, VOLTS)
    share = quotient(one, value=24.0, divisor=12.0, tolerance=0.01)
    upper = GTC.ureal(24.0, one.standard)
    assert math.isclose(share.standard, GTC.uncertainty(upper / GTC.ureal(12.0, 12.0 * rectangular(0.01))))


def test_an_effective_value_counts_its_broken_ends() -> None:
    """What the samples at both ends may change comes on top of the reading."""
    budget = effective(24.0, VOLTS, repeat=Scatter(standard=1e-3, freedom=3), ends=0.03)
    assert math.isclose(budget.standard, math.hypot(reading(24.0, VOLTS).standard, 1e-3, 0.03 / math.sqrt(3)))


@pytest.mark.parametrize(
    "spoiled",
    [
        replace(VOLTS, of_reading=math.nan),
        replace(VOLTS, plus=math.nan),
        replace(VOLTS, step=math.nan),
        replace(VOLTS, drift=math.nan),
        replace(VOLTS, emf=math.nan),
        replace(VOLTS, leads=math.nan),
    ],
)
def test_a_bound_that_is_not_a_number_spoils_the_budget(spoiled: Quality) -> None:
    """An unknown half-width is never left out as if it were zero."""
    assert math.isnan(reading(24.0, spoiled).standard)


def test_a_winding_is_less_certain_when_its_temperature_is() -> None:
    """100.00 Ω at 23 °C brought to 20 °C (98.835 Ω, k = 234.5, computed apart): by GTC, and ±1 K moves it by 0.38 Ω."""
    coil = reading(100.0, Quality(channel="coil ohms", unit="Ω", of_reading=0.001))
    ours = winding(coil, ohms=100.0, now=23.0, then=20.0, within=1.0)
    now = GTC.ureal(23.0, rectangular(1.0))
    theirs = GTC.ureal(100.0, coil.standard) * (234.5 + 20.0) / (234.5 + now)
    assert 98.835 == round(theirs.x, 3)
    assert math.isclose(ours.standard, theirs.u, rel_tol=1e-9)
    assert 0.38 == round(by_name(ours)["coil temperature"] * math.sqrt(3), 2)
