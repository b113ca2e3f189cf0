"""The virtual board obeys physics, as far as a bench can see.

Sources: L/R circuit and Ohm's law (any textbook); bounce from first making to last closing (MIL-R-5757J, 6.8, from a
public copy); limits of the demonstration profiles, which are our own.
"""

import numpy as np
import pytest

from benchtest.instruments import Capture, Order
from benchtest.simulator.board import LEADS
from benchtest.simulator.noise import Chance
from benchtest.simulator.scene import AC
from benchtest.simulator.specimen import Specimen
from tests.simulator.coil_stepped import Stepped
from tests.simulator.stand import BENCH, Stand, carwash, edges, greenhouse

SEED = 1
"""Of the boards on the stand."""


def switched(stand: Stand, relay: str, signal: str, *, on: int) -> tuple[float, float]:
    """Seconds from coil to first change of the contact, and from there to its last change."""
    recording = stand.record(stand.coil(relay), stand.contact(relay), say={signal: on})
    (coil,) = edges(recording, stand.coil(relay), above=12.0)
    contact = edges(recording, stand.contact(relay), above=6.0)
    return contact[0] - coil, contact[-1] - contact[0]


@pytest.mark.parametrize("seed", [1, 2, 3, 99])
def test_a_good_relay_operates_and_releases_within_its_limits(seed: int) -> None:
    """K3 makes 1 to 12 ms after its coil, bounces for at most 5 ms, and opens cleanly within 10 ms."""
    stand = greenhouse(seed=seed)
    stand.power()

    operate, bounce = switched(stand, "K3", "fan_2", on=1)
    release, after = switched(stand, "K3", "fan_2", on=0)

    assert 0.001 < operate < 0.012
    assert 0 < bounce < 0.005
    assert 0.0005 < release < 0.010
    assert after == 0.0


@pytest.mark.parametrize(
    ("fault", "what", "beyond"),
    [("K3 slow operate", "operate", 0.012), ("K3 slow release", "release", 0.010), ("K3 long bounce", "bounce", 0.005)],
)
def test_a_slow_relay_is_slow_in_that_and_nothing_else(fault: str, what: str, beyond: float) -> None:
    """A slow or bouncing relay exceeds one limit of its profile and keeps the others."""
    stand = greenhouse(fault)
    stand.power()

    operate, bounce = switched(stand, "K3", "fan_2", on=1)
    release, _ = switched(stand, "K3", "fan_2", on=0)

    limits = {"operate": 0.012, "release": 0.010, "bounce": 0.005}
    times = {"operate": operate, "release": release, "bounce": bounce}
    assert times[what] > beyond
    assert [name for name in times if times[name] > limits[name]] == [what]


def test_a_welded_contact_stays_closed_after_its_coil_is_off() -> None:
    """K3 welded is closed before, while and after its coil is on; its neighbour K2 is not."""
    stand = greenhouse("K3 contact welded")
    stand.power()

    seen = []
    for on in (0, 1, 0):
        stand.say(fan_1=on, fan_2=on)
        stand.wait(0.1)
        seen.append((stand.energised("K3"), stand.closed("K3"), stand.closed("K2")))

    assert seen == [(False, True, False), (True, True, True), (False, True, False)]


def test_a_change_over_contact_breaks_before_it_makes() -> None:
    """K11 leaves its break side before it reaches its make side, and the other way round."""
    stand = greenhouse()
    stand.power()
    make, break_ = stand.contact("K11", "make"), stand.contact("K11", "break")

    for on, leaves, reaches in ((1, break_, make), (0, make, break_)):
        recording = stand.record(make, break_, say={"diverter": on})
        assert edges(recording, leaves, above=6.0)[-1] < edges(recording, reaches, above=6.0)[0]
        both = (recording.samples(make) < 6.0) & (recording.samples(break_) < 6.0)
        assert not both.any()


def test_a_form_b_contact_opens_when_its_relay_is_energised() -> None:
    """The heater of K1 is held off by an energised coil and on without it."""
    stand = greenhouse()
    stand.power()

    assert stand.closed("K1")
    stand.say(frost_hold=1)
    stand.wait(0.1)
    assert not stand.closed("K1")


def test_the_coil_current_rises_as_the_differential_equation_says() -> None:
    """The supply current after the coil step follows d(L·i)/dt = V - R·i, stepped by scipy, within 1 % and noise."""
    stand = greenhouse()
    stand.power()
    specimen = Specimen(stand.profile, Chance(SEED), BENCH.fixture.contact_test, (), {})
    coil = specimen.relay("K3", stand.profile.relays["K3"], nominal=24.0, firmware=specimen.firmware()).coil
    supply, pad = stand.current("main"), stand.coil("K3")
    recording = stand.record(supply, pad, say={"fan_2": 1})

    amps = recording.samples(supply)
    begin = int(np.flatnonzero(recording.samples(pad) > 12.0)[0])
    rise = amps[begin : begin + 300] - amps[:150].mean()
    times = np.arange(300) / recording.rate
    final, early = 24.0 / coil.resistance, 1 / recording.rate  # the coil is switched between two samples
    stepped = [Stepped(coil, times + late, volts=24.0, amps=0.0, closed=False).values for late in (0.0, early)]
    low, high = np.minimum(*stepped), np.maximum(*stepped)

    assert final == pytest.approx(0.017, rel=0.05)
    assert amps[-500:].mean() - amps[:150].mean() == pytest.approx(final, rel=0.01)
    assert np.maximum(low - rise, rise - high).max() < 0.01 * final + 4 * 0.1e-3


