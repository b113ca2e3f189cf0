"""Published examples of conformity: JCGM 106:2012 and ILAC-G8:09/2019.

The examples' existence was read in a contents list, their inputs are from memory; the ball bearings and the risk
tables were read in public copies (an uncertainty calculator of a national laboratory, citing 9.5.4 and a draft of
NCSLI RP-19).
"""

import math

import pytest
from scipy import integrate, stats

from benchtest.metrology.conformity import conformity, nonconformity, specific_risk
from benchtest.metrology.coverage import below, factor
from benchtest.metrology.decision import decide
from benchtest.metrology.risk import Gamma, Normal, global_risk
from tests.published.tables import rows


@pytest.mark.parametrize("case", rows("conformity_cases"), ids=lambda case: case["id"])
def test_probability_of_conformity(case: dict[str, str]) -> None:
    """JCGM 106:2012, 7.3.3 (0.92 and 0.96) and 7.4 (0.66), and ILAC-G8 table 1: to nine digits."""
    low, high = (float(case[key]) if case[key] else None for key in ("T_L", "T_U"))
    found = conformity(float(case["y"]), float(case["u"]), low=low, high=high)
    assert float(case["conformance_probability"]) == pytest.approx(found, abs=1e-9)


def test_small_risks_keep_their_digits() -> None:
    """ILAC-G8:09/2019, table 1: w = 3·U leaves 9.9e-10, which 1 - p_c would have lost half of."""
    assert 9.8659e-10 == pytest.approx(nonconformity(7.0, 0.5, low=None, high=10.0), rel=1e-4)


@pytest.mark.parametrize("freedom", [1.0, 4.0, 19.0, math.inf])
def test_a_pass_by_the_guard_band_risks_the_same_whatever_the_degrees_of_freedom(freedom: float) -> None:
    """A reading inside by U = k·u carries 2.275 %, for k from Student's t with the same degrees of freedom."""
    edge = 10.0 - factor(freedom, 2.0) * 0.5
    assert 0.02275 == pytest.approx(nonconformity(edge, 0.5, low=None, high=10.0, freedom=freedom), abs=1e-6)


def test_guarded_rejection_of_a_speed() -> None:
    """JCGM 106:2012, 8.3.3: at 100 km/h, u 2 % of the speed, 99.9 % sure that it was exceeded: about 107 km/h."""
    assert 0.999 == pytest.approx(below(3.0902), abs=1e-5)
    limit = 100 / (1 - 3.0902 * 0.02)
    assert 107 == round(limit)
    assert 106.588 == pytest.approx(limit, abs=0.001)
    assert 0.001 == pytest.approx(conformity(limit, 0.02 * limit, low=None, high=100.0), abs=1e-6)
    for speed, word in ((106.58, "pass"), (106.60, "fail")):
        assert word == decide(speed, 0.02 * speed, low=None, high=100.0, guard=3.0902, rule="guarded rejection")


@pytest.mark.parametrize(("multiple", "risk"), [(1.5, 0.00135), (1.0, 0.02275), (0.83, 0.0485), (0.0, 0.5)])
def test_risk_of_a_result_on_the_acceptance_limit(multiple: float, risk: float) -> None:
    """ILAC-G8:09/2019, Table 1 (from memory): w = r·U with U = 2u accepts falsely at most this often."""
    limit, standard = 10.0, 0.5
    edge = limit - multiple * 2 * standard
    said = specific_risk("pass", edge, standard, low=None, high=limit)
    assert said is not None
    assert said.consumer == pytest.approx(risk, rel=0.001)
    assert said.producer is None
    assert decide(edge, 2 * standard, low=None, high=limit, guard=multiple) == "pass"
    assert decide(edge + 0.001, 2 * standard, low=None, high=limit, guard=multiple) != "pass"


WORDS = [
    (8.9, "pass", "pass", "pass"),
    (9.0, "pass", "pass", "pass"),  # on the acceptance limit
    (9.1, "conditional pass", "fail", "pass"),
    (10.0, "conditional pass", "fail", "pass"),  # on the tolerance limit, which is permitted
    (10.1, "conditional fail", "fail", "fail"),
    (11.0, "conditional fail", "fail", "fail"),
    (11.1, "fail", "fail", "fail"),
]


@pytest.mark.parametrize(("value", "full", "guarded", "simple"), WORDS)
def test_words_of_the_three_statements(value: float, full: str, guarded: str, simple: str) -> None:
    """ILAC-G8:09/2019, 4.2: upper limit 10, w = U = 1 (words read in a public copy); mirrored for a lower limit."""
    for y, low, high in ((value, None, 10.0), (-value, -10.0, None)):
        assert full == decide(y, 1.0, low=low, high=high)
        assert guarded == decide(y, 1.0, low=low, high=high, rule="guarded acceptance")
        assert simple == decide(y, 1.0, low=low, high=high, rule="simple acceptance")


