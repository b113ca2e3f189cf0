"""What counting tells of a share, against SciPy's distributions and a published example."""

import math

import numpy as np
import pytest
from scipy import stats

from benchtest.depot.shares import own_shares, proportion, updated
from benchtest.faults.catalogue import written
from benchtest.faults.shares import ESTIMATED, HANDBOOK, TAKES_OVER


@pytest.mark.parametrize(("count", "of"), [(0, 1), (1, 1), (0, 30), (3, 30), (30, 30), (17, 40), (12_345, 100_000)])
def test_limits_of_a_rate_are_the_exact_ones(count: int, of: int) -> None:
    """Clopper and Pearson, as SciPy's binomial test has them."""
    found = proportion(count, of)
    outside = stats.binomtest(count, of).proportion_ci(0.95, method="exact")
    assert (outside.low, outside.high) == pytest.approx((found.low, found.high), abs=1e-9)
    assert count / of == found.mean


def test_no_rate_comes_of_nothing() -> None:
    """None of none is no rate of nought."""
    with pytest.raises(ValueError, match="0 in 0"):
        proportion(0, 0)


def test_a_poll_of_three_answers() -> None:
    """Gelman et al., Bayesian Data Analysis, 3rd ed., 3.4 (from memory): 727, 583, 137 on Dirichlet(1, 1, 1)."""
    answers = {"one": 727, "other": 583, "none": 137}
    found = updated(dict.fromkeys(answers, 1 / 3), answers, weight=3)
    alphas = np.array([728, 584, 138])
    assert alphas / alphas.sum() == pytest.approx([share.mean for share in found.values()])
    for alpha, share in zip(alphas, found.values(), strict=True):
        beta = stats.beta(alpha, alphas.sum() - alpha)
        assert beta.ppf([0.025, 0.975]) == pytest.approx([share.low, share.high])


def test_own_repairs_take_over_the_handbook() -> None:
    """After as many repairs as the handbook weighs, a share is the mean of both; after many it is the own one.

    Relay: fails to trip 55 %, spurious trip 26 %, short 19 % (MIL-HDBK-338B, Table 7.6-1, in public copies).
    """
    shares = {one.mode: one for one in own_shares({"K3 contact welded": TAKES_OVER})}
    assert pytest.approx((0.19 + 1) / 2) == shares["short"].share.mean
    assert pytest.approx(0.55 / 2) == shares["fails to trip"].share.mean
    many = {one.mode: one.share.mean for one in own_shares({"K3 contact welded": 30_000, "K4 coil open": 10_000})}
    assert {"short": 0.75, "fails to trip": 0.25, "spurious trip": 0.0} == pytest.approx(many, abs=1e-3)


def test_shares_of_a_part_are_a_whole() -> None:
    """Of every part that is repaired, handbook and now: together 1."""
    faults = ["K3 contact welded", "X4 outputs bridged", "D2 lamp dark", "F1 input open", "processor does not start"]
    rows = own_shares(dict.fromkeys(faults, 2))
    for part in {row.part for row in rows}:
        some = [row for row in rows if row.part == part]
        assert 1 == pytest.approx(math.fsum(row.share.mean for row in some)) == math.fsum(row.handbook for row in some)
        assert set(HANDBOOK[part]) | set(ESTIMATED.get(part, {})) == {row.mode for row in some}


@pytest.mark.parametrize(
    ("text", "subject", "kind"),
    [
        ("K3 contact welded", "K3", "contact welded"),
        (" K3  Contact  WELDED ", "K3", "contact welded"),
        ("K3/K4 outputs bridged", "K3/K4", "outputs bridged"),
        ("K7 driver shorted", "K7", "driver shorted"),
        ("X1 shorted", "X1", "shorted"),
        ("two-bay fitted instead", "two-bay", "fitted instead"),
    ],
)
def test_a_fault_is_read_whatever_board_it_is_of(text: str, subject: str, kind: str) -> None:
    """The part as it was typed, the kind as it is written."""
    fault = written(text)
    assert (subject, kind, f"{subject} {kind}") == (fault.subject, fault.kind, fault.text)


def test_a_fault_that_is_none_names_the_nearest() -> None:
    """A typing mistake does not become a fault of its own."""
    with pytest.raises(ValueError, match="nearest: 'K3 contact welded'"):
        written("K3 contact weldet")
    with pytest.raises(ValueError, match="unknown fault 'broken'"):
        written("broken")
