"""Bus-off and a full transmit queue, on python-can's virtual bus with a state of its own."""

import errno
from typing import Any

import can
import pytest
from can.interfaces.virtual import VirtualBus

from benchtest.adapters.board_link import BoardLink
from benchtest.adapters.can_link import CanLine
from benchtest.clock import RealClock
from benchtest.errors import LinkLost
from benchtest.messages import CanCodec
from tests.adapters.test_can_link import DATABASE

CLOCK = RealClock()


class Bus(VirtualBus):
    """A virtual bus whose controller can go bus-off and whose queue can be full for some frames."""

    off = False
    refuses = 0

    @property
    def state(self) -> can.BusState:
        return can.BusState.ERROR if self.off else can.BusState.ACTIVE

    @state.setter
    def state(self, new_state: can.BusState) -> None:
        raise NotImplementedError

    def send(self, msg: can.Message, timeout: float | None = None) -> None:
        if self.off:
            raise can.CanOperationError("bus-off", errno.ENETDOWN)
        if self.refuses:
            self.refuses -= 1
            raise can.CanOperationError("no room", errno.ENOBUFS)
        super().send(msg, timeout)


def linked() -> tuple[BoardLink, list[Bus]]:
    buses: list[Bus] = []

    def reopen() -> Any:
        buses.append(Bus(channel="recovery"))
        return buses[-1]

    codec = CanCodec(DATABASE)
    line = CanLine(reopen, clock=CLOCK, name="can0", bit_rate=125e3)
    return BoardLink(line, codec=codec, clock=CLOCK), buses


def test_bus_off_is_recovered_once_and_told_and_then_lost() -> None:
    """The refused order goes on the bus that was opened anew; the second bus-off is LinkLost."""
    link, buses = linked()
    try:
        buses[0].off = True
        link.send("Order", {"Valve": 1})
        (remark,) = link.remarks()
        buses[1].off = True
        with pytest.raises(LinkLost, match="bus-off"):
            link.send("Order", {"Valve": 2})
    finally:
        link.close()

    assert "opened anew" in remark.text
    assert remark.deaf >= 0
    assert 2 == len(buses)


def test_a_full_queue_is_waited_for_and_then_lost_with_words() -> None:
    """Three refusals are borne; a queue that stays full says what to check."""
    link, buses = linked()
    try:
        buses[0].refuses = 3
        link.send("Order", {"Valve": 1})
        buses[0].refuses = 10**6
        with pytest.raises(LinkLost, match=r"no node acknowledges.*125 kbit/s.*60 ohm"):
            link.send("Order", {"Valve": 2})
    finally:
        link.close()
