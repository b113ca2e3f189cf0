"""Standard uncertainties and budgets."""

import math

import GTC
import numpy as np
import pytest

from benchtest.metrology.uncertainty import (
    arcsine,
    combined,
    contact_resistance,
    expanded,
    interval,
    joined,
    quotient,
    reading,
    rectangular,
    resolution,
    scatter_of_mean,
    triangular,
)


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
    budget = reading(24.0, of_reading=0.0005, plus=0.003, step=0.00125)
    by_name = {term.name: term.standard for term in budget.terms}
    assert math.isclose(by_name["accuracy"], 0.015 / math.sqrt(3))
    assert math.isclose(by_name["resolution"], 0.00125 / math.sqrt(12))
    assert math.isclose(budget.standard, math.hypot(*by_name.values()))


def test_reading_of_a_negative_value_has_the_uncertainty_of_its_size() -> None:
    """The sign of a reading does not shrink its budget."""
    negative = reading(-24.0, of_reading=0.0005, plus=0.0, step=0.0)
    assert negative.standard == reading(24.0, of_reading=0.0005, plus=0.0, step=0.0).standard


def test_scatter_of_few_samples_is_that_of_independent_ones() -> None:
    """Under forty samples the scatter of the mean is s/√n, as GTC says."""
    samples = np.array([1.0, 2.0, 4.0, 3.0, 2.5])
    assert math.isclose(scatter_of_mean(samples), GTC.type_a.estimate(samples).u)
    assert scatter_of_mean(samples[:1]) == 0.0


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


def test_contact_resistance_agrees_with_gtc() -> None:
    """GTC propagates the same inputs through R = v·Rs/(V - v) to the same uncertainty."""
    drop = reading(0.005, of_reading=0.0005, plus=0.001, step=0.0005)
    ours = contact_resistance(drop, volts=0.005, source=12.0, series=120.0, tolerance=0.01)
    volts = GTC.ureal(0.005, drop.standard)
    current = (12.0 - volts) / (120.0 * GTC.ureal(1.0, rectangular(0.01)))
    assert math.isclose(ours.standard, GTC.uncertainty(volts / current), rel_tol=1e-9)


def test_quotient_and_difference_agree_with_gtc() -> None:
    """A share of a known voltage and the difference of two readings, propagated by GTC."""
    one, other = (reading(v, of_reading=0.0005, plus=0.003, step=0.0) for v in (24.0, 23.9))
    share = quotient(one, value=24.0, divisor=12.0, tolerance=0.01)
    upper = GTC.ureal(24.0, one.standard)
    assert math.isclose(share.standard, GTC.uncertainty(upper / GTC.ureal(12.0, 12.0 * rectangular(0.01))))
    lower = GTC.ureal(23.9, other.standard)
    assert math.isclose(joined(one, other).standard, GTC.uncertainty(upper - lower))