def test_the_pad_goes_one_diode_drop_below_zero_when_the_driver_lets_go() -> None:
    """After release the coil's current runs through its diode: about -0.7 V for a few milliseconds, then 0 V."""
    stand = greenhouse()
    stand.power()
    stand.say(fan_2=1)
    stand.wait(0.1)
    volts = stand.record(stand.coil("K3"), say={"fan_2": 0}).samples(stand.coil("K3"))

    assert -0.8 < volts.min() < -0.6
    assert 0.002 < np.sum(volts < -0.5) / 10e3 < 0.012
    assert abs(volts[-100:].mean()) < 0.01


def test_a_broken_coil_is_driven_but_does_nothing() -> None:
    """With the coil of K3 open its pad has voltage, its contact stays open, the supply current does not rise."""
    stand = greenhouse("K3 coil open")
    stand.power()
    recording = stand.record(stand.coil("K3"), stand.contact("K3"), stand.current("main"), say={"fan_2": 1})

    assert recording.samples(stand.coil("K3"))[-1] > 20
    assert recording.samples(stand.contact("K3")).min() > 11
    assert np.ptp(recording.samples(stand.current("main"))) < 0.002


def test_a_shorted_supply_is_held_down_by_the_current_limit() -> None:
    """With a short on the board the supply limits, and the voltage is limit times short resistance."""
    stand = greenhouse("main shorted")

    assert stand.bench.measure(stand.harness.ohms[stand.profile.supplies["main"].terminals]) < 1
    stand.bench.source(stand.supply("main"), volts=6.0, amps=0.15)
    stand.wait(0.1)
    state = stand.bench.supply_state(stand.supply("main"))

    assert state.limiting
    assert state.amps == pytest.approx(0.15, rel=0.01)
    assert state.volts < 0.1


def test_a_supply_in_order_does_not_limit_at_any_stage() -> None:
    """6 V and 12 V at 150 mA and 24 V at 1.5 A are reached, and the idle current at 24 V is within 25 to 95 mA."""
    stand = greenhouse()
    for volts, amps in ((6.0, 0.15), (12.0, 0.15), (24.0, 1.5)):
        stand.bench.source(stand.supply("main"), volts=volts, amps=amps)
        stand.wait(0.2)
        state = stand.bench.supply_state(stand.supply("main"))
        assert not state.limiting
        assert state.volts == pytest.approx(volts, rel=1e-3)
    assert 0.025 < state.amps < 0.095


def test_the_alternating_supply_is_a_sine_of_fifty_hertz() -> None:
    """24 V a.c. come from a source that is off by 1.5 % at most; the peak is √2 times that, in 0.2 s are ten cycles."""
    stand = greenhouse()
    stand.power()
    sense = stand.sense("X1.3-X1.4")
    volts = stand.record(sense).samples(sense)

    rms = np.sqrt(np.mean(volts**2))
    assert rms == pytest.approx(24.0, rel=AC + 2e-3)
    assert volts.max() == pytest.approx(rms * np.sqrt(2), rel=2e-3)
    assert abs(int(np.sum(np.diff(np.signbit(volts)))) - 20) <= 1
    assert stand.bench.measure(sense) == pytest.approx(rms, rel=2e-3)


def test_rails_stand_when_there_is_supply_and_fall_when_there_is_none() -> None:
    """5 V and 3.3 V are within their limits at 24 V, and gone without it."""
    stand = greenhouse()
    stand.power()
    assert 4.8 < stand.bench.measure(stand.sense("TP.20-X1.2")) < 5.2
    assert 3.2 < stand.bench.measure(stand.sense("TP.19-X1.2")) < 3.4
    stand.bench.off(stand.supply("main"))
    stand.wait(0.5)
    assert abs(stand.bench.measure(stand.sense("TP.20-X1.2"))) < 0.01


def test_a_relay_without_coil_pads_meets_its_limits_from_the_input() -> None:
    """On the car-wash board 1 to 45 ms pass from the water demand to the contact of K1, filter and relay together."""
    stand = carwash()
    stand.power()
    contact = stand.contact("K1")
    order = Order(at=0.05, channel=stand.input("water"), value=1)
    recording = stand.record(contact, orders=(order,))
    (done,) = recording.done

    assert abs(done.at - 0.05) <= 20e-6
    assert 0.001 < edges(recording, contact, above=6.0)[0] - done.at < 0.045


def test_a_pulse_too_short_for_the_armature_never_closes_the_contact() -> None:
    """A coil that is on for less than the operate time does not move its contact, and leaves no stray bounce."""
    stand = greenhouse()
    stand.power()
    started = stand.bench.begin(
        Capture(orders=(), duration=0.1, rate=10e3, channels=(stand.contact("K3"), stand.coil("K3")))
    )
    stand.say(fan_2=1)
    stand.clock.sleep_until(started.at + 0.0045)  # less than the operate time of about 6 ms
    stand.say(fan_2=0)
    recording = stand.bench.fetch()

    assert len(edges(recording, stand.coil("K3"), above=12.0)) == 2
    assert recording.samples(stand.contact("K3")).min() > 11


def test_a_supply_sags_behind_its_leads() -> None:
    """Ohm's law: what the board takes through the leads is missing at its terminals, more with a relay energised."""
    stand = greenhouse()
    stand.power()
    supply = stand.profile.supplies["main"]
    volts, amps = stand.harness.sense[supply.terminals], stand.harness.current[supply.terminals]

    missing = []
    for on in (0, 1):
        recording = stand.record(volts, amps, say={"fan_2": on})
        seen = [float(np.mean(recording.samples(channel)[-500:])) for channel in (volts, amps)]
        missing.append((supply.nominal - seen[0], seen[1]))

    (rest, idle), (worked, taken) = missing
    assert taken - idle > 10e-3
    assert worked - rest == pytest.approx(LEADS * (taken - idle), abs=2e-4)
