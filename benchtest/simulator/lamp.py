"""Lamps: how bright, and in what rhythm. Steady lamps follow a voltage; code lamps are played flash by flash.

A group's last flash is followed directly by the longer pause, not by a gap and a pause.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from benchtest.profile.board import CountCode, DigitsCode
from benchtest.simulator.events import Events
from benchtest.simulator.signal import clipped
from benchtest.simulator.trace import Samples, Trace

GLOW: Final = 0.3e-3
"""Seconds; time constant of light sensor and amplifier (a light-emitting diode itself is far faster)."""
STRETCH: Final = 0.02
"""Seconds for which a cold joint conducts, or does not."""
FORWARD: Final = 2.0
"""Volts below which a light-emitting diode stays dark."""

Beat = tuple[bool, float]
"""Lit or dark, and for how many seconds."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LampBuild:
    """One lamp of one specimen under its light sensor."""

    name: str
    ambient: float
    """Sensor reading of a dark lamp, share of full scale."""
    bright: float
    """What a fully lit lamp adds."""
    dark: bool = False
    """Never lights."""
    always: bool = False
    """Lit as long as the board has power."""
    gaps: tuple[bool, ...] = ()
    """Through a cold joint: in which stretches of time, one after the other and again, nothing gets to it."""


def through(gaps: tuple[bool, ...], times: Samples) -> Samples:
    """Return 1 where a cold joint conducts and 0 in its gaps, at moments of time."""
    place = (times / STRETCH).astype(np.int64) % len(gaps)
    return 1.0 - np.asarray(gaps, float)[place]


def pulses(hertz: float, share: float, times: Samples) -> Samples:
    """Return the light of a lamp that is dimmed by pulses, as a sensor with its time constant shows it, at moments."""
    period, lit = 1 / hertz, share / hertz
    rises, falls = math.exp(-lit / GLOW), math.exp((lit - period) / GLOW)
    highest = (1 - rises) / (1 - rises * falls)
    within = times % period
    rising = 1 - (1 - highest * falls) * np.exp(-within / GLOW)
    falling = highest * np.exp((lit - within) / GLOW)
    seen: Samples = np.where(within < lit, rising, falling)
    return seen


def brightness(volts: "Samples | float", nominal: float) -> "Samples | float":
    """Return the share of full light of a lamp with its resistor at `volts`, linear above the forward voltage."""
    return clipped((volts - FORWARD) / (nominal - FORWARD), 0.0, 1.25)


def count_beats(code: CountCode, count: int) -> Iterator[Beat]:
    """Give one repeat of a counting code: flashes with gaps, then the pause."""
    if not count:
        yield False, code.pause
    for flash in range(1, count + 1):
        yield True, code.flash
        yield False, code.gap if flash < count else code.pause


def digits_beats(code: DigitsCode, pairs: tuple[tuple[int, int], ...]) -> Iterator[Beat]:
    """Give one repeat of a digits code: for each probe slow flashes, then quick ones."""
    for place, (slow, quick) in enumerate(pairs, start=1):
        yield from _group(slow, code.slow, code.between_digits)
        yield from _group(quick, code.quick, code.between_probes if place < len(pairs) else code.pause)


def _group(count: int, length: float, after: float) -> Iterator[Beat]:
    for flash in range(1, count + 1):
        yield True, length
        yield False, length if flash < count else after


class Player:
    """Plays one repeat after the other on a lamp; asks for the next one when the last has ended with its pause."""

    def __init__(self, events: Events, light: Trace, beats: Callable[[], list[Beat]], *, pace: float) -> None:
        self._events, self._light, self._beats = events, light, beats
        self._pace = pace
        """Real over written duration: the board's clock is a little off."""
        self._running = 0

    def start(self) -> None:
        """Begin a repeat now."""
        self._running += 1
        self._repeat(self._running)

    def stop(self) -> None:
        """Go dark at once."""
        self._running += 1
        self._light.cut(self._events.now)
        self._light.set(self._events.now, 0.0, tau=GLOW)

    def _repeat(self, run: int) -> None:
        if run != self._running:
            return
        moment = self._events.now
        for lit, seconds in self._beats():
            self._light.set(moment, 1.0 if lit else 0.0, tau=GLOW)
            moment += seconds * self._pace
        self._events.at(moment, lambda: self._repeat(run))
