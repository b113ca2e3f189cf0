"""A relay: driver, coil, armature and contacts.

The coil's current and the moments at which the armature leaves and lands are those of `coil`, so that operate and
release time follow from supply, temperature and suppression. A change-over contact breaks before it makes; operate time
counts to the making, release time to the middle of the flight back. When the driver lets go, what is left of the
suppression carries the coil's current: the pad goes below zero until that has died away.

A supply that changes while the coil is on counts as changing at once: its own time constant is shorter than a coil's.
"""

import math
from bisect import bisect_right
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from itertools import pairwise
from typing import Final, Literal

import numpy as np

from benchtest.simulator.coil import Coil, Course, energise, release
from benchtest.simulator.contact import ContactBuild, SimulatedContact
from benchtest.simulator.events import Events
from benchtest.simulator.supply import SimulatedSupply
from benchtest.simulator.trace import Samples, Trace

DIODE: Final = 0.7
"""Volts across the free-wheeling diode."""
AVALANCHE: Final = 55.0
"""Volts at which a driver breaks through when nothing else takes the coil's current (common practice, no source)."""
SHORT: Final = 0.3
"""Ohms of a short on the board."""
SETTLED: Final = 20.0
"""Time constants after which a current is what it will be: less than 1e-8 of it is missing."""
KEPT: Final = 256
"""Courses of a coil that are kept; more than the longest recording can hold."""
ALIKE: Final = 0.015
"""Half-width, relative, by which two movements differ."""

Suppressor = Literal["diode", "open", "shorted"]
"""What is left of the diode across the coil."""


@dataclass(frozen=True, kw_only=True, slots=True)
class RelayBuild:
    """One relay of one specimen."""

    name: str
    coil: Coil
    """With a diode across it."""
    transfer: float
    """Seconds for which a change-over contact touches neither side."""
    make: ContactBuild | None
    break_: ContactBuild | None
    coil_open: bool = False
    driver_open: bool = False
    driver_shorted: bool = False
    suppressor: Suppressor = "diode"


class Current:
    """What a coil takes from the supply over time: one course after the other, nothing in between."""

    def __init__(self) -> None:
        self._moments: deque[float] = deque([-math.inf], maxlen=KEPT)
        self._courses: deque[Course | None] = deque([None], maxlen=KEPT)

    def set(self, moment: float, course: Course | None) -> None:
        """From `moment` on let it be a course, or nothing."""
        if moment == self._moments[-1]:
            self._moments.pop()
            self._courses.pop()
        self._moments.append(moment)
        self._courses.append(course)

    def at(self, moment: float) -> float:
        """Return the amperes at one moment."""
        row = -1 if moment >= self._moments[-1] else max(bisect_right(self._moments, moment) - 1, 0)
        course = self._courses[row]
        if course is None:
            return 0.0
        if (steady := self._steady(row, moment)) is not None:
            return steady
        return float(course.at(np.array([moment - self._moments[row]]))[0])

    def during(self, begin: float, end: float) -> "Current | float":
        """Return what it is between two moments, whatever is set afterwards; a number where it rests."""
        if begin >= self._moments[-1] and (steady := self._steady(-1, begin)) is not None:
            return steady
        first, last = self._rows(begin, end)
        if first == last and (steady := self._steady(first, begin)) is not None:
            return steady
        part = Current()
        part._moments = deque(list(self._moments)[first : last + 1])
        part._courses = deque(list(self._courses)[first : last + 1])
        return part

    def sample(self, times: Samples) -> "Samples | float":
        """Return the amperes at moments in order of time, or one number when it rests all the while."""
        begin = float(times[0])
        first, last = self._rows(begin, float(times[-1]))
        if first == last and (steady := self._steady(first, begin)) is not None:
            return steady
        values = np.zeros_like(times)
        bounds = [0, *np.searchsorted(times, list(self._moments)[first + 1 : last + 1]).tolist(), len(times)]
        for row, (begin, end) in zip(range(first, last + 1), pairwise(bounds), strict=True):
            course = self._courses[row]
            if course is not None and end > begin:
                values[begin:end] = course.at(times[begin:end] - self._moments[row])
        return values

    def _rows(self, begin: float, end: float) -> tuple[int, int]:
        """Return the courses that two moments are in."""
        first, last = (max(bisect_right(self._moments, moment) - 1, 0) for moment in (begin, end))
        return first, last

    def _steady(self, row: int, moment: float) -> float | None:
        course = self._courses[row]
        if course is None:
            return 0.0
        last = course.pieces[-1]
        gone = moment - self._moments[row] - last.begin
        return last.volts / last.resistance if gone > SETTLED * last.inductance / last.resistance else None


