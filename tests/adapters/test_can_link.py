"""The CAN link through python-can's own serial-line interface, against the served peer over a real pseudo-terminal."""

import gc
import io
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass, field

import pytest

from benchtest.adapters.can_link import open_can
from benchtest.clock import RealClock
from benchtest.errors import AdapterMissing, AdapterRefused, LinkLost, PlanError
from benchtest.fixture.document import Adapter
from benchtest.instruments import Link, Message
from benchtest.messages import EXTENDED
from benchtest.procedure import LinkPlan
from benchtest.simulator.server import SceneClock, open_door, serve
from tests.server.table_bench import TableBench

CLOCK = RealClock()
DATABASE = """VERSION ""
BU_: board host
BO_ 291 Order: 3 host
 SG_ Valve : 0|8@1+ (1,0) [0|200] "" board
 SG_ Level : 8|16@1+ (0.1,0) [0|6553.5] "V" board
BO_ 2566844672 Report: 2 board
 SG_ Count : 0|16@1+ (1,0) [0|65535] "" host
"""
"""Order is 0x123 with 11 bits; Report is 0x18FEF100 with 29 (bit 31 marks them in a DBC file: common practice)."""


@dataclass
class EchoWorld:
    """A bus with one node: it answers every frame by a Report that counts, and keeps what it heard."""

    heard: list[tuple[int, bytes]] = field(default_factory=list)
    sent: list[tuple[float, int, bytes]] = field(default_factory=list)
    next_event: float | None = None

    def advance(self, to: float) -> None:
        """Do nothing by itself."""

    def receive(self, can_id: int, data: bytes) -> None:
        self.heard.append((can_id, data))
        self.sent.append((0.0, EXTENDED | 0x18FEF100, len(self.heard).to_bytes(2, "little")))

    def take_sent(self) -> list[tuple[float, int, bytes]]:
        sent, self.sent = self.sent, []
        return sent


@dataclass
class Bus:
    world: EchoWorld
    port: str
    die: Callable[[], None]


@pytest.fixture(params=[None, 0], ids=["pty", "tcp"])
def bus(request: pytest.FixtureRequest) -> Iterator[Bus]:
    world, clock, stop = EchoWorld(), SceneClock(), threading.Event()
    with ExitStack() as stack:
        door, can_door = open_door(stack, None), open_door(stack, request.param)
        keywords = {"clock": clock, "door": door, "out": io.StringIO(), "stop": stop}
        keywords |= {"world": world, "can_door": can_door}
        thread = threading.Thread(target=serve, args=(TableBench(clock),), kwargs=keywords)

        def die() -> None:
            stop.set()
            thread.join(5)
            stack.close()

        thread.start()
        try:
            yield Bus(world, can_door.name, die)
        finally:
            die()


def opened(port: str, *, database: str = DATABASE, interface: str = "slcan") -> AbstractContextManager[Link]:
    plan = LinkPlan(database=database, bit_rate=125e3, heartbeat="Order", every=0.02, terminals="X6.1-X6.2")
    adapter = Adapter(driver="can", interface=interface)
    return open_can(adapter=adapter, port=port, plan=plan, clock=CLOCK)


def collected(link: Link, count: int, *, within: float = 2.0) -> list[Message]:
    """Return the messages once there are `count` received ones, or what came in time."""
    found: list[Message] = []
    deadline = CLOCK.now() + within
    while sum(not message.sent for message in found) < count and CLOCK.now() < deadline:
        found += link.messages()
        CLOCK.sleep_until(CLOCK.now() + 0.005)
    return found


def test_frames_go_both_ways_with_their_signals(bus: Bus) -> None:
    """A message arrives on the bus as its database says, and the board's answer comes back decoded."""
    with opened(bus.port) as link:
        at = link.send("Order", {"Valve": 7, "Level": 24.5})
        sent, received = collected(link, 1)

    assert [(0x123, bytes([7, 0xF5, 0x00]))] == bus.world.heard
    assert (True, "Order", {"Valve": 7.0, "Level": 24.5}, at) == (sent.sent, sent.name, sent.signals, sent.at)
    assert (False, "Report", {"Count": 1.0}) == (received.sent, received.name, received.signals)
    assert "18FEF100#0100" == received.frame
    assert at <= received.at <= at + 0.5


