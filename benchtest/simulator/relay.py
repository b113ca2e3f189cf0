"""A relay: coil with inductance, armature with operate and release time, contacts that bounce, weld and wear.

The coil's current rises with L/R; the armature is one delay from coil to contact, as data sheets state it (operate and
release time, bounce excluded). A change-over contact breaks before it makes. When the driver lets go, a diode across
the coil carries its current: the pad goes one diode drop below zero until that has died away.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final, Literal

import numpy as np

from benchtest.simulator.events import Events
from benchtest.simulator.supply import SimulatedSupply
from benchtest.simulator.trace import Trace

PULL_IN: Final = 0.7
"""Share of nominal voltage at which the armature pulls in (24 V relays: 70 to 75 %, common practice, no source)."""
DROP_OUT: Final = 0.3
"""Share of nominal at which it lets go (not below 5 to 10 %, in practice 20 to 40 %; common practice, no source)."""
DIODE: Final = 0.7
"""Volts across the free-wheeling diode."""
DIED_AWAY: Final = 3.0
"""Time constants after which the diode stops conducting: V/R·exp(-3) is a twentieth of the coil current."""

AVALANCHE: Final = 55.0
"""Volts at which a driver breaks through when nothing else takes the coil's current (common practice, no source)."""
SHORT: Final = 0.3
"""Ohms of a short on the board."""
CHATTER: Final = (2e-3, 6e-3)
"""Seconds between two openings of a contact that chatters."""

Stuck = Literal["closed", "open"]
Suppressor = Literal["diode", "open", "shorted"]
"""What is left of the diode across the coil."""


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


@dataclass(frozen=True, kw_only=True, slots=True)
class RelayBuild:
    """One relay of one specimen."""

    name: str
    operate: float
    """Seconds from coil to first making of a make contact, breaking of a break contact."""
    release: float
    transfer: float
    """Seconds for which a change-over contact touches neither side."""
    resistance: float
    """Ohms of the coil."""
    tau: float
    """Seconds; L/R of the coil."""
    make: ContactBuild | None
    break_: ContactBuild | None
    coil_open: bool = False
    driver_open: bool = False
    driver_shorted: bool = False
    suppressor: Suppressor = "diode"


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
        shares = np.cumsum(self._rng.uniform(0.35, 0.6, size=2 * hops) ** np.arange(1, 2 * hops + 1))
        landed = [float(moment) for moment in self._build.bounce * shares / shares[-1]]
        if not self._build.chatters:
            return landed
        later = landed[-1] + np.cumsum(self._rng.uniform(*CHATTER, size=2 * self._build.chatters))
        return [*landed, *later.tolist()]

    def close(self) -> bool:
        """Make for the first time; return whether it was open and free to move, and so will bounce."""
        if self._build.misses and self._rng.random() < self._build.misses:
            return False
        return self._put(self._build.closed_volts)

    def open(self) -> None:
        """Break, without bounce."""
        if self._sticks > 0:
            self._sticks -= 1
        else:
            self._put(self._build.open_volts)

    def toggle(self, hop: int) -> None:
        """Fly open on even hops, touch on odd ones."""
        self._put(self._build.closed_volts if hop % 2 else self._build.open_volts)

    def _put(self, volts: float) -> bool:
        if self._build.stuck is not None or volts == self.volts.target:
            return False
        self.volts.set(self._events.now, volts)
        return True


