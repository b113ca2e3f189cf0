"""A supply as the board sees it: the bench's source with its current limit, what the board draws, thresholds.

The board's load is a conductance, so a source in current limit settles at limit / conductance (Ohm's law). Voltages
approach their new value with one time constant; whoever depends on a level is told at the computed moment of crossing.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from operator import mul
from typing import Final

import numpy as np

from benchtest.simulator.events import Events
from benchtest.simulator.signal import Carried, Combined, Signal
from benchtest.simulator.trace import Samples, Trace

RISE: Final = 1e-3
"""Seconds; time constant of a bench source being set up (common practice, no source)."""
FALL: Final = 4e-3
"""Seconds; time constant when it is switched off and pulls itself down (common practice, no source)."""
MAINS: Final = 50.0
"""Hertz."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SupplyBuild:
    """One supply input of one specimen."""

    name: str
    nominal: float
    """Volts, r.m.s. for a.c."""
    alternating: bool
    conductance: float
    """Siemens that the idle board draws."""
    unpowered: float
    """Ohms without power, where semiconductors block."""
    cut: bool = False
    """Nothing of it gets past its terminals."""


@dataclass(kw_only=True, slots=True)
class Threshold:
    """A level with hysteresis that something waits for."""

    rising: float
    falling: float
    action: Callable[[bool], None]
    above: bool = False


class SimulatedSupply:
    """One supply: source, board load, voltage over time."""

    def __init__(self, events: Events, build: SupplyBuild) -> None:
        self.build = build
        self.on = False
        self.volts = Trace()
        """Voltage at the board's terminals (r.m.s. for a.c.)."""
        self.inside = Trace() if build.cut else self.volts
        """Voltage that the board has to work with."""
        self._events = events
        self._set = self._limit = 0.0
        self._loads = {"idle": build.conductance}
        self._conductance = Trace(build.conductance)
        self._thresholds: list[Threshold] = []
        self._followers: list[Callable[[], None]] = []
        self._generation = 0

    def source(self, *, volts: float, amps: float) -> None:
        """Switch the bench's source on with this voltage and current limit."""
        self.on, self._set, self._limit = True, volts, amps
        self._settle()

    def off(self) -> None:
        """Switch the bench's source off."""
        self.on = False
        self._settle()

    @property
    def limit(self) -> float:
        """Amps that were last set."""
        return self._limit

    @property
    def limiting(self) -> bool:
        """The current limit holds the voltage down."""
        return self.on and self._held() < self._set

    def load(self, name: str, conductance: float) -> None:
        """Let part `name` of the board draw through `conductance` siemens from now on."""
        self._loads[name] = conductance
        steady = self._loads["idle"] + self._loads.get("short", 0.0)
        if steady != self._conductance.target:
            self._conductance.set(self._events.now, steady)
        if self.on and not math.isclose(self._held(), self.volts.target):
            self._settle()

    def watch(self, rising: float, falling: float, action: Callable[[bool], None]) -> None:
        """Call `action(True)` when the voltage rises to `rising` volts, `action(False)` when it falls to `falling`."""
        if not self.build.cut:
            self._thresholds.append(Threshold(rising=rising, falling=falling, action=action))

    def follow(self, action: Callable[[], None]) -> None:
        """Call `action` whenever the voltage begins to go elsewhere."""
        self._followers.append(action)

    @property
    def terminals(self) -> Signal:
        """The instantaneous voltage at the board's terminals."""
        return Carried(self.volts, _wave) if self.build.alternating else self.volts

    @property
    def idle(self) -> Signal:
        """The instantaneous current of everything but the coils."""
        return Combined(mul, self.terminals, self._conductance)

    def idle_amps(self, moment: float) -> float:
        """Return the current of everything but the coils, r.m.s. for a.c."""
        return self.volts.at(moment) * self._conductance.at(moment)

    def _held(self) -> float:
        return min(self._set, self._limit / sum(self._loads.values()))

    def _settle(self) -> None:
        target = self._held() if self.on else 0.0
        now = self._events.now
        tau = RISE if target > self.volts.at(now) else FALL
        self.volts.set(now, target, tau=tau)
        self._generation += 1
        for threshold in self._thresholds:
            self._expect(threshold, target, tau)
        for follower in self._followers:
            follower()

    def _expect(self, threshold: Threshold, target: float, tau: float) -> None:
        """Plan the moment at which the voltage passes the level that is due next, if it will."""
        level = threshold.falling if threshold.above else threshold.rising
        reached = target < level if threshold.above else target > level
        if not reached:
            return
        here = self.volts.at(self._events.now)
        ratio = (target - here) / (target - level)
        delay = tau * math.log(ratio) if ratio > 1 else 0.0
        generation = self._generation
        self._events.after(delay, lambda: self._cross(threshold, generation))

    def _cross(self, threshold: Threshold, generation: int) -> None:
        if generation == self._generation:
            threshold.above = not threshold.above
            threshold.action(threshold.above)


def _wave(times: Samples) -> Samples:
    wave: Samples = math.sqrt(2) * np.sin(2 * math.pi * MAINS * times)
    return wave
