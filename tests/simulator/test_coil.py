"""A coil's current while its armature moves: against scipy's steps, and what everybody at a bench has seen of it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchtest.simulator.coil import Coil, Course, Piece, energise, hot, release
from benchtest.simulator.trace import Samples
from tests.simulator.coil_stepped import Stepped

VOLTS, OHMS = 24.0, 1400.0
FULL = VOLTS / OHMS
COIL = Coil(
    resistance=OHMS,
    open_inductance=5.0,
    closed_inductance=8.0,
    pull_in=0.65 * FULL,
    drop_out=0.28 * FULL,
    travel_on=0.002,
    travel_off=0.002,
    clamp=0.7,
)
DIODE, ZENER, NONE = 0.7, 24.7, 60.0
"""Volts of a diode, of a diode with a Zener diode, and of a driver's avalanche (common practice, no source)."""


@st.composite
def driven_coils(draw: st.DrawFn) -> tuple[Coil, float]:
    """Draw a coil and volts with which it pulls in."""
    volts, ohms = draw(st.floats(3.0, 110.0)), draw(st.floats(20.0, 20e3))
    henry = ohms * draw(st.floats(0.3e-3, 30e-3))
    pull_in = volts / ohms * draw(st.floats(0.3, 0.9))
    travel = st.floats(0.3e-3, 15e-3)
    coil = Coil(
        resistance=ohms,
        open_inductance=henry,
        closed_inductance=henry * draw(st.floats(1.01, 4.0)),
        pull_in=pull_in,
        drop_out=pull_in * draw(st.floats(0.1, 0.9)),
        travel_on=draw(travel),
        travel_off=draw(travel),
        clamp=draw(st.floats(0.3, 100.0)),
    )
    return coil, volts


def moments(coil: Coil) -> Samples:
    """Return times from switching until long after everything has settled."""
    tau = coil.closed_inductance / coil.resistance
    return np.linspace(0.0, 5 * tau + coil.travel_on + coil.travel_off, 2001)


def agree(course: Course, stepped: Stepped, times: Samples, *, full: float) -> None:
    """Check a course against the steps: a thousand times tighter than one per cent."""
    assert np.abs(course.at(times) - stepped.values).max() < 1e-5 * full
    assert (course.moves is None) == (stepped.moves is None)
    assert course.moves == pytest.approx(stepped.moves, rel=1e-5)


@settings(deadline=None, max_examples=60)
@given(driven_coils(), st.floats(0.0, 0.95))
def test_switched_on_it_follows_the_steps_of_scipy(driven: tuple[Coil, float], share: float) -> None:
    """From any current below pull-in, as after a short interruption."""
    coil, volts = driven
    times, amps = moments(coil), share * coil.pull_in
    stepped = Stepped(coil, times, volts=volts, amps=amps, closed=False)

    agree(energise(coil, volts, amps), stepped, times, full=volts / coil.resistance)


@settings(deadline=None, max_examples=60)
@given(driven_coils(), st.floats(1.05, 3.0))
def test_switched_off_it_follows_the_steps_of_scipy(driven: tuple[Coil, float], share: float) -> None:
    """From any current above drop-out; the clamp lets go when scipy's current is nothing."""
    coil, volts = driven
    times, amps = moments(coil), share * coil.drop_out
    stepped = Stepped(coil, times, volts=-coil.clamp, amps=amps, closed=True)
    course = release(coil, amps)

    agree(course, stepped, times, full=max(amps, volts / coil.resistance))
    if stepped.ended is not None:
        assert course.clamped_until == pytest.approx(stepped.ended, rel=1e-5)


@pytest.mark.parametrize("resistance", [999.999, 1000.0, 1000.001])
def test_where_motion_feeds_the_coil_as_much_as_it_loses_the_current_is_a_straight_line(resistance: float) -> None:
    """R + dL/dt = 0 on the way back: the closed form divides by nothing and agrees with scipy on both sides of it."""
    coil = replace(COIL, resistance=resistance, open_inductance=6.0, closed_inductance=8.0)
    times = moments(coil)
    stepped = Stepped(coil, times, volts=-coil.clamp, amps=0.024, closed=True)

    agree(release(coil, 0.024), stepped, times, full=0.024)


@settings(deadline=None)
@given(driven_coils())
def test_the_current_never_jumps_and_never_turns_round(driven: tuple[Coil, float]) -> None:
    """Where one piece ends the next begins; the clamp does not drive current backwards."""
    coil, volts = driven
    full = volts / coil.resistance
    for course in (energise(coil, volts), release(coil, full)):
        for piece, following in zip(course.pieces, course.pieces[1:], strict=False):
            end = float(piece.at(np.asarray(following.begin)))
            assert end == pytest.approx(following.amps, abs=1e-9 * full)
        assert course.at(moments(coil)).min() >= -1e-9 * full


