"""The examples of JCGM 100:2008 (GUM), Annex H, its Table G.2, the distributions of its clause 4, and JCGM 101, 9.2.

Inputs and results as quoted in public copies (see `tables`); the GUM itself was not at hand. GTC, by a national
metrology institute, is the outside judge of propagation.
"""

import math
from itertools import combinations

import GTC
import numpy as np
import pytest
from scipy import stats

from benchtest.metrology.budget import Budget, Correlation, Term, combine, combined, effective_freedom, expanded, joined
from benchtest.metrology.coverage import factor, normal_factor, probability, whole
from benchtest.metrology.distributions import arcsine, rectangular, resolution, triangular
from benchtest.metrology.statistics import line, moments
from tests.published.tables import column, rows

H1 = {row["symbol"]: row for row in rows("gum_h1")}
H2 = (column("gum_h2", "V_volt"), [1e-3 * i for i in column("gum_h2", "I_milliampere")], column("gum_h2", "phi_rad"))


def term(name: str, standard: float, *, freedom: float = math.inf, sensitivity: float = 1.0) -> Term:
    """Return a term whose influence is its name."""
    return Term(
        name=name,
        influence=name,
        standard=standard,
        unit="",
        distribution="normal",
        freedom=freedom,
        sensitivity=sensitivity,
    )


# ---------------------------------------------------------------- H.1


def end_gauge() -> Budget:
    """Return the budget of H.1 from its inputs: l = l_S + d - l_S·(δα·θ + α_S·δθ), in nanometres."""
    length = float(H1["l_S"]["estimate"])
    deviation, expansion = float(H1["theta_bar"]["estimate"]), float(H1["alpha_S"]["estimate"])
    sensitivities = {
        "l_S": 1.0,
        "d_bar": 1.0,
        "d1": 1.0,
        "d2": 1.0,
        "delta_alpha": -length * deviation,
        "delta_theta": -length * expansion,
    }
    exact = {"delta_alpha": rectangular(1e-6), "delta_theta": rectangular(0.05)}  # the table's are rounded
    return Budget(
        terms=tuple(
            term(
                name,
                exact.get(name, float(H1[name]["standard_uncertainty"])),
                freedom=float(H1[name]["dof"]),
                sensitivity=sensitivity,
            )
            for name, sensitivity in sensitivities.items()
        )
    )


def test_end_gauge_of_annex_h1_combines_to_32_nanometres() -> None:
    """GUM H.1.4: the budget from the inputs combines to 32 nm (31.66 nm before it is rounded)."""
    assert 31.66 == round(end_gauge().standard, 2)
    assert 32 == round(combined([25.0, 9.7, 2.9, 16.6]))


def test_end_gauge_of_annex_h1_has_its_components() -> None:
    """GUM H.1.3: 25, 9.7, 2.9 and 16.6 nm; 9.7 nm has 25.6 degrees of freedom when it is rounded first, else 25.45."""
    found = {part.name: part.contribution for part in end_gauge().terms}
    comparator = [(found[name], float(H1[name]["dof"])) for name in ("d_bar", "d1", "d2")]
    assert 25.0 == expanded(25.0, 3.0) / 3
    assert [9.7, 2.9, 16.6] == [
        round(u, 1) for u in (combined(u for u, _ in comparator), found["delta_alpha"], found["delta_theta"])
    ]
    assert 25.45 == pytest.approx(effective_freedom(combined(u for u, _ in comparator), comparator), abs=0.005)
    assert 25.6 == pytest.approx(effective_freedom(9.7, comparator), abs=0.05)


def test_end_gauge_of_annex_h1_expands_to_93_nanometres() -> None:
    """GUM H.1.6: 16 degrees of freedom, t99 = 2.92; U99 = 93 nm with u rounded to 32 nm (from memory), 92.5 without."""
    both = combine(end_gauge())
    exact, k = both.expanded(normal_factor(0.99))
    assert (16.0, 2.92) == (whole(both.freedom), round(k, 2))
    assert 92.5 == round(exact, 1)
    assert 93 == round(expanded(32.0, round(k, 2)))
    assert 67.8 == round(expanded(32.0, factor(16.0, normal_factor(0.95))), 1)


