"""The board's link with whatever wires under it: threads, heartbeat, proof of life, names and signals.

An own receiving thread, because a library's listener can die without a word: here its death is kept and raised as
LinkLost at the next call. Moments are the rig's clock: of a message sent, just before the wire takes it; of one that is
received, when its last byte was in. Ways out, in this order: heartbeat, receiver, wire.
"""

import threading
from collections import deque
from collections.abc import Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import suppress
from dataclasses import dataclass
from typing import Final, Protocol

from benchtest.clock import Clock
from benchtest.errors import AdapterRefused, LinkLost
from benchtest.instruments import Message, Remark
from benchtest.messages import Codec

SEND_TIME: Final = 1.0
"""Longest time in seconds for one message to leave. A wire that is in order takes one in far less: ten frames that
wait before it on the slowest CAN bus (10 kbit/s, 160 bits each with the worst stuffing) leave in 0.16 s. It is as long
as it is for the computer's sake: a serial port's library also tells of a time-out when the message went and the process
was then kept from running for longer than this, as a busy computer may keep it. How late an order may be, and how long
a heartbeat may be away, is watched where recordings are made (`rig.in_use`), not here."""
LOOK_TIME: Final = 0.05
"""Longest wait of the receiver in seconds before it looks whether it should end."""
PROOF: Final = 1.0
"""Seconds after which a receiver that has not come back from the wire counts as dead."""
LAST_BEAT: Final = 0.3
"""Seconds in which a heartbeat that is under way must have left once it is to stop."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What came from the wire: a whole frame."""

    at: float
    identifier: int
    data: bytes
    believed: bool = True
    """False for what may not be taken for the message that it looks like."""


class Line(Protocol):
    """The wires under a link."""

    name: str

    def receive(self) -> Sequence[Heard]:
        """Return what came, after at most LOOK_TIME. Raises LinkLost; called by the receiving thread only."""
        ...

    def send(self, message: str, identifier: int, data: bytes) -> float:
        """Send one frame and return when it went. Raises LinkLost when it is not taken; called by one at a time."""
        ...

    def remarks(self) -> Sequence[Remark]: ...
    def close(self) -> None: ...


