"""Limits hold what they state: ten thousand simulated studies, counted; exact ones within binomial error."""

import numpy as np
import pytest
from scipy import special

from benchtest.metrology.tolerance_limits import one_sided
from benchtest.studies.simulated_coverage import LINES, Line, count_line

QUICK = [line for line in LINES if line.exact and not line.name.startswith(("Cp, ", "tolerance limits by ranks, 200"))]
SLOW = [line for line in LINES if line.name.startswith(("variance of the gauge", "variance of the boards", "Cp, "))]


@pytest.mark.parametrize("line", QUICK, ids=lambda line: line.name)
def test_exact_limits_hold_the_truth_as_often_as_they_state(line: Line) -> None:
    """Of 10 000 draws, within what counting allows (99 %)."""
    found = count_line(line, 10_000, np.random.default_rng(1))
    assert found.agrees, f"{found.held} of {found.draws} for {found.stated:.4f}"


@pytest.mark.parametrize("line", SLOW, ids=lambda line: line.name)
def test_other_limits_never_hold_it_much_less_often(line: Line) -> None:
    """Of 500 draws; the command `benchtest study coverage` makes 10 000."""
    found = count_line(line, 500, np.random.default_rng(1))
    assert found.high >= found.stated


def test_a_wrong_factor_would_be_seen() -> None:
    """Two-sided limits with the factor for one side hold the truth too seldom, and that shows."""

    def trial(chance: np.random.Generator, draws: int) -> tuple[int, float]:
        samples = chance.standard_normal((draws, 10))
        mean, deviation = samples.mean(axis=1), samples.std(axis=1, ddof=1)
        k = one_sided(10, 9, coverage=0.95, confidence=0.95)
        inside = special.ndtr(mean + k * deviation) - special.ndtr(mean - k * deviation)
        return int(np.count_nonzero(inside >= 0.95)), 0.95

    assert not count_line(Line(name="wrong", exact=True, trial=trial), 10_000, np.random.default_rng(1)).agrees