def test_end_gauge_of_annex_h1_loses_nothing_by_rounding_on_the_way() -> None:
    """With u rounded to 32 nm first, Welch-Satterthwaite would give 17.5 and so 17 degrees of freedom: one too many."""
    parts = [(part.contribution, part.freedom) for part in end_gauge().terms]
    assert 16.75 == pytest.approx(combine(end_gauge()).freedom, abs=0.005)
    assert 17.47 == pytest.approx(effective_freedom(32.0, parts), abs=0.005)


def test_end_gauge_of_annex_h1_is_what_gtc_makes_of_it() -> None:
    """The model itself, with GTC's uncertain numbers: the same u and the same degrees of freedom."""
    estimates = {name: float(row["estimate"]) for name, row in H1.items()}
    facts = {part.name: (part.standard, part.freedom) for part in end_gauge().terms}
    x = {name: GTC.ureal(estimates[name], *facts[name]) for name in facts}
    difference, shift = x["d_bar"] + x["d1"] + x["d2"], x["delta_alpha"] * estimates["theta_bar"]
    length = x["l_S"] + difference - x["l_S"] * (shift + estimates["alpha_S"] * x["delta_theta"])
    assert 50_000_838 == round(length.x)
    assert math.isclose(end_gauge().standard, length.u, rel_tol=1e-6)
    assert math.isclose(combine(end_gauge()).freedom, length.df, rel_tol=1e-5)


def test_end_gauge_of_annex_h1_with_second_order_terms_is_34_nanometres() -> None:
    """GUM H.1.7: the products of two uncertain inputs, 11.7 and 1.7 nm, make it 34 nm."""
    length = float(H1["l_S"]["estimate"])
    swing = combined([0.2, arcsine(0.5)])
    products = [length * rectangular(1e-6) * swing, length * float(H1["alpha_S"]["standard_uncertainty"]) * 0.0289]
    assert [11.7, 1.7] == [round(product, 1) for product in products]
    assert 34 == round(combined([end_gauge().standard, *products]))


def test_cyclic_temperature_of_annex_h1_is_arcsine() -> None:
    """GUM H.1.3.4: a swing of 0.5 K is 0.35 K standard."""
    assert 0.35 == round(arcsine(0.5), 2)


# ---------------------------------------------------------------- H.2


def means() -> tuple[list[float], list[float], dict[tuple[int, int], float]]:
    """Return means, their standard uncertainties and their correlations, of five simultaneous sets."""
    found = [moments(series) for series in H2]
    coefficients = {(i, j): float(np.corrcoef(H2[i], H2[j])[0, 1]) for i, j in combinations(range(3), 2)}
    return [one.mean for one in found], [one.of_mean for one in found], coefficients


def impedance(*, correlated: bool) -> dict[str, Budget]:
    """Return the budgets of R = V/I·cos φ, X = V/I·sin φ and Z = V/I."""
    (v, i, p), standards, coefficients = means()
    slopes = {
        "R": (math.cos(p) / i, -v * math.cos(p) / i**2, -v * math.sin(p) / i),
        "X": (math.sin(p) / i, -v * math.sin(p) / i**2, v * math.cos(p) / i),
        "Z": (1 / i, -v / i**2, 0.0),
    }
    names = ("V", "I", "phi")
    pairs = tuple(
        Correlation(one=names[one], other=names[other], coefficient=r) for (one, other), r in coefficients.items()
    )
    return {
        quantity: Budget(
            terms=tuple(
                term(name, u, freedom=4.0, sensitivity=slope)
                for name, u, slope in zip(names, standards, sensitivities, strict=True)
            ),
            correlations=pairs if correlated else (),
        )
        for quantity, sensitivities in slopes.items()
    }


