"""Copper coils at other temperatures, against relay makers' notes."""

import pytest

from benchtest.signals.copper import MACHINES, at_20, at_temperature, temperature_rise


@pytest.mark.parametrize(
    ("value", "cold", "hot", "published", "tolerance"),
    [
        (320.0, 25, 125, 443.3, 0.05),  # Babcock relay note, resistance
        (13.0, 25, 125, 18.0, 0.05),  # the same, pickup voltage
        (290.0, 25, 125, 401.75, 0.005),  # Leach application note 102, by the formula
        (90.0, 20, 85, 112.99, 0.01),  # TE note on d.c. relays, its input; result computed
    ],
)
def test_resistance_and_pickup_of_a_warm_coil(
    value: float, cold: float, hot: float, published: float, tolerance: float
) -> None:
    """Published results, k = 234.5 (read in public copies of the notes)."""
    assert at_temperature(value, measured=cold, wanted=hot) == pytest.approx(published, abs=tolerance)


def test_a_factor_read_from_a_chart_is_not_the_formula() -> None:
    """Leach note 102 prints 403.31 ohm by its chart factor; the formula gives 401.75, 0.4 % less."""
    assert 403.31 / at_temperature(290.0, measured=25, wanted=125) == pytest.approx(1.0039, abs=1e-4)


def test_normalising_to_20_degrees() -> None:
    """100 ohm at 23 °C are 98.835 ohm at 20 °C, or 98.837 ohm with the constant of rotating machines (computed)."""
    assert at_20(100.0, measured=23.0) == pytest.approx(98.835, abs=5e-4)
    assert at_20(100.0, measured=23.0, constant=MACHINES) == pytest.approx(98.837, abs=5e-4)


def test_a_limit_set_at_23_degrees_moves_with_the_coil() -> None:
    """18 V at 23 °C are 21.29 V at 70 °C and 14.99 V at -20 °C (computed)."""
    assert at_temperature(18.0, measured=23, wanted=70) == pytest.approx(21.29, abs=5e-3)
    assert at_temperature(18.0, measured=23, wanted=-20) == pytest.approx(14.99, abs=5e-3)


def test_rise_by_resistance() -> None:
    """320 to 400 ohm from 25 °C is a rise of 64.88 K (computed); what the air warmed by is not the coil's."""
    assert temperature_rise(320.0, 400.0, ambient=25.0) == pytest.approx(64.88, abs=5e-3)
    assert temperature_rise(320.0, 400.0, ambient=25.0, ambient_hot=27.0) == pytest.approx(62.875, abs=5e-3)


def test_the_constant_follows_from_the_coefficient_of_iec_60028() -> None:
    """1 / 0.00393 - 20 = 234.45: the relay makers' 234.5, rounded (IEC 60028, second hand)."""
    assert at_temperature(1.0, measured=20.0, wanted=21.0) - 1 == pytest.approx(0.00393, abs=1e-6)
