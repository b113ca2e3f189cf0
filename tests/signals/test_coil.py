"""Operate, hold and release voltage; copper."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.signals.coil import Contact, by_ramp, by_steps, decided, plateaus
from benchtest.signals.copper import MACHINES, at_20, at_temperature, temperature_rise
from benchtest.signals.found import Found
from benchtest.signals.levels import states
from benchtest.signals.series import Moments, Sampled, Stamped, Uneven
from tests.signals.trains import HIGH, LOW, MADE, OPEN

RATE = 1000.0
TIMES = np.arange(20_000) / RATE
RAMP = np.minimum(TIMES, 20 - TIMES) * 2.8
"""Volts: 0 to 28 V in ten seconds and back."""


def moved(volts: Moments, operate: float, release: float) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Return where an ideal relay is operated, walking through the voltage."""
    now, found = False, []
    for value in np.abs(volts):
        now = value >= operate or (now and value > release)
        found.append(now)
    return np.array(found)


def pole(volts: Moments, operate: float, release: float, *, form: str = "make") -> Contact:
    """Return one pole of a relay with its own voltages."""
    closed = moved(volts, operate, release) == (form == "make")
    seen = states(Sampled(values=np.where(closed, MADE, OPEN), rate=RATE), low=LOW, high=HIGH)
    return Contact(states=seen, form="make" if form == "make" else "break")


def test_a_ramp_finds_the_last_pole_to_operate_and_the_first_to_let_go() -> None:
    """Poles at 16.0 and 16.5 V up, 5.0 and 4.0 V down; a form B of the same relay counts like the others."""
    poles = [pole(RAMP, 16.0, 5.0), pole(RAMP, 16.5, 4.0), pole(RAMP, 16.2, 4.5, form="break")]
    found = by_ramp(Sampled(values=RAMP, rate=RATE), poles)
    assert found.method == "ramp"
    assert [f.value for f in (found.operate, found.hold, found.release)] == pytest.approx([16.5, 5.0, 4.0], abs=0.003)
    assert 0 < found.operate.doubt < 0.01


def test_polarity_and_an_uneven_column_do_not_matter_to_a_ramp() -> None:
    """The same ramp with the coil connected the other way round, at times of its own."""
    poles = [pole(RAMP, 16.0, 5.0)]
    even = by_ramp(Sampled(values=RAMP, rate=RATE), poles)
    kept = np.flatnonzero(np.random.default_rng(1).random(RAMP.size) < 0.5)
    uneven = by_ramp(Uneven(values=-RAMP[kept], times=TIMES[kept]), poles)
    assert uneven.operate.value == pytest.approx(even.operate.value, abs=0.003)


def test_an_edge_list_shows_the_contact_as_well() -> None:
    """The contact from a logic analyser, the voltage from a recorder on the same time base."""
    edges = Stamped(
        times=np.array([16.0 / 2.8, 20 - 5.0 / 2.8]), rising=np.array([False, True]), first=True, begin=0.0, end=20.0
    )
    found = by_ramp(Sampled(values=RAMP, rate=RATE), [Contact(states=states(edges, low=0, high=1))])
    assert (found.operate.value, found.release.value) == pytest.approx((16.0, 5.0), abs=1e-6)


def test_a_relay_that_does_not_move_has_no_voltage() -> None:
    """Never operated, operated already, or a pole that stays behind: said, not guessed."""
    volts = Sampled(values=RAMP, rate=RATE)
    never = by_ramp(volts, [pole(RAMP, 16.0, 5.0), pole(RAMP, 99.0, 5.0)])
    stuck = by_ramp(volts, [pole(RAMP, 0.0, -1.0)])
    assert "not operated" in never.operate.reason
    assert "operated already" in stuck.operate.reason
    assert "not released" in stuck.release.reason
    with pytest.raises(ValueError, match="no contact"):
        by_ramp(volts, [])
    assert "no coil voltage" in by_ramp(Sampled(values=RAMP * np.nan, rate=RATE), [pole(RAMP, 16.0, 5.0)]).hold.reason


def stairs(*volts: float, noise: float = 0.02) -> Moments:
    """Return steps of half a second each with noise."""
    steady = np.repeat(np.array(volts), round(RATE / 2))
    return np.asarray(steady + np.random.default_rng(2).normal(0, noise, steady.size))


