"""The simulated world: one virtual board on the cable set of a fixture, on a time of its own.

Strategy: channels are translated once, at the start, into things of the board; what the bench does to a channel goes
to that thing at once, and what a channel sees is a signal that is worked out when somebody samples it.
Scene time is the time of whoever advances it: a virtual clock or a server's real one.
"""

import math
from collections.abc import Callable, Mapping
from functools import partial
from typing import Final

import numpy as np

from benchtest.faults import Defect, Fault, Mishap, Trip
from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.wiring import self_checking
from benchtest.instruments import Role, SupplyState
from benchtest.messages import Codec, SerialCodec, can_codec
from benchtest.profile.fitting import FittedProfile
from benchtest.profile.link import Link
from benchtest.profile.serial_link import SerialLink
from benchtest.simulator.board import VirtualBoard
from benchtest.simulator.events import Action, Events
from benchtest.simulator.guards import Guards
from benchtest.simulator.noise import Chance
from benchtest.simulator.own_wires import OwnWires
from benchtest.simulator.reporting import Frame
from benchtest.simulator.room import room
from benchtest.simulator.signal import DARK, Signal, constant
from benchtest.simulator.specimen import LEAKAGE, Specimen
from benchtest.simulator.trace import Samples
from benchtest.terminals import Pair

AC: Final = 0.015
"""By how much an a.c. source may be off, as share: a transformer with taps (common practice, no source)."""
CYCLE: Final = 0.02
"""Seconds over which a single reading is averaged: one mains cycle, so that hum cancels."""


