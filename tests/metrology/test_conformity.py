"""Properties of the probability of conformity and of the risks, for any reading."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.metrology.conformity import conformity, nonconformity, specific_risk
from benchtest.metrology.coverage import factor
from benchtest.metrology.decision import Word, decide
from benchtest.metrology.risk import Normal, global_risk

values = st.floats(-100, 100)
standards = st.floats(1e-3, 50)
freedoms = st.one_of(st.just(math.inf), st.integers(1, 100).map(float))


@given(values, standards, freedoms, st.tuples(values, values).map(sorted))
def test_it_conforms_or_it_does_not(y: float, u: float, freedom: float, limits: list[float]) -> None:
    """Both probabilities lie between 0 and 1 and make one; a wider tolerance never conforms less."""
    low, high = limits
    inside = conformity(y, u, low=low, high=high, freedom=freedom)
    outside = nonconformity(y, u, low=low, high=high, freedom=freedom)
    assert 0 <= inside <= 1
    assert 0 <= outside <= 1
    assert inside + outside == pytest.approx(1.0)
    assert conformity(y, u, low=low, high=None, freedom=freedom) >= inside - 1e-12


@given(values, standards, freedoms, values, st.sampled_from([1e-6, 1e3, 1024.0]))
def test_the_unit_does_not_matter(y: float, u: float, freedom: float, limit: float, scale: float) -> None:
    """Volts or millivolts: the probability is the same."""
    plain = conformity(y, u, low=None, high=limit, freedom=freedom)
    assert plain == pytest.approx(conformity(y * scale, u * scale, low=None, high=limit * scale, freedom=freedom))


@given(values, standards, freedoms, values)
def test_a_pass_under_w_of_one_u_risks_no_more_than_it_says(y: float, u: float, freedom: float, limit: float) -> None:
    """Whatever is passed with w = U carries at most 2.275 %, whatever the degrees of freedom."""
    word = decide(y, factor(freedom) * u, low=None, high=limit)
    risk = specific_risk(word, y, u, low=None, high=limit, freedom=freedom)
    assert risk is not None
    if word == "pass":
        assert risk.consumer is not None
        assert risk.consumer <= 0.0227502
    if word == "fail":
        assert risk.producer is not None
        assert risk.producer <= 0.0227502


@pytest.mark.parametrize("word", ["pass", "conditional pass", "conditional fail", "fail", "not tested"])
@pytest.mark.parametrize(("y", "u"), [(math.nan, 1.0), (1.0, math.nan), (math.inf, 1.0), (1.0, math.inf), (1.0, 0.0)])
def test_nothing_is_said_of_what_is_not_known(word: Word, y: float, u: float) -> None:
    """Not a number, over range, or without uncertainty: no risk is stated."""
    assert specific_risk(word, y, u, low=0.0, high=2.0) is None


@pytest.mark.parametrize(("low", "high", "freedom"), [(math.nan, 2.0, 9.0), (0.0, math.nan, 9.0), (0.0, 2.0, math.nan)])
def test_an_unknown_limit_or_freedom_is_no_certain_failure(low: float, high: float, freedom: float) -> None:
    """What is not a number stays unknown, where it once was a probability of 0 that the item conforms."""
    assert math.isnan(nonconformity(1.0, 0.5, low=low, high=high, freedom=freedom))
    assert specific_risk("not tested", 1.0, 0.5, low=low, high=high, freedom=freedom) is None


def test_without_uncertainty_it_is_certain() -> None:
    """The limits themselves are permitted."""
    assert [1.0, 1.0, 0.0] == [conformity(y, 0.0, low=None, high=2.0) for y in (1.0, 2.0, 2.1)]


@given(st.floats(0.01, 0.2), st.floats(0.0, 0.15))
def test_a_guard_band_moves_risk_from_consumer_to_producer(u: float, band: float) -> None:
    """A wider guard band never makes the consumer's risk larger nor the producer's smaller."""
    prior = Normal(mean=0.0, deviation=0.12)
    without, guarded = (global_risk(prior, u, low=-0.2, high=0.2, band=w) for w in (0.0, band))
    assert guarded.consumer <= without.consumer + 1e-12
    assert guarded.producer >= without.producer - 1e-12
    assert guarded.nonconforming == pytest.approx(without.nonconforming)
