"""Published values of the studies: a gauge study, tolerance factors, chart rules and constants, StRD reference data.

Gauge study: AIAG, Measurement Systems Analysis, 4th edition, data and analysis of variance as quoted in a public test
suite; ranges by its constants K1, K2, K3. Tolerance factors: `tolerance_k_factors.csv`, exact factors computed
apart with SciPy and mpmath, some seen in textbook tables; NIST e-Handbook 7.2.6.3. Capability: NIST e-Handbook
6.1.6. StRD: public copies of NIST's files.
"""

import math
from collections.abc import Mapping

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.anova import anova_lm
from statsmodels.stats.diagnostic import normal_ad

from benchtest.metrology.capability import capability, percentiles
from benchtest.metrology.control_chart import RULES, RuleSet, lag_one
from benchtest.metrology.gauge_ranges import by_ranges
from benchtest.metrology.normality import normality
from benchtest.metrology.paired_differences import agreement
from benchtest.metrology.pivots import Numbers
from benchtest.metrology.ranges import c4, d2, d3
from benchtest.metrology.tolerance_limits import held_by_ranks, howe, needed, one_sided, ranked, two_sided
from benchtest.metrology.variance_components import Analysis, crossed, one_way, sources
from tests.published.tables import column, rows

CERTIFIED = {row["dataset"]: row for row in rows("nist_strd_univariate_certified")}


def cells() -> Numbers:
    """Return the published readings in the shape (parts, appraisers, trials)."""
    made = np.zeros((10, 3, 3))
    for row in rows("gauge_rr_90"):
        made[int(row["part"]) - 1, "ABC".index(row["appraiser"]), int(row["trial"]) - 1] = float(row["value"])
    return made


STUDY: Analysis = crossed(cells())


@pytest.mark.parametrize(
    ("line", "freedom", "squares", "mean_square"),
    [
        (0, 9, "88.3619", "9.81799"),
        (1, 2, "3.1673", "1.58363"),
        (2, 18, "0.3590", "0.01994"),
        (3, 60, "2.7589", "0.04598"),
    ],
)
def test_the_published_analysis_of_variance(line: int, freedom: int, squares: str, mean_square: str) -> None:
    """Degrees of freedom, sums of squares and mean squares of the gauge study to every printed digit."""
    found = STUDY.whole[line]

    assert freedom == found.freedom
    assert squares == as_printed(found.squares, squares)
    assert mean_square == as_printed(found.mean_square, mean_square)


def as_printed(value: float, like: str) -> str:
    """Return a value with as many places as the printed one."""
    return f"{value:.{len(like.partition('.')[2])}f}"


def test_the_published_ratios_and_the_pooling() -> None:
    """F 492.291 and 79.406 against the interaction, 0.434 (p 0.974) for it; pooled, 78 degrees: 245.614 and 39.617."""
    part, operator, interaction, _ = STUDY.whole
    pooled = STUDY.used[2]

    assert ("492.291", "79.406", "0.434") == tuple(f"{one.ratio:.3f}" for one in (part, operator, interaction))
    assert "0.974" == f"{interaction.probability:.3f}"
    assert STUDY.pooled
    assert (78, "3.1179", "0.03997") == (pooled.freedom, f"{pooled.squares:.4f}", f"{pooled.mean_square:.5f}")
    assert ("245.614", "39.617") == tuple(f"{one.ratio:.3f}" for one in STUDY.used[:2])


@pytest.mark.parametrize(
    ("name", "variance", "contribution", "spread"),
    [
        ("gauge", "0.09143", "7.76", "27.86"),
        ("repeatability", "0.03997", "3.39", "18.42"),
        ("reproducibility", "0.05146", "4.37", "20.90"),
        ("part", "1.08645", "92.24", "96.04"),
        ("total", "1.17788", "100.00", "100.00"),
    ],
)
def test_the_published_components(name: str, variance: str, contribution: str, spread: str) -> None:
    """Variance, share of the variance and of the spread to every printed digit, without the interaction."""
    found, total = getattr(STUDY.components, name).value, STUDY.components.total.value

    assert variance == f"{found:.5f}"
    assert contribution == f"{100 * found / total:.2f}"
    assert spread == f"{100 * math.sqrt(found / total):.2f}"


