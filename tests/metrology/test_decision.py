"""From value and uncertainty to a word."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.metrology.conformity import specific_risk
from benchtest.metrology.decision import Rule, decide, inside

whole = st.integers(-1000, 1000)


@pytest.mark.parametrize("value", [None, math.nan])
def test_nothing_read_is_not_tested(value: float | None) -> None:
    """No value, or one that is not a number, decides nothing, whatever the limits."""
    assert decide(value, 0.0, low=None, high=None) == "not tested"


@pytest.mark.parametrize("uncertainty", [math.nan, math.inf, -0.1])
def test_an_unknown_uncertainty_is_not_tested(uncertainty: float) -> None:
    """A value in the middle of its limits does not pass on an unknown uncertainty."""
    assert decide(5.0, uncertainty, low=0.0, high=10.0) == "not tested"
    assert decide(5.0, uncertainty, low=0.0, high=10.0, guard=0.0) == "not tested"


@pytest.mark.parametrize(("low", "high"), [(math.nan, 10.0), (0.0, math.nan)])
def test_a_limit_that_is_not_a_number_is_not_tested(low: float, high: float) -> None:
    """Nothing passes against an unknown limit."""
    assert decide(5.0, 0.1, low=low, high=high) == "not tested"


@pytest.mark.parametrize(
    ("value", "low", "high", "word"),
    [(math.inf, 500.0, None, "pass"), (math.inf, None, 1.0, "fail"), (-math.inf, 0.0, None, "fail")],
)
def test_over_range_is_decided(value: float, low: float | None, high: float | None, word: str) -> None:
    """An open circuit is above a lower limit and beyond an upper one."""
    assert decide(value, 0.0, low=low, high=high) == word


@pytest.mark.parametrize("rule", ["simple acceptance", "guarded acceptance", "non-binary", "guarded rejection"])
@given(st.integers(0, 600_000), st.integers(1, 20_000), st.integers(0, 50))
def test_a_time_that_is_the_limit_is_permitted_wherever_it_lies(rule: Rule, begin: int, length: int, band: int) -> None:
    """A time of whole samples is a difference of two moments: its last bits neither pass nor fail it.

    The limit itself is permitted, and what lies inside by the guard band itself passes (ILAC-G8:09/2019, 4.2: passed up
    to the acceptance limit; from memory). 7.1 ms at 10 kHz once failed a limit of 7.1 ms. Fractions are the judge.
    """
    seconds = (begin + length) / 10_000 - begin / 10_000
    limit, uncertainty = (float(Fraction(whole, 10_000)) for whole in (length + band, band))
    assert decide(seconds, uncertainty, low=None, high=limit, rule=rule) == "pass"
    assert decide(seconds, 0.0, low=float(Fraction(length, 10_000)), high=None, rule=rule) == "pass"
    assert inside(seconds, low=None, high=float(Fraction(length, 10_000)))


def test_what_is_outside_by_more_than_last_bits_is_outside() -> None:
    """A millionth beyond a limit is beyond it."""
    assert decide(7.100_007, 0.0, low=None, high=7.1) == "fail"
    assert not inside(-7.100_007, low=-7.1, high=None)
    assert not inside(math.nan, low=None, high=None)


def test_limits_closer_than_the_guard_bands_never_pass() -> None:
    """When 2·w is wider than the tolerance, the best that can be had is a conditional pass."""
    words = {decide(value / 100, 0.6, low=0.0, high=1.0) for value in range(-200, 300)}
    assert words == {"fail", "conditional fail", "conditional pass"}


@pytest.mark.parametrize(("guard", "low", "high"), [(-1.0, 0.0, 1.0), (math.nan, 0.0, 1.0), (1.0, 2.0, 1.0)])
def test_nonsense_is_refused(guard: float, low: float, high: float) -> None:
    """A negative guard would pass what lies outside; limits in the wrong order permit nothing."""
    with pytest.raises(ValueError, match=r"guard|above"):
        decide(0.5, 0.1, low=low, high=high, guard=guard)


@given(whole, st.integers(0, 50), st.tuples(whole, whole).map(sorted), st.sampled_from([0, 1, 2]))
def test_words_are_those_of_exact_arithmetic(value: int, uncertainty: int, limits: list[int], guard: int) -> None:
    """On whole numbers the word is the one that fractions give."""
    low, high = limits
    band = Fraction(guard * uncertainty)
    inside = low <= value <= high
    reach = min(abs(value - low), abs(value - high))
    if inside:
        expected = "pass" if reach >= band else "conditional pass"
    else:
        expected = "fail" if reach > band else "conditional fail"
    assert decide(float(value), float(uncertainty), low=low, high=high, guard=guard) == expected


@given(
    whole, st.integers(0, 50), st.tuples(whole, whole).map(sorted), st.sampled_from([2.0**n for n in range(-20, 21)])
)
def test_the_unit_does_not_matter(value: int, uncertainty: int, limits: list[int], factor: float) -> None:
    """Volts or millivolts: scaling everything leaves the word alone."""
    low, high = limits
    plain = decide(value, uncertainty, low=low, high=high)
    assert plain == decide(value * factor, uncertainty * factor, low=low * factor, high=high * factor)


RULES: tuple[Rule, ...] = ("simple acceptance", "guarded acceptance", "non-binary", "guarded rejection")


@given(whole, st.integers(0, 50), st.tuples(whole, whole).map(sorted))
def test_the_rules_agree_where_there_is_no_guard_band(value: int, uncertainty: int, limits: list[int]) -> None:
    """With w = 0 all of them are one."""
    low, high = limits
    words = {decide(value, uncertainty, low=low, high=high, guard=0.0, rule=rule) for rule in RULES}
    assert 1 == len(words)
    assert words <= {"pass", "fail"}


@given(whole, st.integers(1, 50), st.tuples(whole, whole).map(sorted), st.sampled_from([0.5, 1.0, 2.0]))
def test_a_stricter_rule_never_passes_more(value: int, uncertainty: int, limits: list[int], guard: float) -> None:
    """Guarded acceptance passes what the non-binary statement passes, simple acceptance all that lies inside.

    Guarded rejection fails what the non-binary statement fails, and nothing else.
    """
    low, high = limits
    simple, guarded, full, lenient = (
        decide(value, uncertainty, low=low, high=high, guard=guard, rule=rule) for rule in RULES
    )
    assert lenient == ("fail" if full == "fail" else "pass")
    assert (guarded == "pass") == (full == "pass")
    assert simple == ("pass" if low <= value <= high else "fail")
    assert guarded in {"pass", "fail"}


@pytest.mark.parametrize("rule", RULES)
@given(st.sampled_from(["value", "uncertainty", "low", "high"]), st.floats(-1e3, 1e3))
def test_what_is_not_a_number_passes_under_no_rule(rule: Rule, spoiled: str, value: float) -> None:
    """NaN in value, uncertainty or limit is not tested, and nothing is said of its risk where that is unknown."""
    facts = {"value": value, "uncertainty": 1.0, "low": -1e4, "high": 1e4} | {spoiled: math.nan}
    word = decide(facts["value"], facts["uncertainty"], low=facts["low"], high=facts["high"], rule=rule)
    assert word == "not tested"
    if spoiled in {"value", "uncertainty"}:
        risk = specific_risk(word, facts["value"], facts["uncertainty"], low=facts["low"], high=facts["high"])
        assert risk is None