def test_impedance_of_annex_h2_has_its_inputs() -> None:
    """GUM H.2, table H.2: means, their standard deviations, and the three correlation coefficients."""
    values, standards, coefficients = means()
    assert [4.9990, 0.019661, 1.04446] == pytest.approx(values, abs=5e-7)
    assert [0.0032, 0.0095e-3, 0.00075] == pytest.approx(standards, rel=0.01)
    assert [-0.36, 0.86, -0.65] == [round(r, 2) for r in coefficients.values()]


def test_impedance_of_annex_h2_has_its_uncertainties() -> None:
    """GUM H.2, table H.3: 0.071, 0.295 and 0.236 Ω, with the correlations of the inputs."""
    found = {quantity: combine(budget) for quantity, budget in impedance(correlated=True).items()}
    assert 0.07107 == pytest.approx(found["R"].standard, abs=5e-6)
    assert 0.29558 == pytest.approx(found["X"].standard, abs=5e-6)
    assert 0.23634 == pytest.approx(found["Z"].standard, abs=5e-6)
    assert {4.0} == {round(one.freedom, 6) for one in found.values()}, "five sets, taken together, have four"


def test_impedance_of_annex_h2_without_correlations_is_wrong() -> None:
    """Dropping the correlations makes u(R) 2.7 times too large and u(X) too small, as computed apart."""
    found = {quantity: budget.standard for quantity, budget in impedance(correlated=False).items()}
    assert {"R": 0.195, "X": 0.201, "Z": 0.204} == pytest.approx(found, abs=0.001)
    assert found["R"] > 2.7 * combine(impedance(correlated=True)["R"]).standard
    assert found["X"] < combine(impedance(correlated=True)["X"]).standard


# ---------------------------------------------------------------- H.3 and H.5


def test_thermometer_of_annex_h3_has_its_line() -> None:
    """GUM H.3.3: y1 = -0.1712 (0.0029), y2 = 0.00218 (0.00067), r = -0.930, s = 0.0035, at 20 °C as reference."""
    fit = line(column("gum_h3", "t_C"), column("gum_h3", "correction_b_C"), origin=20.0)
    assert (-0.1712, 0.0029) == (round(fit.intercept, 4), round(fit.u_intercept, 4))
    assert (0.00218, 0.00067) == (round(fit.slope, 5), round(fit.u_slope, 5))
    assert (-0.930, 0.0035, 9.0) == (round(fit.correlation, 3), round(fit.residual, 4), fit.freedom)


def test_thermometer_of_annex_h3_predicts_with_its_correlation() -> None:
    """GUM H.3.4: b(30 °C) = -0.1494 with u = 0.0041 °C."""
    fit = line(column("gum_h3", "t_C"), column("gum_h3", "correction_b_C"), origin=20.0)
    value, standard = fit.at(30.0)
    assert (-0.1494, 0.0041) == (round(value, 4), round(standard, 4))


def test_thermometer_of_annex_h3_about_its_mean_is_not_correlated() -> None:
    """GUM H.3.5: about the mean, 24.0085 °C, r is zero; y1 is then -0.1625 with 0.0011 °C; the prediction stays."""
    mean = moments(column("gum_h3", "t_C")).mean
    assert 24.0085 == pytest.approx(mean, abs=6e-5)
    middle = line(column("gum_h3", "t_C"), column("gum_h3", "correction_b_C"), origin=mean)
    usual = line(column("gum_h3", "t_C"), column("gum_h3", "correction_b_C"), origin=20.0)
    assert 0.0 == pytest.approx(middle.correlation, abs=1e-12)
    assert (-0.162455, 0.0010546) == (round(middle.intercept, 6), round(middle.u_intercept, 7))
    assert usual.at(30.0) == pytest.approx(middle.at(30.0))