class SimulatedRelay:
    """One relay with its driver, coil, armature and contacts."""

    def __init__(self, events: Events, build: RelayBuild, supply: SimulatedSupply, rng: np.random.Generator) -> None:
        self.build = build
        self.pad = Trace()
        """Volts at the coil's test pad."""
        self.amps = Trace()
        """Current that the coil takes from the supply."""
        self._events, self._supply, self._rng = events, supply, rng
        self.make = self._contact(build.make, closed=False)
        self.break_ = self._contact(build.break_, closed=True)
        self.on_coil: list[Callable[[], None]] = []
        """Called after every change of the coil's voltage (its lamp follows)."""
        self.bridged: list[SimulatedRelay] = []
        """Relays whose outputs are bridged with this one's."""
        self._commanded = self._strong = self._pulled = self._fed = False
        self._generation = 0
        supply.follow(self._follow)
        nominal = supply.build.nominal
        supply.watch(PULL_IN * nominal, DROP_OUT * nominal, self._strength)
        if build.driver_shorted:
            self._fed = True
            self._load()

    @property
    def driven(self) -> bool:
        """The coil is connected to the supply."""
        return self.conducts or any(other.conducts for other in self.bridged)

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
        if self.driven == before:
            return
        self._load()
        if self.driven:
            self._follow()
        else:
            self._let_go()
        self._move()

    def _contact(self, build: ContactBuild | None, *, closed: bool) -> SimulatedContact | None:
        return None if build is None else SimulatedContact(self._events, build, self._rng, closed=closed)

    def _load(self) -> None:
        shorted = self.build.suppressor == "shorted"
        conducts = self.driven and (shorted or not self.build.coil_open)
        ohms = SHORT if shorted else self.build.resistance
        self._supply.load(self.build.name, 1 / ohms if conducts else 0.0)

    def _follow(self) -> None:
        """Coil on: the pad is at the supply, the current goes to V/R with L/R."""
        if not self.driven:
            return
        now, volts = self._events.now, self._supply.inside
        self.pad.set(now, volts.target, tau=volts.tau, start=volts.at(now))
        if not self.build.coil_open:
            self.amps.set(now, volts.target / self.build.resistance, tau=self.build.tau)
        self._changed()

    def _let_go(self) -> None:
        """Coil off: the diode clamps until the current has died away; none of it comes from the supply."""
        now = self._events.now
        self.amps.set(now, 0.0)
        clamp, lasts = self._clamp()
        self.pad.set(now, 0.0 if self.build.coil_open else -clamp)
        self._events.after(lasts, self._unclamp)
        self._changed()

    def _clamp(self) -> tuple[float, float]:
        """Return the volts that hold against the coil's current, and the seconds until that has died away."""
        if self.build.suppressor == "open":
            return AVALANCHE, self.build.tau * math.log1p(self._supply.build.nominal / AVALANCHE)
        return DIODE if self.build.suppressor == "diode" else 0.0, DIED_AWAY * self.build.tau

    def _unclamp(self) -> None:
        if not self.driven and self.pad.target < 0:
            self.pad.set(self._events.now, 0.0)

    def _changed(self) -> None:
        for action in self.on_coil:
            action()

    def _strength(self, strong: bool) -> None:
        self._strong = strong
        self._move()

    def _move(self) -> None:
        pulled = self.driven and self._strong and not self.build.coil_open
        if pulled == self._pulled:
            return
        self._pulled = pulled
        self._generation += 1
        delay = self.build.operate if pulled else self.build.release
        delay *= 1 + float(self._rng.uniform(-0.015, 0.015))  # no two movements are alike
        closing, opening = (self.make, self.break_) if pulled else (self.break_, self.make)
        apart = self.build.transfer if closing is not None and opening is not None else 0.0
        # operate time counts to the making of a change-over contact, release time to the middle of its flight
        begin = delay - (apart if pulled else apart / 2)
        if opening is not None:
            self._plan(begin, opening.open)
        if closing is not None:
            self._plan(begin + apart, lambda: self._land(closing))

    def _land(self, contact: SimulatedContact) -> None:
        if contact.close():
            for hop, moment in enumerate(contact.bounce_moments()):
                self._plan(moment, partial(contact.toggle, hop))

    def _plan(self, delay: float, action: Callable[[], None]) -> None:
        generation = self._generation
        self._events.after(delay, lambda: action() if generation == self._generation else None)
