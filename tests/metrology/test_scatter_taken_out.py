"""Tolerance factors where a known scatter is taken out: exact ones without it, chance as the judge with it."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from benchtest.metrology.tolerance_limits import Numbers, one_sided, two_sided

FACTORS = [one_sided, two_sided]
SHARES = st.sampled_from([0.8, 0.9, 0.95, 0.99])


@pytest.mark.parametrize("factor", FACTORS)
@given(count=st.integers(3, 300), coverage=SHARES, confidence=SHARES)
@settings(max_examples=20, deadline=None)
def test_next_to_no_scatter_leaves_the_exact_factor(
    factor: Callable[..., float], count: int, coverage: float, confidence: float
) -> None:
    """Noncentral t for one limit, Wald and Wolfowitz for two; to five digits."""
    exact = factor(count, count - 1, coverage=coverage, confidence=confidence)

    assert exact == pytest.approx(
        factor(count, count - 1, coverage=coverage, confidence=confidence, taken=1e-12), rel=1e-5
    )


@pytest.mark.parametrize("factor", FACTORS)
@given(count=st.integers(3, 300), less=st.floats(0, 0.8), more=st.floats(0, 0.8), confidence=SHARES)
@settings(max_examples=20, deadline=None)
def test_what_is_taken_out_never_widens(
    factor: Callable[..., float], count: int, less: float, more: float, confidence: float
) -> None:
    """The more of the variance is scatter, the smaller is k."""
    less, more = sorted((less, more))
    wider, closer = (factor(count, count - 1, coverage=0.95, confidence=confidence, taken=q) for q in (less, more))

    assert closer <= wider + 1e-7


@pytest.mark.parametrize(("count", "taken"), [(3, 0.3), (10, 0.5), (30, 0.2), (100, 0.8)])
def test_the_factor_holds_the_share_for_as_many_pivots_as_stated(count: int, taken: float) -> None:
    """Of 100 000 populations drawn as a sample with s = 1 allows, 95 % within what counting allows (99 %)."""
    chance = np.random.default_rng(1)
    read = np.sqrt((count - 1) / chance.chisquare(count - 1, 100_000))
    means = chance.standard_normal(100_000) * read / math.sqrt(count)
    deviations = np.sqrt(np.maximum(1e-30, read**2 - taken))
    allowed = stats.binom.interval(0.99, 100_000, 0.95)

    def below(limit: float) -> Numbers:
        return np.asarray(stats.norm.cdf((limit - means) / deviations), np.float64)

    one, two = (factor(count, count - 1, coverage=0.95, confidence=0.95, taken=taken) for factor in FACTORS)

    assert allowed[0] <= np.count_nonzero(below(one) >= 0.95) <= allowed[1]
    assert allowed[0] <= np.count_nonzero(below(two) - below(-two) >= 0.95) <= allowed[1]


@pytest.mark.parametrize("taken", [-0.1, 1.0, math.nan])
def test_a_share_that_is_none_is_refused(taken: float) -> None:
    """Less than nothing, all of it, no number."""
    with pytest.raises(ValueError, match="taken out"):
        two_sided(10, 9, coverage=0.95, confidence=0.95, taken=taken)
