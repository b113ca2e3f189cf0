"""The board's CAN link through python-can, decoded by the board's own signal database.

A serial-line adapter does not confirm what it sends, so a message counts as sent when the port took it; only the
board's answer proves more. A controller that went bus-off is opened anew, once in a run, by the receiving thread, which
alone reads the bus; a frame that was refused meanwhile is offered again within its time, so that nothing is sent twice.
A full transmit queue is waited for likewise: a frame that it refused has not left.

Source: bus-off, and frames that nobody acknowledges, ISO 11898-1 (from memory); error frames as the Linux kernel gives
them, linux/can/error.h: 0x40 in the identifier is bus-off.
"""

import errno
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from typing import Any, Final

from benchtest.adapters.board_link import LOOK_TIME, SEND_TIME, BoardLink, Heard, lost
from benchtest.adapters.ports import PORT_ERRORS, closing_connection
from benchtest.clock import Clock
from benchtest.errors import AdapterMissing, LinkLost, PlanError
from benchtest.fixture.document import Adapter
from benchtest.instruments import Link, Remark
from benchtest.messages import EXTENDED, NUMBER, CanCodec
from benchtest.procedure import LinkPlan
from benchtest.quantities import show

BUS_OFF: Final = 0x40
"""In the identifier of an error frame."""
RETRY: Final = 0.005
"""Seconds between two offers of a frame that was refused."""
SERIAL_LINE: Final[Mapping[str, Any]] = {"sleep_after_open": 0, "timeout": 0.01}
"""What python-can's serial-line interface needs to open at once and to receive without delay."""


class CanLine:
    """A CAN bus, opened by `reopen`, now and once more after bus-off."""

    def __init__(self, reopen: Callable[[], Any], *, clock: Clock, name: str, bit_rate: float) -> None:
        self.name = name
        self._library = import_module("can")
        self._reopen, self._clock, self._bit_rate = reopen, clock, bit_rate
        self._bus = reopen()
        self._heard_at = clock.now()
        self._noticed_off = False
        """A bus-off was seen and is not yet recovered."""
        self._recovered = False
        self._errors = 0
        """Error frames since the last remark."""
        self._remarks: list[Remark] = []

    def receive(self) -> Sequence[Heard]:
        """Return the next frame, if one comes in time; recover from bus-off once."""
        frame = None if self._noticed_off else self._bus.recv(LOOK_TIME)
        now = self._clock.now()
        if frame is not None and frame.is_error_frame:
            self._errors += 1
            self._noticed_off = self._noticed_off or bool(frame.arbitration_id & BUS_OFF)
        if self._noticed_off or self._is_off():
            self._recover(now)
        heard = None if frame is None else as_heard(now, frame)
        if heard is None:
            return ()
        self._heard_at = now
        return (heard,)

    def send(self, message: str, identifier: int, data: bytes) -> float:
        """Send one frame; one that is refused because the bus is off or the queue full is offered again."""
        extended = bool(identifier & EXTENDED)
        frame = self._library.Message(arbitration_id=identifier & NUMBER, is_extended_id=extended, data=data)
        deadline = self._clock.now() + SEND_TIME
        while True:
            bus, at = self._bus, self._clock.now()
            try:
                bus.send(frame, timeout=SEND_TIME)
            except (self._library.CanError, ValueError, *PORT_ERRORS) as cause:  # ValueError: closed under our hands
                off = self._noticed_off or bus is not self._bus or self._is_off()
                if off and bus is self._bus:
                    self._noticed_off = True  # the receiving thread opens it anew
                if not off and not _is_full(cause):
                    raise lost(self.name, f"sending {message}", cause) from cause
                if self._clock.now() >= deadline:
                    raise self._refused(message, off=off) from cause
                self._clock.sleep_until(self._clock.now() + RETRY)
            else:
                return at

    def remarks(self) -> Sequence[Remark]:
        """Return what was recovered and how many error frames came."""
        found, self._remarks = self._remarks, []
        if count := self._errors:
            self._errors -= count
            found.append(Remark(text=f"link {self.name}: {count} error frame{'s' * (count > 1)} on the CAN bus"))
        return found

    def close(self) -> None:
        """Close the bus; raises nothing."""
        line = getattr(self._bus, "serialPortOrig", None)  # python-can leaves it open when the device has gone
        with closing_connection(line):
            with suppress(self._library.CanError, *PORT_ERRORS):
                self._bus.shutdown()
            if line is not None:
                with suppress(*PORT_ERRORS):
                    line.close()

    def _is_off(self) -> bool:
        """Return whether the controller says that it is bus-off; most interfaces never say so."""
        with suppress(self._library.CanError, NotImplementedError, *PORT_ERRORS):
            return bool(self._bus.state is self._library.BusState.ERROR)
        return False

    def _recover(self, now: float) -> None:
        if self._recovered:
            raise LinkLost(f"{self.name}: the CAN controller is bus-off again ({self._what_to_check()})")
        self._recovered = True
        self.close()
        self._bus = self._reopen()
        if self._is_off():
            raise LinkLost(
                f"{self.name}: the CAN controller stays bus-off after it was opened anew ({self._what_to_check()}; "
                "on Linux also: ip link set dev NAME type can restart-ms 100)"
            )
        self._noticed_off = False
        deaf = self._clock.now() - min(self._heard_at, now)
        text = f"link {self.name}: the CAN controller was bus-off and was opened anew; nothing heard for {deaf:.3f} s"
        self._remarks.append(Remark(text=text, deaf=deaf))

    def _refused(self, message: str, *, off: bool) -> LinkLost:
        why = "the CAN controller is bus-off" if off else "the transmit queue stays full: no node acknowledges"
        return LinkLost(f"{self.name}: {message} did not leave within {SEND_TIME:g} s, {why} ({self._what_to_check()})")

    def _what_to_check(self) -> str:
        rate = show(self._bit_rate, "bit/s")
        return (
            f"has the board its power, so that a second node acknowledges? is the bit rate {rate} on both sides? "
            "is the pair terminated, 60 ohm across it? are its two wires swapped?"
        )