# ---------------------------------------------------------------- global risks

BEARINGS = Gamma(mean=1.0, deviation=0.5)


def test_ball_bearings() -> None:
    """JCGM 106:2012, 9.5.4: 4.2 % do not conform; without guard band 0.8 % of all are accepted falsely."""
    open_limit = global_risk(BEARINGS, 0.25, low=None, high=2.0)
    assert 0.042380 == pytest.approx(open_limit.nonconforming, abs=5e-7)
    assert 0.0080191 == pytest.approx(open_limit.consumer, abs=5e-8)
    assert 0.017445 == pytest.approx(open_limit.producer, abs=5e-7)


def test_ball_bearings_with_a_guard_band() -> None:
    """JCGM 106:2012, 9.5.4: accepting up to 1.67 µm makes the consumer's risk 0.1 %, the producer's 7.5 %."""
    guarded = global_risk(BEARINGS, 0.25, low=None, high=2.0, band=2.0 - 1.67183)
    assert 0.001 == pytest.approx(guarded.consumer, abs=1e-7)
    assert 0.07549 == pytest.approx(guarded.producer, abs=5e-6)


@pytest.mark.parametrize(
    ("band", "consumer", "producer"), [(0.0, 0.01894, 0.03721), (0.04, 0.00433, 0.1147), (0.08, 0.000469, 0.2477)]
)
def test_a_normal_process_between_two_limits(band: float, consumer: float, producer: float) -> None:
    """Process σ 0.12, limits ±0.2, u 0.04 (C_m = 2.5): figures computed apart with SciPy's quadrature."""
    risk = global_risk(Normal(mean=0.0, deviation=0.12), 0.04, low=-0.2, high=0.2, band=band)
    assert 0.09558 == pytest.approx(risk.nonconforming, abs=5e-6)
    assert consumer == pytest.approx(risk.consumer, rel=2e-3)
    assert producer == pytest.approx(risk.producer, rel=5e-4)


@pytest.mark.parametrize(
    ("in_tolerance", "falsely", "given"),
    [
        (0.60, 4.83860, 8.26008),
        (0.70, 3.92234, 5.72322),
        (0.80, 2.85583, 3.63227),
        (0.90, 1.59995, 1.79880),
        (0.95, 0.87101, 0.92390),
        (0.99, 0.19992, 0.20244),
    ],
)
def test_false_accepts_at_a_test_ratio_of_four(in_tolerance: float, falsely: float, given: float) -> None:
    """Limits ±1, σ = 4·u, in percent: as a public test suite quotes a draft of NCSLI RP-19."""
    sigma = 1 / stats.norm.ppf((1 + in_tolerance) / 2)
    risk = global_risk(Normal(mean=0.0, deviation=sigma), sigma / 4, low=-1.0, high=1.0)
    assert falsely == pytest.approx(100 * risk.consumer, abs=1e-5)
    assert given == pytest.approx(100 * risk.nonconforming_accepted, abs=1e-5)


def test_global_risk_is_what_adaptive_quadrature_says() -> None:
    """SciPy's dblquad over true value and reading, a lower limit alone and an off-centre process."""
    risk = global_risk(Normal(mean=5.2, deviation=0.3), 0.1, low=4.9, high=None, band=0.05)
    density = stats.norm(5.2, 0.3).pdf
    consumer, _ = integrate.quad(lambda t: density(t) * stats.norm.sf(4.95, t, 0.1), 2.0, 4.9, epsabs=1e-13)
    producer, _ = integrate.quad(lambda t: density(t) * stats.norm.cdf(4.95, t, 0.1), 4.9, 8.0, epsabs=1e-13, limit=200)
    assert consumer == pytest.approx(risk.consumer, abs=1e-11)
    assert producer == pytest.approx(risk.producer, abs=1e-11)
    assert 1.0 == pytest.approx(risk.accepted + risk.producer + (risk.nonconforming - risk.consumer), abs=1e-11)


@pytest.mark.parametrize("standard", [0.0, math.nan, -1.0])
def test_a_global_risk_needs_an_uncertainty(standard: float) -> None:
    """Without one there is nothing to risk, and guard bands that meet accept nothing."""
    with pytest.raises(ValueError, match="standard uncertainty"):
        global_risk(Normal(mean=0.0, deviation=1.0), standard, low=-1.0, high=1.0)
    with pytest.raises(ValueError, match="nothing is left"):
        global_risk(Normal(mean=0.0, deviation=1.0), 0.1, low=-1.0, high=1.0, band=1.5)
    with pytest.raises(ValueError, match="gamma prior"):
        Gamma(mean=1.0, deviation=2.0)