class BoardLink:
    """A Link on a line. Calls come from one thread; the receiver and the heartbeat have their own."""

    def __init__(self, line: Line, *, codec: Codec, clock: Clock) -> None:
        self._line, self._codec, self._clock = line, codec, clock
        self._last: dict[str, dict[str, float]] = {}
        self._seen: deque[tuple[Heard, bool]] = deque()
        """What came and went, and whether we sent it."""
        self._sending = threading.Lock()
        self._turns = 0
        """How often the receiver has come back from the wire without an error."""
        self._turned_at = clock.now()
        self._closing = threading.Event()
        self._silent = threading.Event()
        self._threads = ThreadPoolExecutor(max_workers=2, thread_name_prefix="link")
        self._receiver: Future[None] = self._threads.submit(self._receive)
        self._beater: Future[None] | None = None

    # ------------------------------------------------------------ the seam

    def heartbeat(self, message: str, *, every: float) -> None:
        """Send `message` every `every` seconds from now on, the first one at once; replaces the one before."""
        self._check_threads()
        if not every > 0:
            raise AdapterRefused(f"a heartbeat every {every!r} s is not permitted (more than 0 s)")
        self._encoded(message, {})
        self.silence()
        self._silent.clear()
        self._beater = self._threads.submit(self._beat, message, every)

    def silence(self) -> None:
        """Stop the heartbeat; harmless when there is none. LinkLost when the last one is still under way."""
        self._silent.set()
        beater, self._beater = self._beater, None
        if beater is None:
            return
        if not wait([beater], timeout=LAST_BEAT).done:
            raise LinkLost(f"{self._line.name}: a heartbeat is under way for more than {LAST_BEAT:g} s")
        if beater.exception() is not None:
            self._beater = beater  # told by the next call that needs the link

    def send(self, message: str, signals: Mapping[str, float]) -> float:
        """Send one message now; return when it went. LinkLost when the wire does not take it."""
        self._check_threads()
        return self._transmit(message, signals)

    def messages(self) -> Sequence[Message]:
        """Return what was sent and received since the last call; LinkLost when a thread of the link has died.

        Waits until the receiver has come back from the wire once more: what came before this call is in, and a
        listener that is dead now is known to be.
        """
        turn, latest = self._turns, self._clock.now() + PROOF
        while self._turns == turn and not self._receiver.done() and self._clock.now() < latest:
            self._clock.sleep_until(self._clock.now() + LOOK_TIME / 20)
        self._check_threads()
        if self._turns == turn:
            raise self._deaf()
        taken = [self._seen.popleft() for _ in range(len(self._seen))]
        return tuple(self._decoded(*one) for one in sorted(taken, key=lambda one: one[0].at))

    def check(self) -> None:
        """Raise LinkLost when a thread of the link has died or hangs."""
        self._check_threads()
        if self._clock.now() - self._turned_at > PROOF:
            raise self._deaf()

    def remarks(self) -> Sequence[Remark]:
        """Return what the line had to bear or has recovered from since the last call."""
        return self._line.remarks()

    def close(self) -> None:
        """End heartbeat, receiver and line, in this order; raises nothing."""
        with suppress(LinkLost):
            self.silence()
        self._closing.set()
        self._threads.shutdown()
        self._line.close()

    # ------------------------------------------------------------ threads

    def _receive(self) -> None:
        while not self._closing.is_set():
            heard = self._line.receive()
            self._seen.extend((one, False) for one in heard)
            self._turned_at = self._clock.now()
            self._turns += 1

    def _beat(self, message: str, every: float) -> None:
        due = self._clock.now()
        while not self._silent.wait(max(0.0, due - self._clock.now())):
            self._transmit(message, {})
            due = max(due + every, self._clock.now())  # absolute, so that delays do not add up; missed ones stay away

    def _check_threads(self) -> None:
        for thread in (self._receiver, self._beater):
            if thread is not None and thread.done() and (death := thread.exception()) is not None:
                if isinstance(death, LinkLost):
                    raise LinkLost(str(death)) from death
                raise lost(self._line.name, "receiving", death) from death

    def _deaf(self) -> LinkLost:
        return LinkLost(f"{self._line.name}: the receiver does not come back from the wire within {PROOF:g} s")

    # ------------------------------------------------------------ messages

    def _transmit(self, message: str, signals: Mapping[str, float]) -> float:
        with self._sending:
            identifier, data = self._encoded(message, signals)
            at = self._line.send(message, identifier, data)
            self._seen.append((Heard(at, identifier, data), True))
        return at

    def _encoded(self, message: str, signals: Mapping[str, float]) -> tuple[int, bytes]:
        """Return a message with what it carries from now on. AdapterRefused when it cannot carry `signals`."""
        try:
            known = self._codec.signals(message)
        except KeyError:
            raise AdapterRefused(f"message {message!r} is not in {self._codec.where}") from None
        if unknown := sorted(signals.keys() - known.keys()):
            raise AdapterRefused(f"message {message} has no signal {unknown[0]!r} (it has: {', '.join(known)})")
        values = {**self._last.get(message, dict.fromkeys(known, 0.0)), **signals}
        try:
            data = self._codec.encode(message, values)
        except ValueError as cause:
            raise AdapterRefused(f"message {message} cannot carry {dict(signals)!r}: {cause}") from cause
        self._last[message] = values
        return self._codec.identifier(message), data

    def _decoded(self, heard: Heard, sent: bool) -> Message:
        name, signals = self._codec.decode(heard.identifier, heard.data) if heard.believed else ("", {})
        frame = self._codec.written(heard.identifier, heard.data)
        return Message(at=heard.at, name=name, signals=signals, frame=frame, sent=sent)


def lost(name: str, doing: str, cause: BaseException) -> LinkLost:
    """Return the error for a wire that is gone."""
    reason = "the cable was pulled or another program reads the same port"
    return LinkLost(f"{name}: lost while {doing}: {reason} ({cause})")
