"""Exact binomial limits, against SciPy's beta distribution and against what can be said in closed form."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta

from benchtest.metrology.proportion import lower, upper


@given(st.integers(1, 3000).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))), st.floats(0.5, 0.999))
def test_limits_are_quantiles_of_the_beta_distribution(counted: tuple[int, int], confidence: float) -> None:
    """Clopper and Pearson's limits written with the beta distribution (Johnson, Kotz and Kemp, from memory)."""
    count, of = counted
    high = 1.0 if count == of else beta.ppf(confidence, count + 1, of - count)
    low = 0.0 if count == 0 else beta.ppf(1 - confidence, count, of - count + 1)

    assert upper(count, of, confidence) == pytest.approx(high, abs=1e-9)
    assert lower(count, of, confidence) == pytest.approx(low, abs=1e-9)


def test_none_of_a_thousand_is_less_than_three_in_a_thousand() -> None:
    """The rule of three: with none in n, the 95 % limit is close to 3/n (common practice); exactly 1 - 0.05^(1/n)."""
    assert upper(0, 1000) == pytest.approx(1 - 0.05**1e-3)
    assert 0.0029 < upper(0, 1000) < 0.003


@pytest.mark.parametrize(("count", "of", "confidence"), [(-1, 5, 0.95), (6, 5, 0.95), (0, 0, 0.95), (1, 5, 1.0)])
def test_what_is_no_proportion_is_refused(count: int, of: int, confidence: float) -> None:
    """A count outside its whole, of nothing, or a certainty is no question."""
    with pytest.raises(ValueError, match="is no proportion"):
        upper(count, of, confidence)
