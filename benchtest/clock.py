"""Time comes with the rig: a real rig has a real clock, a simulated one a virtual clock, never a mix.

Deadlines are absolute, so that delays do not add up. This is the only module that imports `time`.
Wall-clock time enters once, at the start of a run, as RFC 3339 with offset (`wall_time`).
"""

import time
from collections.abc import Callable
from datetime import datetime
from typing import Protocol


class Clock(Protocol):
    """Seconds since an arbitrary moment, and the way to wait."""

    def now(self) -> float:
        """Return the time in seconds; it never goes back."""
        ...

    def sleep_until(self, deadline: float) -> None:
        """Return at `deadline` (seconds of this clock), at once when it has passed."""
        ...


class RealClock:
    """The machine's monotonic clock (`perf_counter`: fine-grained on every system)."""

    def now(self) -> float:
        return time.perf_counter()

    def sleep_until(self, deadline: float) -> None:
        while (left := deadline - time.perf_counter()) > 0:
            time.sleep(left)


class VirtualClock:
    """A clock that waits for nobody: sleeping lets the simulated world run ahead, then jumps."""

    def __init__(self, advance: Callable[[float], None] = lambda _: None) -> None:
        self._now = 0.0
        self._advance = advance

    def now(self) -> float:
        return self._now

    def sleep_until(self, deadline: float) -> None:
        if deadline > self._now:
            self._advance(deadline)
            self._now = deadline


def resolution(tries: int = 1000) -> float:
    """Return the smallest step, in seconds, that the machine's monotonic clock was seen to make."""
    return min(_step() for _ in range(tries))


def _step() -> float:
    before = after = time.perf_counter()
    while after == before:
        after = time.perf_counter()
    return after - before


def wall_time() -> datetime:
    """Return the date and time of day here, with its offset from UTC."""
    return datetime.now().astimezone()