def test_the_two_methods_count_four_and_five_categories() -> None:
    """4.86 by analysis of variance, 5.09 by means and ranges; ranges 0.20186, 0.22968, 0.30577, 1.10446 to 4 digits.

    The printed constants K1 0.5908, K2 0.5231, K3 0.3146 have four digits, and so has the agreement.
    """
    ranges = by_ranges(cells())
    found = (ranges.repeatability, ranges.reproducibility, ranges.gauge, ranges.part, ranges.total)

    assert "4.86" == f"{STUDY.components.categories.value:.2f}"
    assert "5.09" == f"{ranges.categories:.2f}"
    assert (0.20186, 0.22967, 0.30577, 1.10460, 1.14613) == pytest.approx(found, rel=2e-4)


def test_an_interaction_that_would_be_negative_is_zero() -> None:
    """The estimate is -0.00868 (published); kept unpooled, its component is floored."""
    kept = crossed(cells(), pool_above=1.0 - 1e-12)
    interaction, repeats = kept.whole[2], kept.whole[3]

    assert "-0.00868" == f"{(interaction.mean_square - repeats.mean_square) / 3:.5f}"
    assert 0.0 == kept.components.interaction.value


@settings(max_examples=5, deadline=None)
@given(shape=st.tuples(st.integers(2, 6), st.integers(2, 4), st.integers(2, 4)), seed=st.integers(0, 2**32 - 1))
def test_statsmodels_finds_the_same_sums(shape: tuple[int, int, int], seed: int) -> None:
    """Sums of squares and degrees of freedom of any crossed study, with the general linear model as second judge."""
    chance = np.random.default_rng(seed)
    made = 100 + chance.normal(size=shape) + chance.normal(size=shape[0])[:, None, None]
    part, operator, _ = (axis.ravel() for axis in np.indices(shape))
    frame = pd.DataFrame({"part": part, "operator": operator, "value": made.ravel()})
    table = anova_lm(smf.ols("value ~ C(part) * C(operator)", data=frame).fit())
    found = sources(made)

    assert list(table["df"]) == [one.freedom for one in found]
    assert list(table["sum_sq"]) == pytest.approx([one.squares for one in found], rel=1e-8)


def test_one_way_reference_data() -> None:
    """NIST StRD SiRstv: F and both sums of squares to ten digits or more."""
    groups: dict[str, list[float]] = {}
    for row in rows("nist_sirstv_anova"):
        groups.setdefault(row["instrument"], []).append(float(row["resistivity_ohm_cm"]))
    between, within = one_way([np.array(one) for one in groups.values()])

    assert (4, 20) == (between.freedom, within.freedom)
    assert 5.11462616e-2 == pytest.approx(between.squares, rel=1e-9)
    assert 2.16636560e-1 == pytest.approx(within.squares, rel=1e-10)
    assert 1.18046237440255 == pytest.approx(between.ratio, rel=1e-10)


@pytest.mark.parametrize("name", ["Lew", "Lottery", "Mavro", "Michelso"])
def test_reference_data_as_a_study_reads_them(name: str) -> None:
    """NIST StRD: certified mean, deviation and lag-one correlation to twelve digits, nine where one digit changes."""
    readings, row = np.array(column(f"nist_{name.lower()}", "y")), CERTIFIED[name]
    digits = 1e-12 if name != "Mavro" else 1e-9

    assert float(row["certified_mean"]) == pytest.approx(float(readings.mean()), rel=1e-14)
    assert float(row["certified_sd_n_minus_1"]) == pytest.approx(float(readings.std(ddof=1)), rel=digits)
    assert float(row["certified_lag1_autocorr"]) == pytest.approx(lag_one(readings), rel=digits)


# ---------------------------------------------------------------- tolerance limits


@pytest.mark.parametrize("row", rows("tolerance_k_factors"), ids=lambda row: "-".join(list(row.values())[:3]))
def test_factors_of_the_table(row: Mapping[str, str]) -> None:
    """Exact one- and two-sided factors, and Howe's, to every printed digit."""
    count, shares = int(row["n"]), {"coverage": float(row["coverage_p"]), "confidence": float(row["confidence_g"])}

    assert row["k1_one_sided_exact"] == f"{one_sided(count, count - 1, **shares):.4f}"
    assert row["k2_two_sided_exact"] == f"{two_sided(count, count - 1, **shares):.4f}"
    assert row["k2_howe"] == f"{howe(count, count - 1, **shares):.4f}"