def test_the_current_dips_while_the_armature_moves() -> None:
    """It rises until the armature leaves, falls until it lands and rises again, to V/R."""
    course = energise(COIL, VOLTS)
    assert course.moves is not None
    assert course.lands is not None
    before, during, after = (
        course.at(np.linspace(begin, end, 101))
        for begin, end in [(0.0, course.moves), (course.moves, course.lands), (course.lands, 0.2)]
    )

    assert (np.diff(before) > 0).all()
    assert (np.diff(during) < 0).all()
    assert (np.diff(after) >= 0).all()
    assert before[-1] == pytest.approx(COIL.pull_in)
    assert during[-1] < 0.95 * COIL.pull_in
    assert after[-1] == pytest.approx(FULL)


def test_a_slow_armature_only_bends_the_rise() -> None:
    """The current dips where V/(R + dL/dt) is below pull-in, and not otherwise."""
    course = energise(replace(COIL, travel_on=0.020), VOLTS)

    assert (np.diff(course.at(np.linspace(0.0, 0.1, 1001))) > 0).all()


def test_through_a_diode_the_current_rises_again_while_the_armature_leaves() -> None:
    """The flux holds on: as the gap opens quickly, the current that carries it has to grow."""
    course = release(replace(COIL, travel_off=0.001), FULL)
    assert course.moves is not None
    leaving = course.at(course.moves + np.linspace(0.0, 0.001, 11))

    assert (np.diff(leaving) > 0).all()


def test_a_diode_makes_the_release_slow_and_a_zener_diode_makes_it_less_slow() -> None:
    """Diode slower than diode with Zener diode, slower than none; so does the clamp last."""
    courses = [release(replace(COIL, clamp=clamp), FULL) for clamp in (DIODE, ZENER, NONE)]
    lands = [course.lands or 0.0 for course in courses]
    clamped = [course.clamped_until or 0.0 for course in courses]

    assert lands == sorted(lands, reverse=True)
    assert clamped == sorted(clamped, reverse=True)
    assert lands[0] > 1.5 * lands[1]
    assert lands[1] > 1.2 * lands[2]


def test_a_hard_clamp_takes_the_current_away_before_the_armature_is_back() -> None:
    """Nothing flows any more, the armature still travels and lands in its own time."""
    course = release(replace(COIL, clamp=NONE), FULL)
    assert course.moves is not None
    assert course.clamped_until is not None

    assert course.lands == course.moves + COIL.travel_off
    assert course.moves < course.clamped_until < course.lands
    assert course.at(np.array([course.clamped_until, course.lands, 1.0])).tolist() == [0.0, 0.0, 0.0]


def test_a_current_that_dies_just_as_the_armature_lands_is_cut_off_all_the_same() -> None:
    """Clamps around the one with which both fall together, some last bits apart, on a coil where rounding decides."""
    coil = replace(
        COIL,
        resistance=3322.5633795867216,
        open_inductance=40.8861889210148,
        closed_inductance=42.37154263221975,
        pull_in=0.005056336954538298,
        drop_out=0.002167001551944985,
        travel_off=0.01326683119810272,
    )
    low, high = 1.0, 10.0
    for _ in range(80):
        clamp = (low + high) / 2
        course = release(replace(coil, clamp=clamp), VOLTS / coil.resistance)
        late = (course.clamped_until or 0.0) > (course.lands or 0.0)
        low, high = (clamp, high) if late else (low, clamp)
    for bits in range(-30, 30):
        course = release(replace(coil, clamp=clamp + bits * float(np.spacing(clamp))), VOLTS / coil.resistance)
        assert course.clamped_until == pytest.approx(course.lands, rel=1e-9)


@pytest.mark.parametrize(
    ("amps", "moment"),
    [(0.5, np.log(2)), (0.0, 0.0), (1.0, None), (2.0, None), (-0.5, None)],
    ids=["half way", "already", "only at last", "never", "in the past"],
)
def test_a_piece_says_when_it_reaches_a_current(amps: float, moment: float | None) -> None:
    """From nothing to 1 A with 1 s: a logarithm where it does, None where it does not."""
    piece = Piece(begin=3.0, amps=0.0, volts=1.0, resistance=1.0, inductance=1.0)

    assert piece.reaches(amps) == (None if moment is None else pytest.approx(3.0 + moment))


def test_a_piece_without_any_voltage_left_stays_as_it_is() -> None:
    """V/R from the beginning: it is there at once, and nowhere else ever."""
    piece = Piece(begin=3.0, amps=1.0, volts=1.0, resistance=1.0, inductance=1.0)

    assert (piece.reaches(1.0), piece.reaches(0.5)) == (3.0, None)


