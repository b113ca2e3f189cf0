"""The simulated coil at other temperatures, against relay makers' notes (read in public copies).

Babcock relay note: 320 ohm and 13.0 V pickup at 25 °C are 443.3 ohm and 18 V at 125 °C. Leach application note 102:
290 ohm at 25 °C, and which way everything goes as a coil warms. TE note on d.c. relays: 90 ohm and 6.5 V at 20 °C,
input only, results computed. IEC 61810-1, from memory: a monostable d.c. relay releases at 5 % of rated or above.
"""

import numpy as np
import pytest

from benchtest.simulator.coil import Coil, energise, fitted, hot, release


def wound(ohms: float, pickup: float, *, at: float) -> Coil:
    """Return the coil at 20 °C that has these ohms and this pickup voltage at a temperature of `at`."""
    per_ohm = (234.5 + 20.0) / (234.5 + at)
    amps = pickup / ohms
    return Coil(
        resistance=ohms * per_ohm,
        open_inductance=1.0,
        closed_inductance=1.5,
        pull_in=amps,
        drop_out=0.4 * amps,
        travel_on=2e-3,
        travel_off=2e-3,
        clamp=0.7,
    )


def pickup(coil: Coil) -> float:
    """Return the least voltage that moves the armature, found by trying."""
    low, high = 0.0, 1000.0
    while high - low > 1e-6:
        middle = (low + high) / 2
        low, high = (middle, high) if energise(coil, middle).moves is None else (low, middle)
    return high


@pytest.mark.parametrize(
    ("ohms", "volts", "cold", "warm", "ohms_warm", "volts_warm", "tolerance"),
    [
        (320.0, 13.0, 25.0, 125.0, 443.3, 18.0, 0.05),  # Babcock relay note, both published
        (290.0, 13.0, 25.0, 125.0, 401.75, 18.01, 0.01),  # Leach note 102, resistance by the formula; voltage computed
        (90.0, 6.5, 20.0, 85.0, 112.99, 8.16, 0.01),  # TE note on d.c. relays, its input; results computed
    ],
)
def test_resistance_and_pickup_voltage_of_a_warm_coil(
    ohms: float, volts: float, cold: float, warm: float, ohms_warm: float, volts_warm: float, tolerance: float
) -> None:
    """Both go with copper, because the ampere-turns stay."""
    coil = wound(ohms, volts, at=cold)

    assert hot(coil, cold).resistance == pytest.approx(ohms)
    assert pickup(hot(coil, cold)) == pytest.approx(volts, abs=1e-5)
    assert hot(coil, warm).resistance == pytest.approx(ohms_warm, abs=tolerance)
    assert pickup(hot(coil, warm)) == pytest.approx(volts_warm, abs=tolerance)


def test_which_way_everything_goes_as_a_coil_warms() -> None:
    """Up: resistance, operate and release voltage, operate time; down: current, release time (Leach note 102)."""
    at_20 = fitted(operate=0.010, release=0.008, resistance=1400.0, volts=24.0, clamp=0.7)
    cold, warm = hot(at_20, 0.0), hot(at_20, 70.0)
    courses = [(energise(coil, 24.0), release(coil, 24.0 / coil.resistance)) for coil in (cold, warm)]
    operate, back = zip(*((on.lands or 0.0, off.lands or 0.0) for on, off in courses), strict=True)
    current = [float(on.at(np.array([1.0]))[0]) for on, _ in courses]

    assert cold.resistance < warm.resistance
    assert pickup(cold) < pickup(warm)
    assert cold.drop_out * cold.resistance < warm.drop_out * warm.resistance
    assert 0.0 < operate[0] < operate[1]
    assert current[0] > current[1]
    assert back[0] > back[1] > 0.0


def test_the_coefficient_of_copper_is_that_of_iec_60028() -> None:
    """0.393 % per kelvin at 20 °C (IEC 60028, second hand)."""
    coil = wound(100.0, 10.0, at=20.0)

    assert hot(coil, 21.0).resistance / coil.resistance - 1 == pytest.approx(0.00393, abs=1e-6)


def test_a_fitted_coil_lets_go_at_a_voltage_that_a_relay_must_release_at() -> None:
    """Held at 5 % of rated it would break the rule for monostable d.c. relays (IEC 61810-1, from memory)."""
    coil = fitted(operate=0.010, release=0.008, resistance=1400.0, volts=24.0, clamp=0.7)

    assert energise(coil, 0.05 * 24.0, 24.0 / 1400.0, closed=True).moves is not None
