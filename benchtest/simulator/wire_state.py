"""What a served bench remembers between two lines: errors, the dead-man, supply settings, the schedule being loaded.

The error queue is that of SCPI-99 volume 1 (21.8): first in, first out, and on overflow the last entry becomes -350.
"""

from collections import deque
from dataclasses import dataclass
from typing import Final, Protocol

from benchtest.clock import Clock
from benchtest.instruments import BenchAdapter, Order, Recording, Started
from benchtest.simulator import syntax
from benchtest.simulator.syntax import Refused

QUEUE_LENGTH: Final = 16
"""Most entries in the error queue; the last one becomes -350 when more come."""
TIME_OUT: Final = (0.1, 1.0, 10.0)
"""Shortest, default and longest dead-man time, seconds."""
MOST_ORDERS: Final = 1000
"""Most orders in one schedule."""


class ServedBench(BenchAdapter, Protocol):
    """A bench that can be served: it also says when its recording will be whole."""

    @property
    def finished_at(self) -> float | None:
        """Moment of the clock from which `fetch` does not wait; None when nothing is being recorded."""
        ...


@dataclass(slots=True)
class Setting:
    """What a supply was told while it was off; None is not told yet."""

    amps: float | None = None
    volts: float | None = None
    on: bool = False


class WireState:
    """The state that belongs to the wire; the outputs belong to the bench behind it."""

    def __init__(self, bench: ServedBench, clock: Clock) -> None:
        self.bench = bench
        self.clock = clock
        self.armed = False
        self.time_out = TIME_OUT[1]
        self.heard_at = clock.now()
        self.settings: dict[int, Setting] = {}
        self.orders: list[Order] = []
        self.started: Started | None = None
        self.recording: Recording | None = None
        self._errors: deque[tuple[int, str]] = deque()

    def report(self, code: int, text: str) -> None:
        """Put an error at the end of the queue; the last one becomes -350 when the queue is full."""
        if len(self._errors) == QUEUE_LENGTH:
            self._errors[-1] = (-350, syntax.TEXTS[-350])
            return
        printable = "".join(c if " " <= c <= "~" else "?" for c in text)[:255]
        self._errors.append((code, printable.replace('"', '""')))

    def take_error(self) -> bytes:
        code, text = self._errors.popleft() if self._errors else (0, syntax.TEXTS[0])
        return f'{code},"{text}"'.encode("ascii")

    def take_errors(self) -> bytes:
        return b",".join(self.take_error() for _ in range(max(1, len(self._errors))))

    def count_errors(self) -> int:
        return len(self._errors)

    def forget_errors(self) -> None:
        self._errors.clear()

    def hear(self) -> None:
        """Note that the host is alive."""
        self.heard_at = self.clock.now()

    @property
    def left(self) -> float:
        """Seconds until the running recording is whole; 0 when none is running."""
        end = self.bench.finished_at
        if self.started is None or self.recording is not None or end is None:
            return 0.0
        return max(0.0, end - self.clock.now())

    def recorded(self) -> Recording:
        """Return the finished recording. Raises Refused -230 when there is none, -221 while it runs."""
        if self.left:
            raise Refused(-221, "the recording is still running (RECord:STATe? says how long)")
        if self.started is None:
            raise Refused(-230, "there is no recording")
        if self.recording is None:
            self.recording = self.bench.fetch()
        return self.recording

    def overdue(self) -> bool:
        """Say whether the dead-man is armed and nothing was heard for its time."""
        return self.armed and self.clock.now() - self.heard_at >= self.time_out

    def lock(self, reason: str) -> None:
        """Switch everything off and refuse to switch anything on until armed again."""
        self.everything_off()
        self.armed = False
        self.report(-300, f"{syntax.TEXTS[-300]};{reason}, everything off, locked")

    def everything_off(self) -> None:
        """Take all outputs to safety and forget what supplies and schedule were told."""
        self.bench.all_off()
        self.settings.clear()
        self.orders.clear()
        if self.recording is None:  # the bench ends a recording with its outputs
            self.started = None

    def require_armed(self) -> None:
        """Raise Refused -203 while locked."""
        if not self.armed:
            raise Refused(-203, "the dead-man is locked, DEADman:ARM first")
