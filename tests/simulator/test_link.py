"""The controller's end of the link in this process."""

import pytest

from benchtest.errors import AdapterRefused
from benchtest.instruments import Link
from tests.simulator.stand import Stand, greenhouse


def linked() -> tuple[Stand, Link]:
    stand = greenhouse()
    stand.power(alive=False)
    assert stand.link is not None
    stand.link.messages()
    return stand, stand.link


def test_the_heartbeat_comes_at_once_and_then_on_time_until_silenced() -> None:
    """Every 100 ms from now on, stamped with the clock; silence is harmless when repeated."""
    stand, link = linked()
    begun = stand.clock.now()
    link.heartbeat("ControllerHeartbeat", every=0.1)
    stand.wait(0.45)
    link.silence()
    link.silence()
    stand.wait(1.0)
    beats = [m.at - begun for m in link.messages() if m.sent]

    assert beats == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.4])


def test_signals_left_out_keep_their_last_value() -> None:
    """A command names only what changes; the rest stays as last sent, 0 at first."""
    _, link = linked()
    link.send("ZoneCommand", {"fan_1": 1})
    link.send("ZoneCommand", {"pump": 1})
    first, second = [m.signals for m in link.messages() if m.sent]

    assert (first["fan_1"], first["pump"]) == (1, 0)
    assert (second["fan_1"], second["pump"]) == (1, 1)


def test_messages_are_given_once_and_in_order() -> None:
    """Sent and received messages come mixed in order of time, and not again."""
    stand, link = linked()
    link.heartbeat("ControllerHeartbeat", every=0.2)
    stand.wait(2.0)
    moments = [m.at for m in link.messages()]

    assert moments == sorted(moments)
    assert len(moments) > 15
    assert link.messages() == []


def test_what_the_database_does_not_have_is_refused() -> None:
    """An unknown message, an unknown signal and a heartbeat without an interval send nothing."""
    _, link = linked()
    with pytest.raises(AdapterRefused, match="'ZoneCommando' is not in the signal database"):
        link.send("ZoneCommando", {})
    with pytest.raises(AdapterRefused, match="no signal 'fan_9'"):
        link.send("ZoneCommand", {"fan_9": 1})
    with pytest.raises(AdapterRefused, match="every 0 s"):
        link.heartbeat("ControllerHeartbeat", every=0)
    assert all(not m.sent for m in link.messages())


def test_a_relay_that_holds_without_link_keeps_its_command() -> None:
    """`without_link: holds` outlives the link; its neighbours are released."""
    stand = greenhouse(without_link={"K2": "holds"})
    stand.power()
    stand.say(fan_1=1, fan_2=1)
    stand.wait(0.1)
    assert stand.link is not None
    stand.link.silence()
    stand.wait(2.0)

    assert (stand.energised("K2"), stand.energised("K3")) == (True, False)


def test_what_is_not_fitted_is_quiet() -> None:
    """On the one-bay board the channels of bay B see an open contact, no voltage and no light."""
    stand = greenhouse(variant="one-bay")
    stand.power()
    stand.say(valve_b=1)
    stand.wait(0.1)
    contacts, senses = stand.harness.contact, stand.harness.sense
    readings = {str(pair): stand.bench.measure(channel) for pair, channel in {**contacts, **senses}.items()}

    assert readings["X12.5-X12.6"] > 11
    assert abs(readings["TP.9-X1.2"]) < 0.01
    assert abs(stand.bench.measure(stand.light("D9"))) < 0.05
