"""The program of the virtual board does what its profile says: interlocks, loss of link and supplies, codes."""

from itertools import pairwise

import numpy as np
import pytest

from benchtest.instruments import Order
from tests.simulator.stand import Stand, edges, greenhouse
from tests.simulator.stand import carwash as carwash_board

VALVES = {"valve_a": 1, "valve_b": 1, "pump": 1, "frost_hold": 1}


def working(*faults: str) -> Stand:
    """A powered greenhouse board with valves and pump open and the heater held off."""
    stand = greenhouse(*faults)
    stand.power()
    stand.say(**VALVES)
    stand.wait(0.1)
    return stand


def test_losing_the_link_drops_the_valves_and_lets_the_heater_go_on() -> None:
    """0.7 to 1.4 s after the last heartbeat the valves open, the form B heater contact closes, and they stay so."""
    stand = working()
    assert all(stand.energised(relay) for relay in ("K1", "K8", "K9", "K10"))
    assert stand.link is not None
    stand.link.silence()
    last = max(m.at for m in stand.link.messages() if m.sent and m.name == "ControllerHeartbeat")
    begun = stand.clock.now()
    recording = stand.record(stand.coil("K8"), stand.contact("K1"), seconds=2.0, rate=1000.0)

    assert 0.7 < begun + edges(recording, stand.coil("K8"), above=12.0)[0] - last < 1.4
    assert stand.closed("K1")
    assert not any(stand.closed(relay) for relay in ("K8", "K9", "K10"))
    stand.link.heartbeat("ControllerHeartbeat", every=0.2)
    stand.wait(2.0)
    assert not any(stand.energised(relay) for relay in ("K1", "K8", "K9", "K10"))
    stand.say(**VALVES)
    stand.wait(0.1)
    assert all(stand.energised(relay) for relay in ("K1", "K8", "K9", "K10"))


def test_a_relay_by_input_is_released_without_link_too() -> None:
    """Shade by hand drops with the link, as its profile says, and follows its switch again when the link is back."""
    stand = greenhouse()
    stand.power()
    stand.bench.set(stand.input("shade_switch"), 1)
    stand.wait(0.1)
    assert stand.link is not None
    seen = [stand.energised("K7")]
    stand.link.silence()
    stand.wait(2.0)
    seen.append(stand.energised("K7"))
    stand.link.heartbeat("ControllerHeartbeat", every=0.2)
    stand.wait(0.2)
    seen.append(stand.energised("K7"))

    assert seen == [True, False, True]


def test_a_spike_shorter_than_the_input_filter_is_not_a_demand() -> None:
    """A demand of 7 ms moves nothing; one of 100 ms does."""
    stand = greenhouse()
    stand.power()
    demand, coil = stand.input("mist_demand"), stand.coil("K4")
    for seconds, seen in ((0.007, False), (0.1, True)):
        orders = (Order(at=0.02, channel=demand, value=1), Order(at=0.02 + seconds, channel=demand, value=0))
        volts = stand.record(coil, orders=orders, seconds=0.3).samples(coil)
        assert bool(volts.max() > 20) is seen


def test_losing_the_supply_does_the_same_and_its_return_starts_nothing() -> None:
    """Without 24 V d.c. every coil is off and the heater goes on; with it back, nothing moves until commanded."""
    stand = working()
    orders = (
        Order(at=0.1, channel=stand.supply("main"), value=0.0),
        Order(at=1.0, channel=stand.supply("main"), value=24.0),
    )
    recording = stand.record(stand.coil("K8"), stand.contact("K1"), orders=orders, seconds=2.0, rate=1000.0)

    off = edges(recording, stand.coil("K8"), above=12.0)
    assert len(off) == 1
    assert 0.1 < off[0] < 0.15
    assert recording.samples(stand.contact("K1"))[-1] < 1.0
    assert not any(stand.energised(relay) for relay in ("K1", "K8", "K9", "K10"))


def test_a_brown_out_below_two_thirds_resets_the_program() -> None:
    """At 15 V the program is in reset and the coils are off; at 20 V it keeps working."""
    stand = working()
    for volts, stays in ((20.0, True), (15.0, False)):
        stand.bench.source(stand.supply("main"), volts=volts, amps=1.5)
        stand.wait(0.1)
        assert (stand.bench.measure(stand.coil("K8")) > 10) is stays