class Scene:
    """A board, its wiring to the bench's channels, and everything that happens to them."""

    def __init__(  # what makes a scene is six documents and choices, each by name
        self,
        *,
        fitted: FittedProfile,
        harness: Harness,
        fixture: Fixture,
        database: str | None,
        seed: int,
        faults: tuple[Fault, ...] = (),
        mishaps: tuple[Mishap, ...] = (),
    ) -> None:
        self.fixture, self.harness = fixture, harness
        self.chance = Chance(seed)
        self._profile = fitted.profile
        self._events = Events()
        self._specimen = Specimen(fitted.profile, self.chance, fixture.contact_test, faults, fitted.others)
        self.codec = _codec(fitted.profile.link, database)
        """What is said on the board's link; None when nobody can be on it."""
        self.board = VirtualBoard(self._events, self._specimen, self.codec)
        self._guards = Guards(fixture.guards, tuple(one for one in mishaps if isinstance(one, Trip)))
        self.own = OwnWires(self._events, fixture.self_check, (one for one in mishaps if isinstance(one, Defect)))
        self.roles = _roles(harness) | dict.fromkeys(self._guards.signals, Role.SENSE) | self_checking(fixture)
        self._room = room(self.chance)
        self._values: dict[int, float] = {}
        self._supplies = {
            harness.supply[supply.terminals]: name
            for name, supply in fitted.profile.supplies.items()
            if supply.terminals in harness.supply
        }
        self._given = {
            name: self.chance.between(f"{name} given", 1 - AC, 1 + AC) if supply.kind == "ac" else 1.0
            for name, supply in fitted.profile.supplies.items()
        }
        """Supply → what its source gives of what it is told."""
        self._inputs = self._wire_inputs()
        self._signals = self._wire_signals()
        self.all_off()

    # ---- time

    @property
    def now(self) -> float:
        """Scene time in seconds."""
        return self._events.now

    @property
    def next_event(self) -> float | None:
        """Moment of the next thing to happen; None when nothing will happen by itself."""
        return self._events.next

    def advance(self, to: float) -> None:
        """Let everything happen that is due up to and including `to`."""
        self._events.advance(to)

    def at(self, moment: float, action: Action) -> None:
        """Do `action` at `moment` of scene time."""
        self._events.at(moment, action)

    def trip(self, guard: str) -> None:
        """Let a guard of the fixture trip now."""
        self._guards.trip(guard, self.now)

    # ---- what the bench does

    def set(self, channel: int, value: float) -> None:
        """Set a drive (0 or 1) or a resistance (ohms, infinite is open)."""
        self._values[channel] = value
        if self.roles[channel] is Role.DRIVE:
            value = float(self.own.drive(channel, on=bool(value)))
        if channel in self._inputs:
            self._inputs[channel](value)

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        """Switch a supply on."""
        self._values[channel] = volts
        self._guards.power(self.now)
        if channel in self._supplies:
            name = self._supplies[channel]
            self.board.supplies[name].source(volts=volts * self._given[name], amps=amps)

    def off(self, channel: int) -> None:
        """Take an output to its safe state."""
        if self.roles[channel] is Role.SUPPLY:
            self._values[channel] = 0.0
            if channel in self._supplies:
                self.board.supplies[self._supplies[channel]].off()
        else:
            self.set(channel, math.inf if self.roles[channel] is Role.RESISTANCE else 0.0)

    def all_off(self) -> None:
        """Take every output to its safe state, loads first, supplies last."""
        outputs = [c for c, role in self.roles.items() if role in {Role.DRIVE, Role.RESISTANCE, Role.SUPPLY}]
        for channel in sorted(outputs, key=lambda c: self.roles[c] is Role.SUPPLY):
            self.off(channel)

    def energised(self) -> frozenset[int]:
        """Return the outputs that are not in their safe state."""
        safe = {Role.RESISTANCE: math.inf}
        return frozenset(c for c, value in self._values.items() if value != safe.get(self.roles[c], 0.0))

    def receive(self, identifier: int, data: bytes) -> None:
        """Put a frame of the controller on the board's link now."""
        if self.board.reporter is not None:
            self.board.reporter.receive(identifier, data)

    # ---- what the bench sees

    def take_sent(self) -> list[Frame]:
        """Return the board's frames since the last call: moment, identifier, data."""
        return [] if self.board.reporter is None else self.board.reporter.take_sent()

    def supply_state(self, channel: int) -> SupplyState:
        """Return what a supply is doing now."""
        name = self._supplies.get(channel)
        if name is None:
            volts = self._values[channel]
            return SupplyState(on=volts > 0, volts=volts, amps=0.0, limiting=False)
        supply = self.board.supplies[name]
        return SupplyState(
            on=supply.on, volts=supply.volts.at(self.now), amps=self.board.amps(name), limiting=supply.limiting
        )

    def supplied(self) -> frozenset[int]:
        """Return the supply channels that are on."""
        return frozenset(c for c in self.energised() if self.roles[c] is Role.SUPPLY)

    def ohms(self, channel: int) -> float:
        """Return the resistance between the two pins of a channel, without power."""
        pair = next(pair for pair, number in self.harness.ohms.items() if number == channel)
        for supply in self.board.supplies.values():
            if self._profile.supplies[supply.build.name].terminals == pair:
                return supply.build.unpowered
        connector = self._profile.connectors.get(pair.high.connector)
        pins = {pair.high.pin, pair.low.pin}
        bridged = connector is not None and pins in [set(bridge) for bridge in connector.bridged]
        return self._specimen.bridge(pair.high.connector) if bridged else math.inf

    def signal(self, channel: int) -> Signal:
        """Return what a channel sees, before the converter."""
        return self._signals.get(channel, DARK)

    def reading(self, channel: int) -> float:
        """Return one averaged reading of a channel now, r.m.s. where it alternates."""
        cycle = self.signal(channel).during(self.now - CYCLE, self.now)
        if isinstance(cycle, float):
            return abs(cycle) if self._alternates(channel) else cycle
        times: Samples = self.now - CYCLE + CYCLE / 200 * np.arange(200, dtype=np.float64)
        seen = np.broadcast_to(cycle.sample(times), times.shape)
        return math.sqrt(float(np.mean(seen**2))) if self._alternates(channel) else float(seen[-1])

    # ---- wiring

    def _alternates(self, channel: int) -> bool:
        pairs = {s.terminals for s in self._profile.supplies.values() if s.kind == "ac"}
        return channel in {wired.get(pair) for wired in (self.harness.sense, self.harness.current) for pair in pairs}

    def _wire_inputs(self) -> dict[int, Callable[[float], None]]:
        wired = {**self.harness.drive, **self.harness.resistance}
        return {
            wired[port.terminals]: partial(self.board.firmware.input, name)
            for name, port in self._profile.inputs.items()
            if port.terminals in wired
        }

    def _wire_signals(self) -> dict[int, Signal]:
        harness, profile = self.harness, self._profile
        signals: dict[int, Signal] = {
            channel: constant(self.fixture.contact_test.voltage * LEAKAGE) for channel in harness.contact.values()
        }
        senses = self._senses()
        signals |= {channel: senses[pair] for pair, channel in harness.sense.items() if pair in senses}
        contacts = self._contacts()
        signals |= {channel: contacts[pair] for pair, channel in harness.contact.items() if pair in contacts}
        for lamp, channel in harness.light.items():
            fitted = lamp in profile.lamps
            signals[channel] = self.own.seen(channel, self.board.light(lamp) if fitted else DARK)
            if fitted and self.own.sees(channel):
                signals[channel] = self._room.over(signals[channel], self.board.ambient(lamp))
        signals |= self.own.loops() | self._guards.signals
        signals = {channel: self.own.read(channel, signal) for channel, signal in signals.items()}
        for name, supply in profile.supplies.items():
            if supply.terminals in harness.current:
                signals[harness.current[supply.terminals]] = self.board.current(name)
        return signals

    def _senses(self) -> Mapping[Pair, Signal]:
        found: dict[Pair, Signal] = {}
        for name, supply in self._profile.supplies.items():
            found[supply.terminals] = self.board.terminals(name)
            if supply.passed_on is not None:
                found[supply.passed_on.terminals] = self.board.passed_on(name)
        for name, rail in self._profile.rails.items():
            found[rail.terminals] = self.board.rail(name)
        for name, relay in self._profile.relays.items():
            if relay.coil is not None:
                found[relay.coil] = self.board.relays[name].pad
        return found

    def _contacts(self) -> Mapping[Pair, Signal]:
        found: dict[Pair, Signal] = {}
        for name, relay in self._profile.relays.items():
            built = self.board.relays[name]
            for pair, contact in ((relay.contact.make, built.make), (relay.contact.break_, built.break_)):
                if pair is not None and contact is not None:
                    found[pair] = contact.volts
        return found


def _codec(link: Link | None, database: str | None) -> Codec | None:
    """Return how a board's messages stand in bytes; a CAN link without its database has nobody on it."""
    if isinstance(link, SerialLink):
        return SerialCodec(link.resolved())
    return None if link is None or database is None else can_codec(database)


def _roles(harness: Harness) -> dict[int, Role]:
    return {channel: role for role in Role for channel in getattr(harness, role.value).values()}