def test_the_handbook_example_of_43_wafers() -> None:
    """NIST 7.2.6.3, 90 % with 99 %: Howe 2.2173159 and 97.010576 to 97.12942; exact 1.87395 and 2.22283.

    The handbook's one-sided 1.8751896 is Natrella's approximation, 0.07 % above the exact factor.
    """
    shares = {"coverage": 0.9, "confidence": 0.99}
    k = howe(43, 42, **shares)

    assert "2.2173159" == f"{k:.7f}"
    assert ("97.010576", "97.129424") == (f"{97.07 - k * 0.0268:.6f}", f"{97.07 + k * 0.0268:.6f}")
    assert "1.87395" == f"{one_sided(43, 42, **shares):.5f}"
    assert "2.22283" == f"{two_sided(43, 42, **shares):.5f}"
    assert 1.8751896 == pytest.approx(one_sided(43, 42, **shares), rel=7e-4)


def test_the_handbook_example_of_40_readings() -> None:
    """NIST 7.2.6.3 publishes the exact one-sided factor 1.9017 for n = 40, 90 % with 99 %."""
    assert "1.9017" == f"{one_sided(40, 39, coverage=0.9, confidence=0.99):.4f}"


@pytest.mark.parametrize(("sides", "coverage", "count"), [(1, 0.95, 59), (1, 0.99, 299), (2, 0.95, 93), (2, 0.99, 473)])
def test_how_many_boards_ranks_need(sides: int, coverage: float, count: int) -> None:
    """Wilks' numbers at 95 %: 59 and 299 for one limit (zero-failure sample sizes), 93 and 473 for two (memory)."""
    assert count == needed(sides=sides, coverage=coverage, confidence=0.95)


@settings(max_examples=50, deadline=None)
@given(count=st.integers(2, 5000), sides=st.sampled_from([1, 2]), coverage=st.sampled_from([0.8, 0.9, 0.95, 0.99]))
def test_ranks_are_the_innermost_that_hold(count: int, sides: int, coverage: float) -> None:
    """One rank further in holds less than the confidence; the confidence is SciPy's beta distribution."""
    found = ranked(count, sides=sides, coverage=coverage, confidence=0.95)
    rank = 0 if found is None else found.rank

    assert held_by_ranks(count, rank + 1, sides=sides, coverage=coverage) < 0.95
    if found is not None:
        inside = count + 1 - sides * rank
        assert 1 - stats.beta.cdf(coverage, inside, sides * rank) == pytest.approx(found.confidence, abs=1e-9)
        assert found.confidence >= 0.95


# ---------------------------------------------------------------- charts and distributions


def test_constants_of_charts() -> None:
    """d2, d3 and c4 for two to ten readings, as handbooks print them (ASTM MNL 7; memory)."""
    assert ("1.128", "1.693", "2.059", "2.326", "3.078") == tuple(f"{d2(n):.3f}" for n in (2, 3, 4, 5, 10))
    assert ("0.853", "0.888", "0.880", "0.864", "0.797") == tuple(f"{d3(n):.3f}" for n in (2, 3, 4, 5, 10))
    assert ("0.7979", "0.8862", "0.9213", "0.9400", "0.9727") == tuple(f"{c4(n):.4f}" for n in (2, 3, 4, 5, 10))


def test_the_four_western_electric_rules_alarm_every_92_points() -> None:
    """Mean run length 91.75 without a shift (C. W. Champ, W. H. Woodall, Technometrics 29 (1987); memory)."""
    points = np.random.default_rng(2).standard_normal((2000, 1000))
    lengths = []
    for row in points:
        hit = np.any([rule(row) for rule in RULES["western electric"].values()], axis=0)
        lengths.append(int(hit.argmax()) + 1 if hit.any() else 1000)
    error = float(np.std(lengths)) / math.sqrt(len(lengths))

    assert abs(float(np.mean(lengths)) - 91.75) < 3 * error


PATTERNS: list[tuple[RuleSet, int, list[float], int | None]] = [
    ("western electric", 0, [0, 3.1], 1),
    ("western electric", 0, [0, -3.1, 0], 1),
    ("western electric", 1, [2.1, 0, 2.1], 2),
    ("western electric", 1, [2.1, 0, -2.1], None),
    ("western electric", 1, [2.1, 0, 0, 2.1], None),
    ("western electric", 2, [1.1, 1.1, 0, 1.1, 1.1], 4),
    ("western electric", 3, [0.1] * 8, 7),
    ("western electric", 3, [0.1] * 7 + [-0.1], None),
    ("nelson", 1, [0.1] * 9, 8),
    ("nelson", 2, [0, 0.1, 0.2, 0.3, 0.4, 0.5], 5),
    ("nelson", 2, [0, 0.1, 0.2, 0.2, 0.4, 0.5], None),
    ("nelson", 3, [0.1, -0.1] * 7, 13),
    ("nelson", 3, [0.1, -0.1] * 6 + [0.1, 0.2], None),
    ("nelson", 6, [0.5, -0.5] * 7 + [0.5], 14),
    ("nelson", 7, [1.1, -1.1] * 4, 7),
    ("nelson", 7, [1.1] * 8, None),
]


