"""A contact in the bench's test circuit: bounces as it lands, and may stick, miss, chatter, leak, be worn or filmed.

Bounces are a train in which each hop is shorter than the one before, as of a ball. What has grown on a contact at rest
adds to its resistance and is wiped away closing by closing; a film that has more than some tenths of a volt across it
breaks down, so that a high current finds less of it than a low one (Holm, Electric Contacts, 4th ed., part I, on films
and fritting; from memory).
"""

from dataclasses import dataclass
from itertools import accumulate
from typing import Final, Literal

import numpy as np

from benchtest.simulator.events import Events
from benchtest.simulator.trace import Trace

WIPED: Final = 0.45
"""What one closing leaves of a film (common practice, no source)."""
FRITTING: Final = 0.3
"""Volts that a film bears at most (from memory, thin tarnish films)."""
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
    film: float = 0.0
    """Volts that a film adds at the first closing."""
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
        self._sticks, self._film = build.sticks, min(build.film, FRITTING)
        self.volts = Trace(self._closed if closed else build.open_volts)

    @property
    def _closed(self) -> float:
        return self._build.closed_volts + self._film

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
        closed, opened, now = self._closed, self._build.open_volts, self._events.now
        if self._put(closed):
            for hop, delay in enumerate(self.bounce_moments()):
                self.volts.set(now + delay, closed if hop % 2 else opened)

    def open(self) -> None:
        """Break without bounce, in the middle of bouncing too."""
        self.volts.cut(self._events.now)
        if self._sticks > 0:
            self._sticks -= 1
        elif self._put(self._build.open_volts):
            self._film *= WIPED  # the closing that ends here has rubbed it

    def _put(self, volts: float) -> bool:
        if self._build.stuck is not None or volts == self.volts.target:
            return False
        self.volts.set(self._events.now, volts)
        return True
