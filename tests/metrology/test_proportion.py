"""Exact binomial limits, against what defines them and against what can be said in closed form."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.metrology.proportion import lower, upper


def at_most(count: int, of: int, share: float) -> float:
    """Probability of at most `count` in `of`, in whole numbers to the end."""
    exact = Fraction(share)
    return float(
        sum(math.comb(of, number) * exact**number * (1 - exact) ** (of - number) for number in range(count + 1))
    )


@given(st.integers(1, 60).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))), st.floats(0.5, 0.999))
def test_at_a_limit_a_count_as_extreme_has_just_the_probability_that_is_given_up(
    counted: tuple[int, int], confidence: float
) -> None:
    """Clopper and Pearson (1934), by exact sums of the binomial distribution."""
    count, of = counted
    high, low = upper(count, of, confidence), lower(count, of, confidence)

    assert (count == of) == (high == 1.0)
    assert (count == 0) == (low == 0.0)
    if count < of:
        assert at_most(count, of, high) == pytest.approx(1 - confidence, rel=1e-9)
    if count > 0:
        assert 1 - at_most(count - 1, of, low) == pytest.approx(1 - confidence, rel=1e-6)


def test_none_of_a_thousand_is_less_than_three_in_a_thousand() -> None:
    """The rule of three: with none in n, the 95 % limit is close to 3/n (common practice); exactly 1 - 0.05^(1/n)."""
    assert upper(0, 1000) == pytest.approx(1 - 0.05**1e-3)
    assert 0.0029 < upper(0, 1000) < 0.003


@pytest.mark.parametrize(("count", "of", "confidence"), [(-1, 5, 0.95), (6, 5, 0.95), (0, 0, 0.95), (1, 5, 1.0)])
def test_what_is_no_proportion_is_refused(count: int, of: int, confidence: float) -> None:
    """A count outside its whole, of nothing, or a certainty is no question."""
    with pytest.raises(ValueError, match="is no proportion"):
        upper(count, of, confidence)