def test_the_first_of_two_excluding_relays_keeps_it() -> None:
    """Vent A opening keeps K6 off; when opening ends, closing comes by itself."""
    stand = greenhouse()
    stand.power()
    stand.say(vent_a_open=1)
    stand.wait(0.1)
    stand.say(vent_a_close=1)
    stand.wait(0.1)
    assert (stand.energised("K5"), stand.energised("K6")) == (True, False)
    recording = stand.record(stand.coil("K5"), stand.coil("K6"), say={"vent_a_open": 0})
    (off,), (on,) = (edges(recording, stand.coil(relay), above=12.0) for relay in ("K5", "K6"))
    assert off < on < off + 0.080


def test_both_vent_commands_at_once_never_energise_both_coils() -> None:
    """Commanded in one message, K5 goes on and K6 does not, not even for one sample."""
    stand = greenhouse()
    stand.power()
    recording = stand.record(stand.coil("K5"), stand.coil("K6"), say={"vent_a_open": 1, "vent_a_close": 1})

    assert recording.samples(stand.coil("K5"))[-1] > 20
    assert recording.samples(stand.coil("K6")).max() < 1


def test_the_pump_follows_the_last_valve() -> None:
    """The pump needs one valve: it outlives K8, stops within 80 ms of K9, and returns by itself with a valve."""
    stand = working()
    stand.say(valve_a=0)
    stand.wait(0.1)
    assert stand.energised("K10")
    recording = stand.record(stand.coil("K9"), stand.coil("K10"), say={"valve_b": 0})
    (valve,), (pump,) = (edges(recording, stand.coil(relay), above=12.0) for relay in ("K9", "K10"))
    assert 0 < pump - valve < 0.080
    stand.say(valve_a=1)
    stand.wait(0.1)
    assert stand.energised("K10")


def test_misting_stops_with_the_door_and_waits_for_a_new_demand() -> None:
    """The door opens: K4 off within 80 ms. It shuts: K4 stays off until the demand has gone and come again."""
    stand = greenhouse()
    stand.power()
    stand.bench.set(stand.input("mist_demand"), 1)
    stand.wait(0.1)
    assert stand.energised("K4")
    order = Order(at=0.02, channel=stand.input("door_shut"), value=0)
    recording = stand.record(stand.coil("K4"), orders=(order,))
    assert 0 < edges(recording, stand.coil("K4"), above=12.0)[0] - 0.02 < 0.080
    stand.bench.set(stand.input("door_shut"), 1)
    stand.wait(0.2)
    assert not stand.energised("K4")
    for demand in (0, 1):
        stand.bench.set(stand.input("mist_demand"), demand)
        stand.wait(0.1)
    assert stand.energised("K4")


def test_an_ignored_interlock_lets_the_relay_run() -> None:
    """With the door interlock ignored K4 goes on with the door open; every other interlock is kept."""
    stand = greenhouse("misting only with the door shut ignored")
    stand.power()
    stand.bench.set(stand.input("door_shut"), 0)
    stand.bench.set(stand.input("mist_demand"), 1)
    stand.say(pump=1)
    stand.wait(0.2)
    assert stand.energised("K4")
    assert not stand.energised("K10")


def test_the_dryer_returns_by_itself_when_the_water_stops() -> None:
    """On the car-wash board K4 gives way to K1 and comes back; K3 by the gate does not."""
    stand = carwash_board()
    stand.power()
    for name, value in (("dryer", 1), ("brush", 1), ("water", 1), ("gate_shut", 0)):
        stand.bench.set(stand.input(name), value)
        stand.wait(0.2)
    assert [stand.closed(relay) for relay in ("K1", "K3", "K4")] == [True, False, False]
    stand.bench.set(stand.input("water"), 0)
    stand.bench.set(stand.input("gate_shut"), 1)
    stand.wait(0.2)
    assert [stand.closed(relay) for relay in ("K1", "K3", "K4")] == [False, False, True]


def lit_and_dark(stand: Stand, lamp: str) -> list[float]:
    """Durations between the edges of a lamp, in seconds."""
    recording = stand.record(stand.light(lamp), seconds=20.0, rate=1000.0)
    return [float(length) for length in np.diff(edges(recording, stand.light(lamp), above=0.4))]


def test_the_status_lamp_keeps_the_rhythm_of_its_profile() -> None:
    """Code 1 is flash and pause in turn, both within 2 % (and one sample) of what the profile says."""
    stand = greenhouse()
    stand.power()
    code = stand.profile.codes["status"]
    assert code.kind == "count"
    lengths = lit_and_dark(stand, "D21")

    for length in lengths:
        nearest = min((code.flash, code.pause), key=lambda known: abs(known - length))
        assert length == pytest.approx(nearest, rel=0.02, abs=1.1e-3)
    assert len(lengths) > 20