class SimulatedRelay:
    """One relay with its driver, coil, armature and contacts."""

    def __init__(self, events: Events, build: RelayBuild, supply: SimulatedSupply, rng: np.random.Generator) -> None:
        self.build = build
        self.pad = Trace()
        """Volts at the coil's test pad."""
        self.amps = Current()
        """Current that the coil takes from the supply."""
        self._events, self._supply, self._rng = events, supply, rng
        self._coil = replace(build.coil, clamp=AVALANCHE) if build.suppressor == "open" else build.coil
        self._energise = lru_cache(partial(energise, self._coil))  # mostly from the same current as before
        self._release = lru_cache(partial(release, self._coil))
        self.make = self._contact(build.make, closed=False)
        self.break_ = self._contact(build.break_, closed=True)
        self.on_coil: list[Callable[[], None]] = []
        """Called after every change of the coil's voltage (its lamp follows)."""
        self.bridged: list[SimulatedRelay] = []
        """Relays whose outputs are bridged with this one's."""
        self._commanded = self._fed = False
        self._pulled = False
        """The armature is where a current holds it."""
        self._intents = self._flights = 0
        supply.follow(self._follow)
        if build.driver_shorted:
            self._fed = True
            self._load()

    @property
    def driven(self) -> bool:
        """The coil is connected to the supply."""
        return self.conducts or (bool(self.bridged) and any(other.conducts for other in self.bridged))

    def drive(self, *, on: bool) -> None:
        """Let the firmware's driver switch the coil."""
        self._commanded = on
        for relay in (self, *self.bridged):
            relay.feed()

    @property
    def conducts(self) -> bool:
        """Its own driver feeds the coil."""
        return self.build.driver_shorted or (self._commanded and not self.build.driver_open)

    def feed(self) -> None:
        """Let the coil follow its driver, and those that are bridged with it."""
        before, self._fed = self._fed, self.driven
        if self._fed == before:
            return
        self._load()
        if self._fed:
            self._follow()
        else:
            self._let_go()

    def _contact(self, build: ContactBuild | None, *, closed: bool) -> SimulatedContact | None:
        return None if build is None else SimulatedContact(self._events, build, self._rng, closed=closed)

    @property
    def _whole(self) -> bool:
        """Current can flow in the coil: it is not broken, and nothing lies across it."""
        return not self.build.coil_open and self.build.suppressor != "shorted"

    def _load(self) -> None:
        shorted = self.build.suppressor == "shorted"
        conducts = self.driven and (shorted or not self.build.coil_open)
        ohms = SHORT if shorted else self._coil.resistance
        self._supply.load(self.build.name, 1 / ohms if conducts else 0.0)

    def _follow(self) -> None:
        """Coil on: the pad is at the supply, and the current takes its course from what it was."""
        if not self.driven:
            return
        now, volts = self._events.now, self._supply.inside
        self.pad.set(now, volts.target, tau=volts.tau, start=volts.at(now))
        if self._whole:
            course = self._energise(volts.target, amps=max(0.0, self.amps.at(now)), closed=self._pulled)
            self.amps.set(now, course)
            self._move(course)
        self._changed()

    def _let_go(self) -> None:
        """Coil off: the suppression clamps until the current has died away; none of it comes from the supply."""
        now = self._events.now
        clamp, lasts = 0.0, 0.0
        if self._whole:
            course = self._release(max(0.0, self.amps.at(now)), closed=self._pulled)
            clamp, lasts = self._coil.clamp, course.clamped_until or 0.0
            self._move(course)
        self.amps.set(now, None)
        self.pad.set(now, -clamp)
        self._events.after(lasts, self._unclamp)
        self._changed()

    def _unclamp(self) -> None:
        if not self.driven and self.pad.target < 0:
            self.pad.set(self._events.now, 0.0)

    def _changed(self) -> None:
        for action in self.on_coil:
            action()

    def _move(self, course: Course) -> None:
        """Plan the armature's movement, if there is one, in place of one that has not begun."""
        self._intents += 1
        if course.lands is None:
            return
        pulled = not self._pulled
        delay = course.lands * (1 + float(self._rng.uniform(-ALIKE, ALIKE)))  # no two movements are alike
        closing, opening = (self.make, self.break_) if pulled else (self.break_, self.make)
        apart = self.build.transfer if closing is not None and opening is not None else 0.0
        # operate time counts to the making of a change-over contact, release time to the middle of its flight
        begin = delay - (apart if pulled else apart / 2)
        leave = partial(self._leave, opening, closing, apart, pulled=pulled)
        intent = self._intents
        self._events.after(begin, lambda: leave() if intent == self._intents else None)

    def _leave(
        self, opening: SimulatedContact | None, closing: SimulatedContact | None, apart: float, *, pulled: bool
    ) -> None:
        """Leave one side; what has left will land, whatever the current does, unless it is sent back."""
        self._pulled = pulled
        self._flights += 1
        if opening is not None:
            opening.open()
        if closing is not None:
            flight = self._flights
            self._events.after(apart, lambda: closing.close() if flight == self._flights else None)