def test_voltage_standard_of_annex_h5_has_its_scatter() -> None:
    """GUM H.5: 10.000097 V, 57 µV between days, 85 µV within, F = 2.25 (2.26 before rounding), u = 18 or 13 µV."""
    days = moments(column("gum_h5", "mean_of_5_V"))
    within = math.sqrt(math.fsum(s * s for s in column("gum_h5", "sd_of_5_uV")) / days.count)
    between = math.sqrt(5) * days.deviation * 1e6
    assert (10.000097, 57, 85, 128) == (
        round(days.mean, 6),
        round(days.deviation * 1e6),
        round(within),
        round(between),
    )
    assert 2.26 == round((between / within) ** 2, 2)
    assert 2.124 == round(stats.f.ppf(0.95, 9, 40), 3)
    assert (18, 9.0) == (round(days.of_mean * 1e6), days.freedom)
    pooled = math.sqrt((9 * between**2 + 40 * within**2) / 49)
    assert 13 == round(pooled / math.sqrt(50))


# ---------------------------------------------------------------- Table G.2, clause 4, JCGM 101

LEVELS = {"p68_27": 0.6827, "p90": 0.90, "p95": 0.95, "p95_45": 0.9545, "p99": 0.99, "p99_73": 0.9973}


@pytest.mark.parametrize("row", rows("gum_table_g2_student_t"), ids=lambda row: f"nu-{row['nu']}")
@pytest.mark.parametrize("level", LEVELS)
def test_student_factors_of_table_g2(row: dict[str, str], level: str) -> None:
    """GUM table G.2, all 28 rows and 6 columns: t for degrees of freedom and probability."""
    assert row[level] == f"{factor(float(row['nu']), normal_factor(LEVELS[level])):.2f}"


def test_the_columns_of_table_g2_mean_whole_factors() -> None:
    """235.80 for one degree of freedom needs 2Φ(3) - 1; taken literally, 0.9973 gives 235.78."""
    assert [1.0, 2.0, 3.0] == [normal_factor(share) for share in (0.6827, 0.9545, 0.9973)]
    assert "235.80" == f"{factor(1.0, 3.0):.2f}"
    assert "235.78" == f"{stats.t.ppf((1 + 0.9973) / 2, 1):.2f}"
    assert 0.954499736 == round(probability(2.0), 9)


@pytest.mark.parametrize(
    ("function", "divisor"), [(rectangular, 0.5774), (triangular, 0.4082), (arcsine, 0.7071), (resolution, 0.2887)]
)
def test_factors_of_the_distributions(function: object, divisor: float) -> None:
    """GUM 4.3.7, 4.3.9, H.1.3.4 and F.2.2.1 (clauses from memory): a/√3, a/√6, a/√2, d/√12."""
    assert callable(function)
    assert round(function(1.0), 4) == divisor


def test_four_inputs_of_jcgm_101_combine_to_two() -> None:
    """JCGM 101:2008, 9.2.2 and 9.2.3: four normal or rectangular inputs of unit variance: u = 2.0, 95 % ±3.92."""
    for standard in (1.0, rectangular(math.sqrt(3))):
        both = combine(joined(*(Budget(terms=(term(str(i), standard),)) for i in range(4))))
        assert 2.0 == pytest.approx(both.standard)
        assert 3.92 == round(both.expanded(normal_factor(0.95))[0], 2)


def test_four_rectangular_inputs_of_jcgm_101_are_covered_by_less() -> None:
    """JCGM 101:2008, 9.2.3.4: the sum of four rectangular inputs is covered to 95 % by ±3.88; ours is wider."""
    even = np.random.default_rng(101).uniform(-math.sqrt(3), math.sqrt(3), size=(4, 400_000)).sum(axis=0)
    assert 3.88 == pytest.approx(np.quantile(np.abs(even), 0.95), abs=0.01)
