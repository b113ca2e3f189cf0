"""A contact in the bench's test circuit: bounces as it lands, and may stick, miss, chatter, leak or be worn.

Bounces are a train in which each hop is shorter than the one before, as of a ball.
"""

from dataclasses import dataclass
from itertools import accumulate
from typing import Final, Literal

import numpy as np

from benchtest.simulator.events import Events
from benchtest.simulator.trace import Trace

CHATTER: Final = (2e-3, 6e-3)
"""Seconds between two openings of a contact that chatters."""

Stuck = Literal["closed", "open"]


@dataclass(frozen=True, kw_only=True, slots=True)
class ContactBuild:
    """One contact of one specimen, in the bench's contact test circuit."""

    closed_volts: float
    """Volts across it while closed."""
    open_volts: float
    bounce: float
    """Seconds from first making to last closing."""
    stuck: Stuck | None = None
    sticks: int = 0
    """How many times it stays closed when it should open, before it breaks free."""
    misses: float = 0.0
    """Probability that it does not close."""
    chatters: int = 0
    """How often it opens again after it has landed."""


class SimulatedContact:
    """One contact: the voltage across it, and its bouncing."""

    def __init__(self, events: Events, build: ContactBuild, rng: np.random.Generator, *, closed: bool) -> None:
        self._events, self._build, self._rng = events, build, rng
        closed = build.stuck == "closed" or (build.stuck is None and (closed or build.sticks > 0))
        self._sticks = build.sticks
        self.volts = Trace(build.closed_volts if closed else build.open_volts)

    def bounce_moments(self) -> list[float]:
        """Return the delays after first making at which it opens, closes, … and finally closes for good.

        A train of bounces, each shorter than the one before, as of a ball; the last closing ends the bounce time.
        """
        hops = int(self._rng.integers(2, 5))
        falls = self._rng.uniform(0.35, 0.6, size=2 * hops).tolist()
        shares = list(accumulate(fall**hop for hop, fall in enumerate(falls, start=1)))
        landed = [self._build.bounce * share / shares[-1] for share in shares]
        if not self._build.chatters:
            return landed
        later = accumulate(self._rng.uniform(*CHATTER, size=2 * self._build.chatters).tolist())
        return [*landed, *(landed[-1] + gap for gap in later)]

    def close(self) -> None:
        """Make for the first time and then bounce, where it was open and is free to move."""
        if self._build.misses and self._rng.random() < self._build.misses:
            return
        closed, opened, now = self._build.closed_volts, self._build.open_volts, self._events.now
        if self._put(closed):
            for hop, delay in enumerate(self.bounce_moments()):
                self.volts.set(now + delay, closed if hop % 2 else opened)

    def open(self) -> None:
        """Break without bounce, in the middle of bouncing too."""
        self.volts.cut(self._events.now)
        if self._sticks > 0:
            self._sticks -= 1
        else:
            self._put(self._build.open_volts)

    def _put(self, volts: float) -> bool:
        if self._build.stuck is not None or volts == self.volts.target:
            return False
        self.volts.set(self._events.now, volts)
        return True