def test_signals_left_out_keep_their_last_value(bus: Bus) -> None:
    """A second message repeats the signals that it does not name."""
    with opened(bus.port) as link:
        link.send("Order", {"Valve": 7})
        link.send("Order", {"Level": 1.0})
        collected(link, 2)

    assert [bytes([7, 0, 0]), bytes([7, 10, 0])] == [data for _, data in bus.world.heard]


def test_heartbeat_keeps_its_period_and_can_be_silenced(bus: Bus) -> None:
    """Over 0.2 s a heartbeat of 20 ms goes about ten times, each one recorded as sent, and none after silence."""
    with opened(bus.port) as link:
        link.heartbeat("Order", every=0.02)
        CLOCK.sleep_until(CLOCK.now() + 0.2)
        link.silence()
        link.silence()
        beats = [message for message in link.messages() if message.sent]
        CLOCK.sleep_until(CLOCK.now() + 0.05)
        after = [message for message in link.messages() if message.sent]

    mean = (beats[-1].at - beats[0].at) / (len(beats) - 1)
    assert 0.019 < mean < 0.021
    assert [] == after


def test_unknown_and_short_frames_are_kept_without_a_name(bus: Bus) -> None:
    """A frame that the database does not know, or that is too short for it, is kept as it came."""
    with opened(bus.port) as link:
        bus.world.sent += [(0.0, 0x7FF, b"\x01\x02"), (0.0, EXTENDED | 0x18FEF100, b"\x01")]
        found = collected(link, 2)

    assert [("", "7FF#0102"), ("", "18FEF100#01")] == [(message.name, message.frame) for message in found]


def test_dead_receiver_is_told_at_the_next_call(bus: Bus) -> None:
    """When the far side dies, every later call raises LinkLost, and closing neither raises nor hangs."""
    with opened(bus.port) as link:
        link.send("Order", {})
        bus.die()
        CLOCK.sleep_until(CLOCK.now() + 0.2)
        began = CLOCK.now()
        with pytest.raises(LinkLost, match="cable was pulled"):
            link.messages()
        with pytest.raises(LinkLost, match="cable was pulled"):
            link.send("Order", {})
        with pytest.raises(LinkLost, match="cable was pulled"):
            link.heartbeat("Order", every=0.1)
    assert CLOCK.now() - began < 1.5
    del link
    gc.collect()  # a connection left open would be a ResourceWarning, and that an error


def test_messages_that_cannot_be_sent_are_refused(bus: Bus) -> None:
    """An unknown message, an unknown signal and a value beyond its range are refused, and nothing is sent."""
    with opened(bus.port) as link:
        for message, signals in (("Nothing", {}), ("Order", {"Door": 1.0}), ("Order", {"Valve": 201.0})):
            with pytest.raises(AdapterRefused):
                link.send(message, signals)
        with pytest.raises(AdapterRefused, match="not permitted"):
            link.heartbeat("Order", every=0)
        link.send("Order", {"Valve": 1})
        collected(link, 1)

    assert [(0x123, bytes([1, 0, 0]))] == bus.world.heard


def test_missing_port_and_broken_database_say_what_to_try() -> None:
    """A link without a device is an AdapterMissing, a database that is none a PlanError."""
    with pytest.raises(AdapterMissing, match="is the CAN adapter plugged in"), opened("/dev/no-such-port"):
        raise AssertionError("a port was found")
    with pytest.raises(AdapterMissing, match="--port"), opened(""):
        raise AssertionError("a port was found")
    with pytest.raises(PlanError, match="cannot be read"), opened("/dev/no-such-port", database="not a database"):
        raise AssertionError("the database was read")
