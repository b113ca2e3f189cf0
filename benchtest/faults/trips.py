"""A guard of a simulated bench that trips: an emergency stop that somebody presses, a lid that somebody lifts.

Written `emergency stop after 2 s`: seconds from the moment a supply is first switched on; without them it has tripped
from the beginning.
"""

import math
from collections.abc import Collection
from dataclasses import dataclass

from benchtest.quantities import DURATION
from benchtest.quantities import parse as quantity


@dataclass(frozen=True, slots=True)
class Trip:
    """One guard that trips."""

    name: str
    """As the fixture calls the guard."""
    after: float
    """Seconds after first power; minus infinity from the beginning."""

    @property
    def text(self) -> str:
        """As it was written, nearly."""
        return self.name if math.isinf(self.after) else f"{self.name} after {self.after:g} s"


def parse_trip(text: str, guards: Collection[str]) -> Trip:
    """Return the trip written as `text`. Raises ValueError when the fixture has no such guard."""
    name, after, moment = text.partition(" after ")
    if name not in guards:
        known = ", ".join(guards) or "none"
        raise ValueError(f"{text!r}: the fixture has no guard {name!r} (it has: {known})")
    return Trip(name, quantity(moment, DURATION) if after else -math.inf)
