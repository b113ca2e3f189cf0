"""Coils fitted to operate and release times."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.simulator.coil import DROP_OUT, PULL_IN, energise, fitted, release

VOLTS, OHMS = 24.0, 1400.0
DIODE, ZENER, NONE = 0.7, 24.7, 60.0
"""Volts of a diode, of a diode with a Zener diode, and of a driver's avalanche (common practice, no source)."""


@given(
    operate=st.floats(2e-3, 60e-3),
    share=st.floats(0.1, 1.5),
    ohms=st.floats(20.0, 20e3),
    volts=st.floats(3.0, 110.0),
    clamp=st.sampled_from([DIODE, ZENER, NONE]),
    pace=st.none() | st.floats(0.01, 0.99),
)
def test_a_fitted_coil_lands_when_it_should(
    operate: float, share: float, ohms: float, volts: float, clamp: float, pace: float | None
) -> None:
    """Operate and release time are the given ones, whatever L/R; pull-in and drop-out are their share of nominal."""
    asked = {"operate": operate, "release": share * operate, "resistance": ohms, "volts": volts, "clamp": clamp}
    decay = np.log((volts + clamp) / (DROP_OUT * volts + clamp))
    longest = 0.9 * min(operate / -np.log(1 - PULL_IN), share * operate / decay)
    coil = fitted(**asked, tau=None if pace is None else pace * float(longest))

    assert energise(coil, volts).lands == pytest.approx(operate)
    assert release(coil, volts / ohms).lands == pytest.approx(share * operate)
    assert (coil.pull_in, coil.drop_out) == pytest.approx((PULL_IN * volts / ohms, DROP_OUT * volts / ohms))


@pytest.mark.parametrize(
    ("operate", "back", "clamp"), [(0.010, 0.008, DIODE), (0.006, 0.005, DIODE), (0.007, 0.003, NONE)]
)
def test_a_coil_fitted_without_time_constant_dips(operate: float, back: float, clamp: float) -> None:
    """Usual times of small relays: the current shows that the armature moves."""
    coil = fitted(operate=operate, release=back, resistance=OHMS, volts=VOLTS, clamp=clamp)
    rise = energise(coil, VOLTS).at(np.linspace(0.0, 0.05, 5001))

    assert np.diff(rise).min() < 0


def test_a_coil_with_a_long_release_holds_long_and_does_not_travel_all_the_while() -> None:
    """At least a quarter of the release time passes before the armature leaves."""
    coil = fitted(operate=0.004, release=0.050, resistance=OHMS, volts=VOLTS, clamp=NONE)

    assert release(coil, VOLTS / OHMS).moves == pytest.approx(0.25 * 0.050)


def test_what_cannot_be_fitted_is_refused_with_what_could() -> None:
    """A coil through a diode does not let go within its own time constant."""
    asked = {"operate": 0.006, "release": 0.0015, "resistance": OHMS, "volts": VOLTS, "clamp": DIODE}

    with pytest.raises(ValueError, match=r"L/R must be above 0 and below 0\.00118 s"):
        fitted(**asked, tau=2e-3)
    assert energise(fitted(**asked, tau=1.1e-3), VOLTS).lands == pytest.approx(0.006)


@pytest.mark.parametrize("name", ["operate", "release", "resistance", "volts", "clamp", "tau"])
@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_a_coil_is_not_fitted_to_nonsense(name: str, value: float) -> None:
    """Nothing, less than nothing, no number, too much."""
    asked = {"operate": 0.01, "release": 0.01, "resistance": OHMS, "volts": VOLTS, "clamp": DIODE, "tau": 2e-3}

    with pytest.raises(ValueError, match=r"not above zero|must be above 0"):
        fitted(**{**asked, name: value})
