"""Serves a bench in real time behind the line protocol, and the board's CAN side as a serial-line CAN adapter.

One thread: wait until somebody writes, the world has something to do, or the dead-man is due; let the world run up to
now; then act. The dead-man is judged only after everything that has arrived was read, and time that the server itself
was busy is not counted against the host. Any hang-up of the bench's host switches everything off at once.
"""

import math
import select
import signal
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from threading import Event
from typing import Final, Protocol, TextIO

from benchtest.clock import Clock, RealClock
from benchtest.messages import EXTENDED, NUMBER
from benchtest.simulator.doors import OUTBOX, Door, open_pty, open_tcp
from benchtest.simulator.slcan import Frame, SlcanPeer, write_frame
from benchtest.simulator.syntax import LINE_LENGTH, TEXTS
from benchtest.simulator.wire_side import answer
from benchtest.simulator.wire_state import ServedBench, WireState

TICK: Final = 0.01
"""Longest wait in seconds: how late a coming host or the dead-man is noticed."""
FRAMES_WAITING: Final = 1 << 16
"""Bytes of frames kept for a host that does not read."""


class World(Protocol):
    """The simulated world behind the bench; seconds of the server's clock."""

    @property
    def next_event(self) -> float | None:
        """Moment of the next thing to happen; None when nothing will happen by itself."""
        ...

    def advance(self, to: float) -> None: ...

    def receive(self, identifier: int, data: bytes) -> None:
        """Take a frame from the bus, its identifier as the board's codec has it."""
        ...

    def take_sent(self) -> list[tuple[float, int, bytes]]:
        """Return the frames that the board sent since the last call."""
        ...


class Side(Protocol):
    """One way into the world: an adapter, or the board's link."""

    def watched(self) -> Sequence[int]:
        """Return the descriptors to wait on."""
        ...

    @property
    def full(self) -> bool:
        """Something waits to be written as soon as the line takes it."""
        ...

    def due(self) -> float:
        """Return when it wants its turn though nobody writes, by the server's clock; infinite when never."""
        ...

    def turn(self) -> None:
        """Read what came, act on it, send what can be sent, judge the dead-man."""
        ...

    def end(self) -> None:
        """Switch everything off that it can."""
        ...


class SceneClock:
    """Real seconds since its making; sleeping lets the world run along, so that a bench may wait for its own end."""

    def __init__(self, advance: Callable[[float], None] = lambda _: None) -> None:
        self._real = RealClock()
        self._began = self._real.now()
        self._advance = advance

    def now(self) -> float:
        return self._real.now() - self._began

    def sleep_until(self, deadline: float) -> None:
        self._real.sleep_until(self._began + deadline)
        self._advance(max(deadline, self.now()))


class LineSide:
    """One door with the protocol behind it."""

    def __init__(self, door: Door, state: WireState, log: Callable[[str], None]) -> None:
        self.door = door
        self._state = state
        self._log = log
        self._inbox = b""
        self._skipping = False
        self.outbox = b""

    def watched(self) -> Sequence[int]:
        return [self.door.watched()]

    @property
    def full(self) -> bool:
        return bool(self.outbox)

    def due(self) -> float:
        return math.inf

    def end(self) -> None:
        self._state.everything_off()

    def turn(self) -> None:
        """Read what came, act on whole lines, send what can be sent, judge the dead-man."""
        was_here = self.door.present
        self.door.look()
        if self.door.present and not was_here:
            self._log("host connected")
        if self.door.present:
            self._read()
            self._send()
        if self._state.overdue():
            self._state.lock(f"dead-man: nothing heard for {self._state.time_out:.1f} s")
            self._log(f"dead-man: nothing heard for {self._state.time_out:.1f} s, everything off, locked")

    def _read(self) -> None:
        while (data := self.door.read()) is not None:
            if not data:
                return
            self._inbox += data
            self._lines()
        self._inbox, self.outbox, self._skipping = b"", b"", False
        self._state.lock("host gone")
        self._log("host gone, everything off, locked")

    def _lines(self) -> None:
        *lines, self._inbox = self._inbox.split(b"\n")
        for line in lines:
            if self._skipping or len(line) >= LINE_LENGTH:
                self._skipping = False
                self._state.report(-363, TEXTS[-363])
                continue
            self.outbox += answer(self._state, line)
        if len(self._inbox) >= LINE_LENGTH:  # too long to be a line: nothing of it is carried out
            self._inbox, self._skipping = b"", True

    def _send(self) -> None:
        while self.outbox and (taken := self.door.write(self.outbox)):
            self.outbox = self.outbox[taken:]
            self._state.hear()  # a host that takes a long recording is alive
        if len(self.outbox) > OUTBOX:
            self.outbox = b""
            self._state.lock("answers not taken")


