"""Light of the room, as the sensors over the lamps see it: lamps on the mains, whose light swings twice a cycle.

One room for all sensors. Its depth and phase come from the seed, and so does whether its mains has 50 or 60 Hz: what
feeds the board comes from sources of the bench's own.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from benchtest.simulator.noise import Chance
from benchtest.simulator.signal import Signal, Swinging
from benchtest.simulator.trace import Samples

MAINS: Final = (50.0, 60.0)
"""Hertz."""
DEPTH: Final = 0.4
"""Half the swing over the mean at most: a lamp on an iron ballast (from memory); one with a driver swings less."""


@dataclass(frozen=True, slots=True)
class Room:
    """The light of one room."""

    depth: float
    hertz: float
    """Of the light."""
    phase: float
    """Radians."""

    def over(self, sensor: Signal, ambient: float) -> Signal:
        """Return what a sensor sees with its share of the room's light swinging about its mean, `ambient`."""
        return Swinging(sensor, ambient * self.depth, self._swing)

    def _swing(self, times: Samples) -> Samples:
        swing: Samples = np.sin(2 * math.pi * self.hertz * times + self.phase)
        return swing


def room(chance: Chance) -> Room:
    """Draw the room that a bench stands in."""
    depth, mains, phase = chance.stream("room light").random(3).tolist()
    return Room(depth * DEPTH, 2 * MAINS[mains > 0.5], 2 * math.pi * phase)
