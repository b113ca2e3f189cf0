"""Published examples of conformity: JCGM 106:2012 and ILAC-G8:09/2019."""

import pytest

from benchtest.metrology.decision import conformity, decide


@pytest.mark.parametrize(
    ("value", "standard", "low", "high", "probability"),
    [
        (-5.47, 0.05, None, -5.40, 0.92),  # 7.3.3, example 1: breakdown voltage
        (507.5, 10.0, 490.0, None, 0.96),  # 7.3.3, example 2: burst strength
        (13.6, 1.8, 12.5, 16.3, 0.66),  # 7.4: viscosity
    ],
)
def test_probability_of_conformity(
    value: float, standard: float, low: float | None, high: float | None, probability: float
) -> None:
    """JCGM 106:2012, 7.3.3 and 7.4 (inputs from memory; the examples' existence from a contents list)."""
    assert round(conformity(value, standard, low=low, high=high), 2) == probability


@pytest.mark.parametrize(("multiple", "risk"), [(1.5, 0.00135), (1.0, 0.02275), (0.83, 0.0485), (0.0, 0.5)])
def test_risk_of_a_result_on_the_acceptance_limit(multiple: float, risk: float) -> None:
    """ILAC-G8:09/2019, Table 1 (from memory): w = r·U with U = 2u accepts falsely at most this often."""
    limit, standard = 10.0, 0.5
    edge = limit - multiple * 2 * standard
    assert 1 - conformity(edge, standard, low=None, high=limit) == pytest.approx(risk, rel=0.001)
    assert decide(edge, 2 * standard, low=None, high=limit, guard=multiple) == "pass"
    assert decide(edge + 0.001, 2 * standard, low=None, high=limit, guard=multiple) != "pass"


@pytest.mark.parametrize(
    ("value", "word"),
    [
        (8.9, "pass"),
        (9.0, "pass"),  # on the acceptance limit
        (9.1, "conditional pass"),
        (10.0, "conditional pass"),  # on the tolerance limit, which is permitted
        (10.1, "conditional fail"),
        (11.0, "conditional fail"),
        (11.1, "fail"),
    ],
)
def test_words_of_a_non_binary_statement(value: float, word: str) -> None:
    """ILAC-G8:09/2019, 4.2.3: upper limit 10, w = U = 1 (read in a public copy); mirrored for a lower limit."""
    assert decide(value, 1.0, low=None, high=10.0, guard=1.0) == word
    assert decide(-value, 1.0, low=-10.0, high=None, guard=1.0) == word
