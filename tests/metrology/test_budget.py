"""Combination of terms: degrees of freedom, common influences, correlations, and when GTC is asked."""

import math
import subprocess
import sys
from dataclasses import replace

import GTC
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.metrology.budget import Budget, Correlation, Term, combine, effective_freedom, joined
from benchtest.metrology.coverage import below, factor, normal_factor, probability, whole


def term(influence: str, standard: float, *, freedom: float = math.inf, sensitivity: float = 1.0) -> Term:
    """Return a term of the usual kind."""
    return Term(
        name=influence,
        influence=influence,
        standard=standard,
        unit="V",
        distribution="normal",
        freedom=freedom,
        sensitivity=sensitivity,
    )


sizes = st.floats(1e-6, 1e3)
freedoms = st.one_of(st.just(math.inf), st.integers(1, 60).map(float))
terms = st.lists(
    st.tuples(sizes, freedoms, st.floats(-1e3, 1e3).filter(lambda s: abs(s) > 1e-6)), min_size=1, max_size=6
)


@given(terms)
def test_independent_terms_combine_as_gtc_says(parts: list[tuple[float, float, float]]) -> None:
    """Standard uncertainty and effective degrees of freedom of independent inputs are those of GTC."""
    ours = combine(Budget(terms=tuple(term(str(i), u, freedom=f, sensitivity=s) for i, (u, f, s) in enumerate(parts))))
    theirs = sum((s * GTC.ureal(0.0, u, f) for u, f, s in parts), start=GTC.ureal(0.0, 1e-300))
    assert math.isclose(ours.standard, theirs.u, rel_tol=1e-12)
    assert math.isclose(ours.freedom, theirs.df, rel_tol=1e-9)


@given(terms, st.floats(-1e3, 1e3).filter(lambda s: abs(s) > 1e-6))
def test_terms_of_one_influence_are_one_quantity(parts: list[tuple[float, float, float]], again: float) -> None:
    """The effects of one input add with their signs before anything is squared."""
    first, *others = [term(str(i), u, freedom=f, sensitivity=s) for i, (u, f, s) in enumerate(parts)]
    twice = combine(Budget(terms=(first, *others, replace(first, sensitivity=again))))
    once = combine(Budget(terms=(replace(first, sensitivity=first.sensitivity + again), *others)))
    assert math.isclose(twice.standard, once.standard, rel_tol=1e-9, abs_tol=1e-9)


def test_a_quantity_minus_itself_is_certain() -> None:
    """What is subtracted from itself has no uncertainty, and no factor makes one of it."""
    zero = combine(Budget(terms=(term("a", 0.1, freedom=5), term("a", 0.1, freedom=5, sensitivity=-1.0))))
    assert (0.0, math.inf) == (zero.standard, zero.freedom)
    assert 0.0 == zero.expanded(2.0)[0]


def test_terms_that_contradict_one_another_are_refused() -> None:
    """One influence cannot have two uncertainties, and a correlation needs both its terms."""
    with pytest.raises(ValueError, match="terms disagree about 'a'"):
        combine(Budget(terms=(term("a", 0.1), term("a", 0.2))))
    with pytest.raises(ValueError, match="'b' is correlated but no term"):
        combine(Budget(terms=(term("a", 0.1),), correlations=(Correlation(one="a", other="b", coefficient=0.5),)))
    pair = (term("a", 0.1, freedom=4), term("b", 0.1, freedom=5))
    with pytest.raises(ValueError, match="degrees of freedom"):
        combine(Budget(terms=pair, correlations=(Correlation(one="a", other="b", coefficient=0.5),)))
    with pytest.raises(ValueError, match="not a correlation coefficient"):
        Correlation(one="a", other="b", coefficient=1.5)
    with pytest.raises(ValueError, match="below zero"):
        term("a", -0.1)


def test_a_correlation_counts_with_its_sign() -> None:
    """u² = 3² + 4² + 2·r·3·4 (JCGM 100:2008, 5.2.2), one way and the other."""
    for r, variance in ((0.5, 37.0), (-0.5, 13.0), (1.0, 49.0)):
        pair = Correlation(one="a", other="b", coefficient=r)
        budget = Budget(terms=(term("a", 3.0), term("b", 4.0)), correlations=(pair,))
        assert math.isclose(combine(budget).standard, math.sqrt(variance))
        assert math.isclose(combine(joined(budget, Budget(terms=(term("c", 1.0),)))).standard, math.sqrt(variance + 1))