def test_a_cold_coil_pulls_in_earlier_and_a_hot_one_later() -> None:
    """At the same voltage; a coil too hot for its voltage not at all."""
    lands = [energise(hot(COIL, celsius), VOLTS).lands for celsius in (-20, 20, 70)]

    assert lands == sorted(lands, key=lambda moment: moment or 0.0)
    assert lands[1] == energise(COIL, VOLTS).lands
    assert energise(hot(COIL, 160.0), VOLTS).moves is None


@pytest.mark.parametrize("celsius", [-40.0, 20.0, 85.0])
def test_a_hot_coil_needs_more_volts_to_pull_in(celsius: float) -> None:
    """The least voltage goes with the resistance, because the ampere-turns stay."""
    coil = hot(COIL, celsius)
    least = 0.65 * VOLTS * (234.5 + celsius) / 254.5

    assert energise(coil, 0.9999 * least).moves is None
    assert energise(coil, 1.0001 * least).moves is not None


def test_below_pull_in_it_never_moves() -> None:
    """The current settles at V/R, be it just below or exactly at the threshold, and no logarithm is asked."""
    for volts in (0.0, 0.5 * VOLTS, COIL.pull_in * OHMS):
        course = energise(COIL, volts)
        assert course.moves is None
        assert course.lands is None
        assert float(course.at(np.array([1.0]))[0]) == pytest.approx(volts / OHMS)


def test_a_closed_armature_stays_above_drop_out_and_leaves_below_it() -> None:
    """Voltage lowered instead of switched off: held at 30 % of nominal, let go at 25 %."""
    held, let_go = (energise(COIL, share * VOLTS, FULL, closed=True) for share in (0.30, 0.25))

    assert held.moves is None
    assert let_go.moves is not None
    assert float(let_go.at(np.array([1.0]))[0]) == pytest.approx(0.25 * FULL)
    assert let_go.clamped_until is None


def test_switched_on_again_before_it_let_go_the_armature_stays() -> None:
    """Current already below drop-out or not: what pulls it is coming back."""
    course = energise(COIL, VOLTS, 0.2 * FULL, closed=True)

    assert course.moves is None
    assert course.at(np.array([0.0, 1.0])) == pytest.approx([0.2 * FULL, FULL])


def test_an_armature_past_its_threshold_leaves_at_once() -> None:
    """A closed one without current, an open one with enough of it."""
    assert release(COIL, 0.1 * FULL).moves == 0.0
    assert energise(COIL, VOLTS, 0.8 * FULL).moves == 0.0
    empty = release(COIL, 0.0)
    assert (empty.moves, empty.lands, empty.clamped_until) == (0.0, COIL.travel_off, 0.0)
    assert not empty.at(np.linspace(0, 0.1, 11)).any()


def test_an_open_armature_stays_where_it_is_when_the_coil_is_let_go() -> None:
    """A pulse too short to pull in: the current dies away through the open armature's inductance."""
    course = release(COIL, 0.5 * FULL, closed=False)
    tau = COIL.open_inductance / OHMS

    assert course.moves is None
    assert course.clamped_until == pytest.approx(tau * np.log1p(0.5 * VOLTS / DIODE))


def test_samples_may_be_asked_for_in_any_order_and_shape() -> None:
    """Also at one moment, and before switching, when the current was what it was."""
    course = release(COIL, FULL)
    times = np.linspace(0.0, 0.03, 301)
    order = np.random.default_rng(1).permutation(301)

    assert course.at(times[order]).tolist() == course.at(times)[order].tolist()
    assert course.at(times.reshape(7, 43)).shape == (7, 43)
    assert float(course.at(np.asarray(0.01))) == course.at(np.array([0.01]))[0]
    assert course.at(np.array([-1.0]))[0] == FULL


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"resistance": 0.0}, "resistance 0 is not above zero"),
        ({"travel_on": float("nan")}, "travel on nan is not above zero"),
        ({"clamp": -0.7}, "clamp -0.7 is not above zero"),
        ({"closed_inductance": 5.0}, "closed inductance 5 H is not above open inductance 5 H"),
        ({"drop_out": 1.0}, "drop-out current 1 A is not below pull-in current"),
    ],
)
def test_what_cannot_be_a_coil_is_refused(wrong: dict[str, float], message: str) -> None:
    """At birth, in a sentence."""
    with pytest.raises(ValueError, match=message):
        replace(COIL, **wrong)


def test_what_cannot_be_switched_is_refused() -> None:
    """Voltages and currents of the wrong sign or none, temperatures below copper's line."""
    for volts in (-1.0, float("nan"), float("inf")):
        with pytest.raises(ValueError, match="not a voltage"):
            energise(COIL, volts)
    for amps in (-1.0, float("nan")):
        with pytest.raises(ValueError, match="not a current"):
            release(COIL, amps)
    with pytest.raises(ValueError, match="no temperature for copper"):
        hot(COIL, -234.5)