@pytest.mark.parametrize(
    ("prepare", "flashes"),
    [("nothing", 1), ("link silent", 2), ("interlock", 3), ("field off", 4), ("probe shorted", 5)],
)
def test_the_status_lamp_counts_the_first_meaning_that_holds(prepare: str, flashes: int) -> None:
    """The status lamp flashes 1 to 5 times as the profile's table says; a repeat is followed by its pause at once."""
    stand = greenhouse()
    stand.power(alive=prepare != "link silent")
    if prepare == "interlock":
        stand.say(vent_a_open=1, vent_a_close=1)
    elif prepare == "field off":
        stand.bench.off(stand.supply("field"))
    elif prepare == "probe shorted":
        stand.bench.set(stand.input("probe_b"), 0.0)
    stand.wait(3.0)
    code = stand.profile.codes["status"]
    assert code.kind == "count"
    lengths = lit_and_dark(stand, "D21")

    pauses = [place for place, length in enumerate(lengths) if length > 0.8 * code.pause]
    assert {b - a for a, b in pairwise(pauses)} == {2 * flashes}


def test_the_probe_lamp_gives_two_digits_for_each_probe() -> None:
    """Probe A open and probe B at frost read 21 12: slow flashes, quick flashes, and the pauses between."""
    stand = greenhouse()
    stand.power()
    stand.bench.set(stand.input("probe_a"), float("inf"))
    stand.bench.set(stand.input("probe_b"), 32.6e3)
    stand.wait(10.0)
    code = stand.profile.codes["probes"]
    assert code.kind == "digits"
    slow, quick = code.slow, code.quick
    whole = [slow, slow, slow, code.between_digits, quick, code.between_probes, slow, code.between_digits]
    whole += [quick, quick, quick, code.pause]
    lengths = lit_and_dark(stand, "D22")

    begin = next(place for place, length in enumerate(lengths) if length > 0.9 * code.pause) + 1
    assert lengths[begin : begin + len(whole)] == pytest.approx(whole, rel=0.02, abs=1.1e-3)


def test_a_wrong_code_is_a_code_but_another_one() -> None:
    """With the fault the status lamp of a good board flashes twice, not once."""
    stand = greenhouse("D21 lamp code wrong")
    stand.power()
    lengths = lit_and_dark(stand, "D21")
    code = stand.profile.codes["status"]
    assert code.kind == "count"

    pauses = [place for place, length in enumerate(lengths) if length > 0.8 * code.pause]
    assert {b - a for a, b in pairwise(pauses)} == {4}


def test_the_board_sends_its_heartbeat_and_answers_commands() -> None:
    """ZoneHeartbeat comes every 225 to 275 ms and counts; ZoneStatus shows k2 within 60 ms of the command."""
    stand = greenhouse()
    stand.power()
    assert stand.link is not None
    stand.link.messages()
    sent = stand.link.send("ZoneCommand", {"fan_1": 1})
    stand.wait(5.0)
    traffic = stand.link.messages()

    beats = [message for message in traffic if message.name == "ZoneHeartbeat"]
    assert np.diff([beat.at for beat in beats]) == pytest.approx(0.25, abs=0.025)
    assert set(np.diff([beat.signals["sequence"] for beat in beats])) <= {1.0, -255.0}
    answer = next(m for m in traffic if m.name == "ZoneStatus" and m.at >= sent and m.signals["k2"] == 1)
    assert 0 < answer.at - sent < 0.060
    assert answer.signals["supply"] == pytest.approx(24.0, abs=0.01)


def test_status_follows_inputs_and_supplies() -> None:
    """The status message shows each input and the 24 V a.c. as they are."""
    stand = greenhouse()
    stand.power()
    assert stand.link is not None
    for name, signal in (("mist_demand", "in_mist_demand"), ("shade_switch", "in_shade_switch")):
        stand.bench.set(stand.input(name), 1)
        stand.wait(0.1)
        assert stand.link.messages()[-1].signals.get(signal, 1.0) == 1.0
    stand.bench.off(stand.supply("field"))
    stand.wait(1.1)
    status = [message for message in stand.link.messages() if message.name == "ZoneStatus"][-1]
    assert (status.signals["field_ok"], status.signals["in_mist_demand"], status.signals["in_door_shut"]) == (0, 1, 1)


def test_a_silent_board_says_nothing_and_still_obeys() -> None:
    """With its transmitter dead the board sends no frame, while K2 follows its command."""
    stand = greenhouse("link silent")
    stand.power()
    assert stand.link is not None
    stand.say(fan_1=1)
    stand.wait(1.0)
    assert all(message.sent for message in stand.link.messages())
    assert stand.energised("K2")