def test_gtc_is_loaded_only_where_inputs_are_not_independent() -> None:
    """A budget of independent terms, with any degrees of freedom, loads neither GTC nor SciPy nor NumPy."""
    code = """
import sys
from benchtest.metrology.uncertainty import *
from benchtest.metrology.uncertainty import difference
from benchtest.metrology.budget import combine
volts = Quality(channel="a", unit="V", plus=0.003, step=0.001)
combine(reading(24.0, volts, Scatter(standard=1e-3, freedom=4))).expanded(2.0)
print({"GTC", "scipy", "numpy"} & set(sys.modules))
shared = Quality(channel="a", unit="V", plus=0.003, step=0.001, shared=0.5, instrument="daq")
combine(difference(reading(24.0, shared), reading(23.0, shared), repeat=NO_SCATTER, unit="V"))
print("GTC" in sys.modules)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ["set()", "True"] == done.stdout.split("\n")[:2]


@given(terms, sizes, freedoms)
def test_every_term_makes_the_uncertainty_larger(
    parts: list[tuple[float, float, float]], more: float, freedom: float
) -> None:
    """One more independent term never makes u smaller; nor, with infinite degrees of freedom, U."""
    budget = Budget(terms=tuple(term(str(i), u, freedom=f, sensitivity=s) for i, (u, f, s) in enumerate(parts)))
    wider = joined(budget, Budget(terms=(term("more", more, freedom=freedom),)))
    assert combine(wider).standard >= combine(budget).standard
    endless = [Budget(terms=tuple(replace(t, freedom=math.inf) for t in one.terms)) for one in (budget, wider)]
    before, after = (combine(one).expanded(2.0)[0] for one in endless)
    assert after >= before


@given(terms, st.sampled_from([1e-6, 1e-3, 1e3, 1024.0]))
def test_another_unit_scales_the_uncertainty(parts: list[tuple[float, float, float]], scale: float) -> None:
    """Volts or millivolts: U scales with the unit, degrees of freedom and k stay."""
    budget = Budget(terms=tuple(term(str(i), u, freedom=f, sensitivity=s) for i, (u, f, s) in enumerate(parts)))
    (wide, k), (scaled, same) = combine(budget).expanded(2.0), combine(budget.scaled(scale)).expanded(2.0)
    assert math.isclose(scaled, wide * scale, rel_tol=1e-9)
    assert math.isclose(k, same, rel_tol=1e-6)


def test_what_is_not_a_number_stays_so() -> None:
    """NaN in a standard uncertainty or in degrees of freedom makes U not a number, never a small one."""
    assert math.isnan(combine(Budget(terms=(term("a", math.nan), term("b", 1.0)))).expanded(2.0)[0])
    assert math.isnan(combine(Budget(terms=(term("a", 1.0, freedom=math.nan), term("b", 1.0)))).expanded(2.0)[0])
    assert math.isnan(combine(Budget(terms=(term("a", math.nan), term("a", math.nan)))).standard)
    assert math.isinf(combine(Budget(terms=(term("a", math.inf), term("b", 1.0)))).expanded(2.0)[0])


def test_a_lost_last_bit_costs_no_degree_of_freedom() -> None:
    """One term of five degrees of freedom has five, not 4.999…, whatever its size."""
    for size in (0.1, 1 / 3, 1e-9, 7e5):
        assert 5.0 == whole(effective_freedom(size, [(size, 5.0)]))
    assert [16.0, 16.0, math.inf] == [whole(f) for f in (16.0 - 1e-14, 16.99, math.inf)]


@given(st.integers(1, 2000), st.sampled_from([1.0, 1.96, 2.0, 3.0]))
def test_factors_are_those_of_gtc(freedom: int, coverage: float) -> None:
    """Student's t at every number of degrees of freedom, against GTC's coverage factor."""
    theirs = GTC.rp.k_factor(freedom, p=100 * probability(coverage))
    assert math.isclose(factor(float(freedom), coverage), theirs, rel_tol=1e-9)


def test_nothing_is_covered_below_one_degree_of_freedom() -> None:
    """Where nothing is known of the scatter no factor is large enough; NaN stays NaN."""
    assert math.isinf(factor(0.9))
    assert math.isnan(factor(math.nan))
    assert math.isnan(below(1.0, 0.5))
    assert 2.0 == factor(math.inf)


@given(st.floats(-40, 40), st.one_of(st.just(math.inf), st.integers(1, 3000).map(float)))
def test_the_distribution_is_symmetric_and_covers_what_its_factor_says(t: float, freedom: float) -> None:
    """P(T < t) + P(T < -t) = 1, and between ±k lies the stated probability."""
    assert math.isclose(below(t, freedom) + below(-t, freedom), 1.0, abs_tol=1e-12)
    k = factor(freedom, 2.0)
    assert math.isclose(below(k, freedom) - below(-k, freedom), probability(2.0), abs_tol=1e-9)


@pytest.mark.parametrize("share", [0.0, 1.0, -0.5, math.nan])
def test_a_probability_that_is_none_has_no_factor(share: float) -> None:
    """Nothing covers all, and nothing is no coverage."""
    with pytest.raises(ValueError, match="coverage probability"):
        normal_factor(share)