class CanSide:
    """One door with a serial-line CAN adapter behind it."""

    def __init__(self, door: Door, world: World, clock: Clock) -> None:
        self.door = door
        self._world = world
        self._clock = clock
        self._peer = SlcanPeer()
        self.outbox = b""

    def watched(self) -> Sequence[int]:
        return [self.door.watched()]

    @property
    def full(self) -> bool:
        return bool(self.outbox)

    def due(self) -> float:
        return math.inf

    def end(self) -> None:
        """Do nothing: it switches nothing."""

    def turn(self) -> None:
        """Give the board the frames that came, and the host the frames that the board sent."""
        self.door.look()
        sent = self._world.take_sent()
        if not self.door.present:
            return
        while data := self.door.read():
            answers, frames = self._peer.feed(data)
            self.outbox += answers
            self._world.advance(self._clock.now())  # the last look may be long past: no effect before its cause
            for frame in frames:
                self._world.receive(frame.can_id | EXTENDED * frame.extended, frame.data)
        if not self.door.present:
            self._peer.hang_up()
            self.outbox = b""
        elif (
            self._peer.open and len(self.outbox) < FRAMES_WAITING
        ):  # a host that does not read loses frames, whole ones
            self.outbox += b"".join(
                write_frame(Frame(identifier & NUMBER, data, bool(identifier & EXTENDED)))
                for _, identifier, data in sent
            )
        self._send()

    def _send(self) -> None:
        while self.outbox and (taken := self.door.write(self.outbox)):
            self.outbox = self.outbox[taken:]


def serve(
    bench: ServedBench,
    *,
    clock: Clock,
    door: Door,
    out: TextIO,
    stop: Event,
    world: World | None = None,
    can_door: Door | None = None,
) -> None:
    """Serve `bench` at `door`, and the world's CAN bus at `can_door`, until `stop` is set; then everything is off.

    Writes one line per event to `out`.
    """
    sides: list[Side] = [LineSide(door, WireState(bench, clock), logger(clock, out))]
    if world is not None and can_door is not None:
        sides.append(CanSide(can_door, world, clock))
    serve_sides(sides, clock=clock, out=out, stop=stop, world=world)


def logger(clock: Clock, out: TextIO) -> Callable[[str], None]:
    """Return what writes one line per event to `out`."""

    def log(event: str) -> None:
        out.write(f"{clock.now():10.3f} s  {event}\n")
        out.flush()

    return log


def serve_sides(sides: Sequence[Side], *, clock: Clock, out: TextIO, stop: Event, world: World | None = None) -> None:
    """Give each side its turn until `stop` is set; then everything is off."""
    try:
        while not stop.is_set():
            due = [side.due() for side in sides]
            due += [world.next_event] if world is not None and world.next_event is not None else []
            _wait(sides, min(due, default=math.inf) - clock.now())
            if world is not None:
                world.advance(clock.now())
            for side in sides:
                side.turn()
    finally:
        for side in sides:
            side.end()
        logger(clock, out)("stopped, everything off")


def _wait(sides: Sequence[Side], longest: float) -> None:
    """Return when a host wrote, a line took what was full, or after `longest` seconds or a tick."""
    poll = select.poll()
    for side in sides:
        for descriptor in side.watched():
            if descriptor >= 0:
                poll.register(descriptor, select.POLLIN | (select.POLLOUT if side.full else 0))
    poll.poll(1000 * min(max(longest, 0.0), TICK))


@contextmanager
def stopped_by_signals(out: TextIO) -> Iterator[Event]:
    """Give an event that SIGINT and SIGTERM set; the handlers that were there before come back."""
    stop, seen = Event(), list[str]()

    def note(number: int, _: object) -> None:
        seen.append(signal.Signals(number).name)
        stop.set()

    before = {number: signal.signal(number, note) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        if seen:
            out.write(f"ended by {seen[0]}\n")


def open_door(stack: ExitStack, tcp: int | None) -> Door:
    """Open a TCP port when one is given, a pseudo-terminal otherwise."""
    if tcp is None:
        return stack.enter_context(open_pty())
    return stack.enter_context(open_tcp(tcp))
