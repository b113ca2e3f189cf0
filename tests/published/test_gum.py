"""The examples of JCGM 100:2008 (GUM), Annex H, and the distributions of its clause 4.

Inputs and results as quoted in public copies: the metRology and propagate packages for R, and GTC's own documentation;
the GUM itself was not at hand. GTC, by a national metrology institute, is the outside judge of propagation.
"""

import math

import GTC
import numpy as np
import pytest

from benchtest.metrology.uncertainty import (
    Budget,
    Term,
    arcsine,
    combined,
    expanded,
    joined,
    rectangular,
    resolution,
    triangular,
)

H2 = {
    "volts": [5.007, 4.994, 5.005, 4.990, 4.999],
    "amps": [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3],
    "phase": [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
}
"""GUM H.2: five simultaneous sets."""


def test_end_gauge_of_annex_h1_combines_to_32_nanometres() -> None:
    """GUM H.1: 25, 9.7, 2.9 and 16.6 nm combine to 32 nm."""
    components = [25.0, 9.7, 2.9, 16.6]
    assert round(combined(components)) == 32
    assert round(Budget(terms=tuple(Term(name="", standard=u) for u in components)).standard) == 32


def test_end_gauge_of_annex_h1_has_its_components() -> None:
    """GUM H.1.3: 75 nm at k = 3 is 25 nm; 5.8, 3.9 and 6.7 nm make 9.7; ±1e-6/K and ±0.05 K are rectangular."""
    assert expanded(25.0, 3.0) == 75.0
    assert round(combined([5.8, 3.9, 6.7]), 1) == 9.7
    length, deviation, expansion = 50_000_623.0, 0.1, 11.5e-6
    assert round(length * deviation * rectangular(1e-6), 1) == 2.9
    assert round(length * expansion * rectangular(0.05), 1) == 16.6


def test_end_gauge_of_annex_h1_expands_to_93_nanometres() -> None:
    """GUM H.1.6: t99 at 16 degrees of freedom is 2.92, so U99 = 93 nm with u rounded to 32 nm (from memory)."""
    assert round(expanded(32.0, 2.92)) == 93


def test_cyclic_temperature_of_annex_h1_is_arcsine() -> None:
    """GUM H.1.3.4: a swing of 0.5 K is 0.35 K standard."""
    assert round(arcsine(0.5), 2) == 0.35


@pytest.mark.parametrize(
    ("function", "factor"), [(rectangular, 0.5774), (triangular, 0.4082), (arcsine, 0.7071), (resolution, 0.2887)]
)
def test_factors_of_the_distributions(function: object, factor: float) -> None:
    """GUM 4.3.7, 4.3.9, H.1.3.4 and F.2.2.1 (clauses from memory): a/√3, a/√6, a/√2, d/√12."""
    assert callable(function)
    assert round(function(1.0), 4) == factor


def test_four_rectangular_inputs_of_jcgm_101_combine_to_two() -> None:
    """JCGM 101:2008, 9.2.3: four inputs of unit variance make u = 2.0 (quoted in a public test suite)."""
    assert combined([rectangular(math.sqrt(3))] * 4) == pytest.approx(2.0)


def test_impedance_of_annex_h2_is_right_in_the_outside_judge() -> None:
    """GUM H.2: GTC with correlations gives u(R) = 0.071, u(X) = 0.295, u(Z) = 0.236 Ω; so the judge is fit to judge."""
    volts, amps, phase = GTC.type_a.multi_estimate_real(list(H2.values()))
    ratio = volts / amps
    found = [GTC.uncertainty(z) for z in (ratio * GTC.cos(phase), ratio * GTC.sin(phase), ratio)]
    assert found == pytest.approx([0.071, 0.295, 0.236], abs=0.001)


def test_impedance_of_annex_h2_taken_as_independent_is_on_the_safe_side_of_resistance() -> None:
    """Without the correlations of H.2 our root sum of squares gives 0.195 Ω for R, as computed apart: never less."""
    volts, amps, phase = (np.array(series) for series in H2.values())
    v, i, p = volts.mean(), amps.mean(), phase.mean()
    u_v, u_i, u_p = (series.std(ddof=1) / math.sqrt(5) for series in (volts, amps, phase))
    terms = [math.cos(p) / i * u_v, v * math.cos(p) / i**2 * u_i, v * math.sin(p) / i * u_p]
    assert combined(terms) == pytest.approx(0.195, abs=0.001)
    budgets = [Budget(terms=(Term(name="", standard=abs(term)),)) for term in terms]
    assert joined(*budgets).standard == pytest.approx(combined(terms))