def as_heard(at: float, came: Any) -> Heard | None:
    """Return what python-can received at `at`, None when it carries no data; ValueError on half a frame.

    A serial-line adapter's text can lose characters on its way, and half a frame would still have a name.
    """
    if came.is_error_frame or came.is_remote_frame:
        return None
    number, data = came.arbitration_id, bytes(came.data)
    if came.is_fd:
        raise ValueError(f"a frame of CAN FD on a bus that has none: {number:X}#{data.hex().upper()}")
    if len(data) != came.dlc or number < 0:
        raise ValueError(f"half a frame: {number:X}#{data.hex().upper()}, of {came.dlc} bytes")
    return Heard(at, number | EXTENDED * came.is_extended_id, data)


def _is_full(cause: Exception) -> bool:
    """Return whether a frame was refused because the queue before the bus is full; it has not left then."""
    numbers = {getattr(cause, "error_code", None), getattr(cause, "errno", None)}
    return bool(numbers & {errno.ENOBUFS, errno.EAGAIN}) or "buffer full" in str(cause).lower()


@contextmanager
def open_can(*, adapter: Adapter, port: str, plan: LinkPlan, clock: Clock) -> Iterator[Link]:
    """Open the link on the adapter's interface at `port` (or the fixture's); everything ends with the block.

    Raises PlanError when the database cannot be read, AdapterMissing when the bus cannot be opened.
    """
    name = port or adapter.port
    if not name:
        raise AdapterMissing("no port is given for the link (try --port NAME=/dev/ttyUSB0)")
    try:
        codec = CanCodec(plan.database)
    except ValueError as cause:
        raise PlanError([f"the signal database of the link cannot be read: {cause}"]) from cause

    def reopen() -> Any:
        return _opened_bus(adapter, name, plan)

    line = CanLine(reopen, clock=clock, name=name, bit_rate=plan.bit_rate)
    link = BoardLink(line, codec=codec, clock=clock)
    try:
        yield link
    finally:
        link.close()


def _opened_bus(adapter: Adapter, name: str, plan: LinkPlan) -> Any:
    library = import_module("can")
    settings = {**(SERIAL_LINE if adapter.interface == "slcan" else {}), **adapter.settings}
    try:
        return library.Bus(
            interface=adapter.interface, channel=name, bitrate=round(plan.bit_rate), ignore_config=True, **settings
        )
    except (library.CanError, ValueError, *PORT_ERRORS) as cause:
        tried = "is the CAN adapter plugged in, and free? unplugging it and plugging it in again may help"
        raise AdapterMissing(f"cannot open the link at {name!r} by {adapter.interface}: {cause} ({tried})") from cause
