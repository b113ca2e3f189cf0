"""The board's CAN link through python-can, decoded by the board's own signal database.

An own receiving thread, because a library's listener can die without a word: here its death is kept and raised as
LinkLost at the next call. Moments are the rig's clock at reception, since time stamps differ from one interface to the
next. Ways out, in this order: heartbeat, receiver, bus. A serial-line adapter does not confirm what it sends, so a
message counts as sent when the port took it; only the board's answer proves more.
"""

import threading
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from importlib import import_module
from typing import Any, Final

from benchtest.adapters.can_frames import Frame, Frames, heard
from benchtest.adapters.ports import PORT_ERRORS, closing_connection
from benchtest.clock import Clock
from benchtest.errors import AdapterMissing, AdapterRefused, LinkLost, PlanError
from benchtest.fixture.document import Adapter
from benchtest.instruments import Link, Message
from benchtest.procedure import LinkPlan

SEND_TIME: Final = 0.2
"""Longest time in seconds for one frame to leave."""
LOOK_TIME: Final = 0.05
"""Longest wait of the receiver in seconds before it looks whether it should end."""
PROOF: Final = 1.0
"""Seconds after which a receiver that has not come back from the bus counts as dead."""
SERIAL_LINE: Final[Mapping[str, Any]] = {"sleep_after_open": 0, "timeout": 0.01}
"""What python-can's serial-line interface needs to open at once and to receive without delay."""


class CanLink:
    """A Link on a CAN bus. Calls come from one thread; the receiver and the heartbeat have their own."""

    def __init__(self, *, bus: Any, library: Any, database: Any, clock: Clock, name: str) -> None:
        self._bus = bus
        self._library = library
        self._frames = Frames(database)
        self._by_name = {message.name: message for message in database.messages}
        self._clock = clock
        self._name = name
        self._last: dict[str, dict[str, float]] = {}
        self._seen: deque[Frame] = deque()
        self._sending = threading.Lock()
        self._turns = 0
        """How often the receiver has come back from the bus without an error."""
        self._closing = threading.Event()
        self._silent = threading.Event()
        self._threads = ThreadPoolExecutor(max_workers=2, thread_name_prefix="link")
        self._receiver: Future[None] = self._threads.submit(self._receive)
        self._beater: Future[None] | None = None

    # ------------------------------------------------------------ the seam

    def heartbeat(self, message: str, *, every: float) -> None:
        """Send `message` every `every` seconds from now on, the first one at once; replaces the one before."""
        self._check_alive()
        if not every > 0:
            raise AdapterRefused(f"a heartbeat every {every!r} s is not permitted (more than 0 s)")
        self._encoded(message)
        self.silence()
        self._silent.clear()
        self._beater = self._threads.submit(self._beat, message, every)

    def silence(self) -> None:
        """Stop the heartbeat; harmless when there is none."""
        self._silent.set()
        if self._beater is not None:
            with suppress(Exception):  # kept in the future, and told by the next call that needs the link
                self._beater.result(2 * SEND_TIME)
        self._beater = None

    def send(self, message: str, signals: Mapping[str, float]) -> float:
        """Send one message now; return when it went. LinkLost when the bus does not take it."""
        self._check_alive()
        return self._transmit(message, signals)

    def messages(self) -> Sequence[Message]:
        """Return what was sent and received since the last call; LinkLost when a thread of the link has died.

        Waits until the receiver has come back from the bus once more: what came before this call is in, and a listener
        that is dead now is known to be.
        """
        turn, latest = self._turns, self._clock.now() + PROOF
        while self._turns == turn and not self._receiver.done() and self._clock.now() < latest:
            self._clock.sleep_until(self._clock.now() + LOOK_TIME / 20)
        self._check_alive()
        if self._turns == turn:
            raise LinkLost(f"{self._name}: the receiver does not come back from the bus within {PROOF:g} s")
        taken = [self._seen.popleft() for _ in range(len(self._seen))]
        return tuple(self._frames.message(frame) for frame in sorted(taken, key=lambda frame: frame.at))

    def close(self) -> None:
        """End heartbeat, receiver and bus, in this order; raises nothing."""
        self.silence()
        self._closing.set()
        self._threads.shutdown()
        line = getattr(self._bus, "serialPortOrig", None)  # python-can leaves it open when the device has gone
        with closing_connection(line):
            with suppress(self._library.CanError, *PORT_ERRORS):
                self._bus.shutdown()
            if line is not None:
                with suppress(*PORT_ERRORS):
                    line.close()

    # ------------------------------------------------------------ threads

    def _receive(self) -> None:
        while not self._closing.is_set():
            came = self._bus.recv(LOOK_TIME)
            frame = heard(self._clock.now(), came) if came is not None else None
            self._turns += 1
            if frame is not None:
                self._seen.append(frame)

    def _beat(self, message: str, every: float) -> None:
        due = self._clock.now()
        while not self._silent.wait(max(0.0, due - self._clock.now())):
            self._transmit(message, {})
            due += every  # absolute, so that delays do not add up

    def _check_alive(self) -> None:
        for thread in (self._receiver, self._beater):
            if thread is not None and thread.done() and (death := thread.exception()) is not None:
                if isinstance(death, LinkLost):
                    raise LinkLost(str(death)) from death
                raise self._lost("receiving", death) from death

    def _lost(self, doing: str, cause: BaseException) -> LinkLost:
        reason = "the cable was pulled or another program reads the same port"
        return LinkLost(f"{self._name}: lost while {doing}: {reason} ({cause})")

    # ------------------------------------------------------------ frames

    def _transmit(self, message: str, signals: Mapping[str, float]) -> float:
        with self._sending:
            known = self._encoded(message, signals)
            frame = self._library.Message(
                arbitration_id=known.frame_id, is_extended_id=known.is_extended_frame, data=self._data(known)
            )
            at = self._clock.now()
            try:
                self._bus.send(frame, timeout=SEND_TIME)
            except (self._library.CanError, *PORT_ERRORS) as cause:
                raise self._lost(f"sending {message}", cause) from cause
            self._seen.append(
                Frame(at=at, can_id=known.frame_id, extended=known.is_extended_frame, data=bytes(frame.data), sent=True)
            )
        return at

    def _encoded(self, message: str, signals: Mapping[str, float] | None = None) -> Any:
        """Return the database's message after taking over `signals`. AdapterRefused when it cannot carry them."""
        known = self._by_name.get(message)
        if known is None:
            raise AdapterRefused(f"message {message!r} is not in the signal database")
        names = [signal.name for signal in known.signals]
        if unknown := sorted(set(signals or {}) - set(names)):
            raise AdapterRefused(f"message {message} has no signal {unknown[0]!r} (it has: {', '.join(names)})")
        before = self._last.get(message, dict.fromkeys(names, 0.0))
        self._last[message] = {**before, **(signals or {})}
        try:
            self._data(known)
        except (import_module("cantools.database").Error, ValueError, OverflowError, TypeError) as cause:
            self._last[message] = before
            raise AdapterRefused(f"message {message} cannot carry {dict(signals or {})!r}: {cause}") from cause
        return known

    def _data(self, known: Any) -> bytes:
        return bytes(known.encode(self._last[known.name]))


