"""Contact resistance with the current both ways, and of several actuations."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.signals.found import Found
from benchtest.signals.resistance import CC0, CC1, CC2, FourWire, actuations, beyond, one_way, reversed_current


@given(st.floats(1e-4, 10.0), st.floats(-1e-4, 1e-4), st.floats(0.01, 0.1), st.floats(0.5, 2.0))
def test_the_thermal_emf_cancels_and_is_told(ohms: float, emf: float, amps: float, unequal: float) -> None:
    """For any resistance, e.m.f. and two currents that need not be equal."""
    back = -amps * unequal / 2
    found = reversed_current(
        FourWire(volts=ohms * amps + emf, amps=amps),
        FourWire(volts=ohms * back + emf, amps=back),
        open_volts=6.0,
        category=CC1,
    )
    assert found.ohms.value == pytest.approx(ohms, rel=1e-6, abs=1e-9)
    assert found.emf.value == pytest.approx(emf, abs=1e-9)
    assert (found.amps, found.open_volts, found.warnings) == (max(amps, -back), 6.0, ())


def test_one_direction_keeps_the_emf_and_says_so() -> None:
    """10 mohm at 100 mA with 50 µV of a warm joint reads 10.5 mohm."""
    found = one_way(FourWire(volts=1.05e-3, amps=0.1), open_volts=6.0, category=CC1)
    assert found.ohms.value == pytest.approx(10.5e-3)
    assert found.emf.value is None
    assert any("not cancelled" in warning for warning in found.warnings)


def test_six_volts_are_refused_for_a_dry_circuit() -> None:
    """The film would be broken: no value, unless a warning was asked for."""
    forth, back = FourWire(volts=1e-3, amps=0.1), FourWire(volts=-1e-3, amps=-0.1)
    refused = reversed_current(forth, back, open_volts=6.0, category=CC0)
    warned = reversed_current(forth, back, open_volts=6.0, category=CC0, refuse=False)
    assert refused.ohms.value is None
    assert "film" in refused.ohms.reason
    assert warned.ohms.value == pytest.approx(0.01)
    assert len(warned.warnings) == len(refused.warnings) == 2
    assert "film" in one_way(forth, open_volts=6.0, category=CC0).ohms.reason


@pytest.mark.parametrize(
    ("forth", "back", "why"),
    [
        ((1e-3, 0.1), (1e-3, 0.1), "not reversed"),
        ((1e-3, 0.1), (1e-3, 0.0), "not reversed"),
        ((np.nan, 0.1), (1e-3, -0.1), "finite"),
        ((1e-3, np.inf), (1e-3, -0.1), "finite"),
    ],
)
def test_readings_that_give_no_resistance(forth: tuple[float, float], back: tuple[float, float], why: str) -> None:
    """Not reversed, or not a number."""
    found = reversed_current(
        FourWire(volts=forth[0], amps=forth[1]), FourWire(volts=back[0], amps=back[1]), open_volts=1.0, category=CC2
    )
    assert why in found.ohms.reason
    assert found.emf.value is None


def test_no_current_is_no_resistance_one_way_either() -> None:
    """Nothing divided by nothing is not zero ohms."""
    for reading in (FourWire(volts=0.0, amps=0.0), FourWire(volts=np.nan, amps=0.1)):
        assert one_way(reading, open_volts=1.0, category=CC2).ohms.value is None


def test_a_supply_that_is_not_known_is_beyond_every_category() -> None:
    """Not a number is within no limit; a limit itself is permitted."""
    assert len(beyond(CC2, open_volts=float("nan"), amps=float("nan"))) == 2
    assert beyond(CC0, open_volts=-0.03, amps=-0.01) == ()


def test_the_first_actuation_is_never_erased() -> None:
    """180 mohm first, 12 and 10 mohm after the film was rubbed off: first and worst stay on record."""
    found = actuations([Found.known(0.18), Found.known(0.012), Found.known(0.010)])
    assert (found.first.value, found.worst.value) == (0.18, 0.18)
    assert found.mean.value == pytest.approx(np.mean([0.18, 0.012, 0.010]))
    assert found.scatter.value == pytest.approx(np.std([0.18, 0.012, 0.010], ddof=1))


def test_an_undecided_actuation_leaves_the_worst_undecided() -> None:
    """It may have been the worst; which one it was is said."""
    found = actuations([Found.known(0.01), Found.unknown("no current"), Found.known(0.02)])
    assert found.first.value == 0.01
    assert found.worst.reason == found.mean.reason == "actuation 2: no current"
    assert actuations([Found.known(0.01)]).scatter.value is None
    with pytest.raises(ValueError, match="no actuation"):
        actuations([])