def test_steps_give_the_interval_between_two() -> None:
    """Steps of 1 V up and of 0.5 V down: midway, with the step as doubt."""
    volts = stairs(*np.arange(0.0, 25.0), *np.arange(24.0, -0.5, -0.5))
    found = by_steps(
        Sampled(values=volts, rate=RATE),
        [pole(volts, 15.5, 5.25), pole(volts, 16.5, 4.25)],
        tolerance=0.15,
        shortest=0.4,
    )
    assert [f.value for f in (found.operate, found.hold, found.release)] == pytest.approx([16.5, 5.25, 4.25], abs=0.02)
    assert [f.doubt for f in (found.operate, found.release)] == pytest.approx([1.0, 0.5], abs=0.02)


def test_the_sequence_of_the_standard_brackets_a_good_relay() -> None:
    """Pickup 18 V, rated 26.5 V, hold 7 V, dropout 1.5 V, 0: operated at the first, released between the last."""
    volts = stairs(0.0, 18.0, 26.5, 7.0, 1.5, 0.0)
    found = by_steps(Sampled(values=volts, rate=RATE), [pole(volts, 15.5, 5.0)], tolerance=0.15, shortest=0.4)
    assert (found.operate.value, found.operate.doubt) == pytest.approx((9.0, 18.0), abs=0.02)
    assert (found.release.value, found.release.doubt) == pytest.approx((4.25, 5.5), abs=0.02)


def test_a_ramp_has_no_steps() -> None:
    """A slow ramp is not taken for plateaus; neither is a short halt."""
    assert plateaus(Sampled(values=RAMP, rate=RATE), tolerance=0.3, shortest=0.1) == ()
    assert (
        "no step"
        in by_steps(Sampled(values=RAMP, rate=RATE), [pole(RAMP, 16, 5)], tolerance=0.3, shortest=0.1).operate.reason
    )


def test_steps_that_begin_too_high_or_end_too_soon_decide_nothing() -> None:
    """Operated at the first step already; not released at the last."""
    volts = stairs(18.0, 24.0, 10.0, noise=0.0)
    found = by_steps(Sampled(values=volts, rate=RATE), [pole(volts, 15.5, 5.0)], tolerance=0.15, shortest=0.4)
    assert "operated already at 18" in found.operate.reason
    assert "not released at 10" in found.release.reason


def test_the_step_method_decides_a_dispute() -> None:
    """MIL-PRF-28776F, 4.8.7.2: the ramp stands only where the steps say nothing."""
    ramp, steps = Found.known(16.4), Found.known(15.9, 0.5)
    assert decided(ramp, steps) == (steps, "steps")
    assert decided(ramp, Found.unknown("not tried")) == (ramp, "ramp")


@given(st.floats(10, 1e4), st.floats(-40, 150), st.floats(-40, 150), st.sampled_from([234.5, MACHINES]))
def test_copper_there_and_back(ohms: float, one: float, other: float, constant: float) -> None:
    """A resistance brought to another temperature and back is itself; the rise between them is their difference."""
    there = at_temperature(ohms, measured=one, wanted=other, constant=constant)
    assert at_temperature(there, measured=other, wanted=one, constant=constant) == pytest.approx(ohms)
    assert temperature_rise(ohms, there, ambient=one, constant=constant) == pytest.approx(other - one, abs=1e-9)
    assert at_20(ohms, measured=20.0, constant=constant) == pytest.approx(ohms, rel=1e-15)


@pytest.mark.parametrize("temperature", [-234.5, -300.0, float("nan"), float("inf")])
def test_no_copper_is_that_cold(temperature: float) -> None:
    """Below the constant the straight line has no resistance left."""
    with pytest.raises(ValueError, match="°C"):
        at_20(100.0, measured=temperature)


@pytest.mark.parametrize("ohms", [(0.0, 1.0), (1.0, float("nan")), (-1.0, 1.0)])
def test_a_rise_needs_two_resistances(ohms: tuple[float, float]) -> None:
    """Zero, negative or no numbers are no windings."""
    with pytest.raises(ValueError, match="above zero"):
        temperature_rise(*ohms, ambient=23.0)


def test_a_contact_that_shows_no_state_shows_no_voltage() -> None:
    """Half-way between the thresholds all along: neither made nor open."""
    seen = states(Sampled(values=np.full(TIMES.size, 6.0), rate=RATE), low=LOW, high=HIGH)
    found = by_ramp(Sampled(values=RAMP, rate=RATE), [Contact(states=seen)])
    assert "neither" in found.operate.reason
    assert "neither" in found.hold.reason