@contextmanager
def open_can(*, adapter: Adapter, port: str, plan: LinkPlan, clock: Clock) -> Iterator[Link]:
    """Open the link on the adapter's interface at `port` (or the fixture's); everything ends with the block.

    Raises PlanError when the database cannot be read, AdapterMissing when the bus cannot be opened.
    """
    name = port or adapter.port
    if not name:
        raise AdapterMissing("no port is given for the link (try --port NAME=/dev/ttyUSB0)")
    library, cantools = import_module("can"), import_module("cantools.database")
    try:
        database = cantools.load_string(plan.database, "dbc")
    except (cantools.Error, ValueError) as cause:
        raise PlanError([f"the signal database of the link cannot be read: {cause}"]) from cause
    bus = _opened_bus(library, adapter, name, plan)
    link = CanLink(bus=bus, library=library, database=database, clock=clock, name=name)
    try:
        yield link
    finally:
        link.close()


def _opened_bus(library: Any, adapter: Adapter, name: str, plan: LinkPlan) -> Any:
    settings = {**(SERIAL_LINE if adapter.interface == "slcan" else {}), **adapter.settings}
    try:
        return library.Bus(
            interface=adapter.interface, channel=name, bitrate=round(plan.bit_rate), ignore_config=True, **settings
        )
    except (library.CanError, ValueError, *PORT_ERRORS) as cause:
        tried = "is the CAN adapter plugged in, and free? unplugging it and plugging it in again may help"
        raise AdapterMissing(f"cannot open the link at {name!r} by {adapter.interface}: {cause} ({tried})") from cause
