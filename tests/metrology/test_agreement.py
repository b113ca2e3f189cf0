"""Scores of agreement with earlier readings, judged by SciPy and by what they must be in simple cases."""

import math
from statistics import fmean, stdev

import numpy as np
import pytest
from scipy import stats

from benchtest.metrology.agreement import NEEDED, score


def test_with_no_spread_the_score_is_that_of_two_laboratories() -> None:
    """E_n = (x - X) / sqrt(U_x² + U_X²): 10.3 against 10.0, each ± 0.2 (ISO 13528:2022, 9.7, from memory)."""
    found = score(10.3, 0.2, [10.0, 10.0, 10.0], [0.2, 0.2, 0.2], of=1)

    assert found == pytest.approx(0.3 / math.sqrt(0.2**2 + 0.2**2))


def test_with_no_uncertainty_it_is_a_prediction_interval() -> None:
    """SciPy's t, 95 % for one more reading: t · s · sqrt(1 + 1/n)."""
    earlier = [22.1, 22.4, 22.2, 22.3, 22.0]
    half = stats.t.ppf(0.975, 4) * stdev(earlier) * math.sqrt(1 + 1 / 5)

    assert score(23.0, 0.0, earlier, [0.0] * 5, of=1) == pytest.approx((23.0 - fmean(earlier)) / half, rel=1e-9)


@pytest.mark.parametrize("count", [3, 5, 20])
def test_all_together_agree_with_the_stated_probability(count: int) -> None:
    """600 histories of 40 readings that only vary: in 95 % of them nothing disagrees (at 4 standard deviations)."""
    rng, trials, of = np.random.default_rng(3), 600, 40
    draws = rng.normal(size=(trials, of, count + 1))
    quiet = 0
    for trial in draws:
        scores = [score(float(x[-1]), 0.0, [float(v) for v in x[:-1]], [0.0] * count, of=of) for x in trial]
        quiet += all(abs(one) <= 1 for one in scores)

    assert abs(quiet / trials - 0.95) < 4 * math.sqrt(0.95 * 0.05 / trials)


def test_what_cannot_be_known_is_not_agreed_to() -> None:
    """Too few readings are refused; a reading that is no number has no score; a change of what never varied is told."""
    with pytest.raises(ValueError, match=f"expected {NEEDED}"):
        score(1.0, 0.1, [1.0, 1.0], [0.1, 0.1], of=1)
    assert math.isnan(score(math.nan, 0.1, [1.0] * 3, [0.1] * 3, of=1))
    assert math.inf == score(2.0, 0.0, [1.0] * 3, [0.0] * 3, of=1)
    assert 0.0 == score(1.0, 0.0, [1.0] * 3, [0.0] * 3, of=1)
