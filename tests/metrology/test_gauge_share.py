"""Limits of the gauge's share: the F test where it decides alone, and what must not change them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from benchtest.metrology.gauge_share import critical, gauge_share
from benchtest.metrology.pivots import Numbers, pivots
from benchtest.metrology.variance_components import Analysis, by_pivots, crossed

SHAPES = st.sampled_from([(10, 3, 3), (5, 2, 2), (4, 1, 3)])


def study(shape: tuple[int, int, int], seed: int, *, boards: float = 3.0, pool_above: float = 0.25) -> Analysis:
    return crossed(readings(shape, seed, boards=boards), pool_above=pool_above)


def readings(shape: tuple[int, int, int], seed: int, *, boards: float) -> Numbers:
    """Return readings of boards that differ, by operators who differ, on a gauge that scatters."""
    chance = np.random.default_rng(seed)
    parts, operators, _ = shape
    return np.asarray(
        100
        + boards * chance.normal(size=(parts, 1, 1))
        + 0.7 * chance.normal(size=(1, operators, 1))
        + 0.4 * chance.normal(size=(parts, operators, 1))
        + chance.normal(size=shape),
        np.float64,
    )


@given(seed=st.integers(0, 2**32 - 1), boards=st.floats(0.1, 100))
@settings(max_examples=20, deadline=None)
def test_one_operator_has_the_limits_of_the_f_test(seed: int, boards: float) -> None:
    """SciPy: board variance over gauge from F over its quantiles (Montgomery, one random factor; from memory)."""
    made = study((8, 1, 3), seed, boards=boards)
    part, repeat = made.whole
    ratios = part.mean_square / repeat.mean_square / stats.f.ppf([0.975, 0.025], 7, 16)
    shares = 1 / np.sqrt(1 + np.maximum(0, (ratios - 1) / 3))[::-1]
    found = made.components.study

    assert min(found.value, shares[0]) == pytest.approx(found.low, rel=1e-9)
    assert max(found.value, shares[1]) == pytest.approx(found.high, rel=1e-9)


@pytest.mark.parametrize(("corner", "freedom"), [((-1, 0), 2), ((0, -1), 60), ((0, 0), 18)])
def test_a_ratio_made_up_of_one_source_is_an_f(corner: tuple[int, int], freedom: int) -> None:
    """SciPy: operators, repeats or the interaction alone; the Sobol sequence finds both quantiles to 2 %."""
    table = critical((9, 2, 60, 18), 0.95)

    assert np.exp([table.low[corner], table.high[corner]]) == pytest.approx(
        stats.f.ppf([0.025, 0.975], 9, freedom), rel=0.02
    )


@given(shape=SHAPES, seed=st.integers(0, 2**32 - 1), boards=st.floats(0, 30))
@settings(max_examples=20, deadline=None)
def test_limits_lie_about_the_estimate_and_keep_to_shares(
    shape: tuple[int, int, int], seed: int, boards: float
) -> None:
    """Between nothing and all; the categories follow from the share."""
    found = study(shape, seed, boards=boards).components

    assert 0 < found.study.low <= found.study.value <= found.study.high <= 1
    assert 0 <= found.categories.low <= found.categories.value <= found.categories.high
    assert found.categories.high == pytest.approx(1.41 * np.sqrt(1 / found.study.low**2 - 1))


@given(seed=st.integers(0, 2**32 - 1), unit=st.sampled_from([1e-6, 1e3]))
@settings(max_examples=10, deadline=None)
def test_neither_the_unit_nor_pooling_moves_the_limits(seed: int, unit: float) -> None:
    """Microseconds instead of seconds; the interaction pooled always, and never: the estimate lies within both."""
    made = readings((10, 3, 3), seed, boards=3.0)
    found, scaled, pooled, kept = (
        crossed(one, pool_above=above).components.study
        for one, above in ((made, 0.25), (unit * made, 0.25), (made, 0.0), (made, 1.0))
    )

    assert (found.low, found.high) == pytest.approx((scaled.low, scaled.high), rel=1e-9)
    assert (pooled.low, pooled.high) == pytest.approx((kept.low, kept.high), rel=1e-9)


def test_many_studies_at_once_have_the_limits_of_each() -> None:
    """Boards that differ more leave the gauge a smaller share."""
    freedoms = {"board": 9, "operator": 2, "interaction": 18, "repeat": 60}
    boards = np.array([1.0, 3.0, 10.0, 100.0])
    rest = {"operator": 12.0, "interaction": 1.5, "repeat": 1.0}
    low, high = gauge_share(
        {"board": boards, **{k: np.full(4, v) for k, v in rest.items()}}, freedoms, (10, 3, 3), 0.95
    )
    for one, *limits in zip(boards, low, high, strict=True):
        alone = gauge_share({k: np.array([v]) for k, v in {"board": one, **rest}.items()}, freedoms, (10, 3, 3), 0.95)
        assert limits == pytest.approx([float(limit[0]) for limit in alone])

    assert np.all(np.diff(low) <= 0)
    assert np.all(np.diff(high) <= 0)
    assert np.all(low < high)


def test_operators_who_do_not_differ_leave_the_gauge_its_limits() -> None:
    """Of 2000 studies by two operators, five boards, 94 %; raised to zero, a part of the sum would make it 85 %."""
    freedoms, true = (4, 1, 4, 10), 1.0
    chance = np.random.default_rng(5)
    squares = {
        name: mean_square * chance.chisquare(freedom, 2000)
        for name, mean_square, freedom in zip(
            ("board", "operator", "interaction", "repeat"), (30.0, true, true, true), freedoms, strict=True
        )
    }
    low, high = by_pivots(squares, pivots(freedoms, 10), (5, 2, 2), 0.95)["gauge"]

    assert np.mean((low <= true) & (true <= high)) > 0.92


def test_boards_and_operators_who_do_not_differ_at_all_leave_the_gauge_everything() -> None:
    """Mean squares of zero: share 1, no category, no warning."""
    made = np.tile([1.0, -1.0], (5, 2, 1))
    found = crossed(made).components

    assert (1.0, 1.0, 1.0) == pytest.approx((found.study.low, found.study.value, found.study.high))
    assert 0.0 == found.categories.value