@pytest.mark.parametrize(("rules", "number", "points", "at"), PATTERNS)
def test_a_rule_marks_the_point_that_completes_its_pattern(
    rules: RuleSet, number: int, points: list[float], at: int | None
) -> None:
    """Patterns of the Western Electric Handbook and of L. S. Nelson, J. Quality Technology 16 (1984), as published."""
    rule = list(RULES[rules].values())[number]
    marked = np.flatnonzero(rule(np.array(points)))

    assert at == (int(marked[0]) if marked.size else None)


@given(seed=st.integers(0, 2**32 - 1), count=st.integers(8, 200), skewed=st.booleans())
@settings(max_examples=25, deadline=None)
def test_statsmodels_finds_the_same_normality(seed: int, count: int, *, skewed: bool) -> None:
    """Anderson and Darling's statistic, and its probability, as far as 1 - Φ keeps its digits there."""
    chance = np.random.default_rng(seed)
    readings = chance.exponential(size=count) if skewed else chance.normal(10, 0.1, size=count)
    statistic, probability = normal_ad(readings)
    found = normality(readings)

    assert float(statistic) == pytest.approx(found.statistic, rel=1e-6)
    assert float(probability) == pytest.approx(found.probability, rel=1e-5, abs=1e-12)


def test_the_handbook_capability() -> None:
    """NIST e-Handbook 6.1.6: limits 8 and 20, mean 16, s 2: Cp 1.0, Cpk 0.6667 (from memory)."""
    found = capability(16.0, 2.0, count=50, freedom=49, low=8.0, high=20.0)

    assert found.spread is not None
    assert 1.0 == found.spread.value
    assert "0.6667" == f"{found.nearer.value:.4f}"


def test_limits_of_capability_are_quantiles_of_their_distributions() -> None:
    """SciPy: chi-squared gives Cp's limits; noncentral t at Cpk's limits has the tails 2.5 % and 97.5 %."""
    found = capability(16.0, 2.0, count=50, freedom=49, low=-math.inf, high=20.0)
    both = capability(0.0, 1.0, count=50, freedom=49, low=-4.0, high=4.0).spread
    t = 3 * math.sqrt(50) * found.nearer.value
    tails = [stats.nct.cdf(t, 49, 3 * math.sqrt(50) * limit) for limit in (found.nearer.low, found.nearer.high)]

    assert found.spread is None
    assert [0.975, 0.025] == pytest.approx(tails, abs=1e-5)
    assert both is not None
    assert both.low == pytest.approx(4 / 3 * math.sqrt(stats.chi2.ppf(0.025, 49) / 49))


def test_limits_of_percentiles_hold_them_by_ranks() -> None:
    """SciPy: the chance that a percentile lies between its limits is 95 % or more, and not by much."""
    count = 3000
    found = percentiles(np.arange(1.0, count + 1))
    for share, one in ((0.00135, found.lower), (0.5, found.median), (0.99865, found.upper)):
        held = stats.binom.cdf(one.high - 1, count, share) - stats.binom.cdf(one.low - 1, count, share)
        assert 0.95 <= held < 0.99


def test_a_paired_comparison_is_student_s() -> None:
    """SciPy's paired t test gives the probability and the confidence limits of the mean difference."""
    chance = np.random.default_rng(4)
    first = chance.normal(6, 0.5, 25)
    second = first + 0.05 + chance.normal(0, 0.1, 25)
    judge = stats.ttest_rel(second, first)
    found = agreement(first, second)
    limits = judge.confidence_interval(0.95)

    assert float(judge.pvalue) == pytest.approx(found.unlikely, rel=1e-9)
    assert (found.mean.low, found.mean.high) == pytest.approx((limits.low, limits.high), rel=1e-9)
    assert found.lower.low < found.lower.value < found.lower.high < found.mean.value
