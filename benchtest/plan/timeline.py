"""Orders and link orders of one recording, written in the board's words: command K3, open door_shut, silence the link.

Also who must be commanded first: a relay behind an interlock can only be looked at while the interlock is satisfied.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from benchtest.instruments import Order, Role
from benchtest.plan.wiring import RelayChannels, Wiring, relay_channels
from benchtest.procedure import Channel, Heartbeat, LinkOrder, Record, Say
from benchtest.profile.board import DryContact, Input, Level, Probe, RelayLimits
from benchtest.profile.document import Profile
from benchtest.profile.link import Link


@dataclass(frozen=True, kw_only=True, slots=True)
class Pace:
    """How long things are given, in seconds: enough for a board, and for a host that looks only now and then."""

    quiet: float = 0.03
    """Rest before the first order of a recording."""
    gap: float = 0.1
    """Between orders that depend on one another: input filter, firmware and armature have followed by then."""
    settled: float = 0.04
    """The window in which steady things are read, in its second half."""
    follow: float = 0.12
    """For input filter, firmware and armature to follow, on top of a permitted reaction."""
    slack: float = 0.0
    """Before a window that ends where something has just become steady: what lateness has added to the window, and
    a late order and a late look before it."""

    def slowed(self, late: float) -> "Pace":
        """Return the pace for a host that orders and looks up to `late` seconds late: each window still has a look."""
        return Pace(
            quiet=self.quiet + 3 * late,
            gap=self.gap + 3 * late,
            settled=self.settled + 6 * late,
            follow=self.follow + 6 * late,
            slack=8 * late,
        )


@dataclass(frozen=True, kw_only=True)
class Draft:
    """What every planner needs: the fitted profile, the wiring, and where things stand in the file."""

    profile: Profile
    wiring: Wiring
    place: Callable[..., str]
    rate: float
    """Samples per second of fast recordings."""
    pace: Pace = Pace()
    written: tuple[int, ...] = ()
    """Where each step of the profile stands among all that are written."""

    def place_in_step(self, number: int, *keys: str) -> str:
        """Return where in the file the step of this number says something; steps count from 1."""
        return self.place("steps", *self.written[number - 1 : number], *keys)

    @cached_property
    def channels(self) -> Mapping[int, Channel]:
        """What the judge must know of every channel of the harness; asked for by every step."""
        return self.wiring.facts(self.profile)

    def relay(self, name: str) -> RelayChannels:
        """Return the channels of one relay."""
        return relay_channels(self.wiring, name, self.profile.relays[name])

    def limits(self, relay: str) -> RelayLimits:
        """Return the limits of one relay, its own before the common ones."""
        return self.profile.relays[relay].limits.over(self.profile.relay_limits)

    def link(self) -> Link:
        """Return the link of a board that has one."""
        if self.profile.link is None:
            raise ValueError("the profile has no link")
        return self.profile.link

    def watched(self) -> tuple[int, ...]:
        """Return every channel that a fast recording watches: contacts, coils, lamps, supply currents."""
        relays = {number for name in self.profile.relays for number in self.relay(name).all()}
        lamps = {self.wiring.channel(Role.LIGHT, name, f"lamp {name}") for name in self.profile.lamps}
        currents = {
            self.wiring.harness.current[supply.terminals]
            for supply in self.profile.supplies.values()
            if self.wiring.has(Role.CURRENT, supply.terminals)
        }
        return tuple(sorted((relays | lamps | currents) - {0}))

    def blinking(self) -> frozenset[int]:
        """Return the channels of lamps that give codes, which are never still."""
        return frozenset(
            self.wiring.channel(Role.LIGHT, name, f"lamp {name}")
            for name, lamp in self.profile.lamps.items()
            if lamp.code is not None
        )


def rest(thing: Input) -> str:
    """Return the name of an input's state at rest."""
    return thing.rest


def away(thing: Input) -> str:
    """Return the name of another state of an input than the one at rest."""
    if isinstance(thing, DryContact):
        return "open" if thing.rest == "closed" else "closed"
    if isinstance(thing, Level):
        return "low" if thing.rest == "high" else "high"
    return next(state for state in [*thing.states, thing.rest] if state != thing.rest or len(thing.states) == 1)


def true_at_rest(profile: Profile) -> frozenset[str]:
    """Return inputs, probe states (`probe=state`), supplies and link that hold while nothing is commanded."""
    inputs = {name for name, thing in profile.inputs.items() if rest(thing) in {"closed", "high"}}
    inputs |= {f"{name}={rest(thing)}" for name, thing in profile.inputs.items() if isinstance(thing, Probe)}
    return frozenset(inputs | profile.supplies.keys() | ({"link"} if profile.link else set()))


def first(profile: Profile, relay: str) -> tuple[list[tuple[str, bool]], list[str]]:
    """Return what must be so before `relay` can be energised: inputs to set (name, truth), relays in order."""
    inputs: list[tuple[str, bool]] = []
    relays: list[str] = []
    at_rest = true_at_rest(profile)
    for lock in profile.locks(relay):
        wanted = [(name, True) for name in lock.needs.all] + [(name, False) for name in lock.needs.none]
        if lock.needs.any and not any(name in at_rest for name in lock.needs.any):
            wanted.append((lock.needs.any[0], True))
        for name, truth in wanted:
            if name in profile.relays and truth:
                deeper_inputs, deeper_relays = first(profile, name)
                inputs += deeper_inputs
                relays += [*deeper_relays, name]
            elif name.partition("=")[0] in profile.inputs and (name in at_rest) != truth:
                inputs.append((name, truth))
    return list(dict.fromkeys(inputs)), list(dict.fromkeys(relays))


def beside(profile: Profile, relay: str) -> list[str]:
    """Return the other relays that obey the same command: they move whenever `relay` is commanded."""
    command = profile.relays[relay].command
    return [name for name, other in profile.relays.items() if name != relay and other.command == command]


def staying(profile: Profile, energised: frozenset[str], true: frozenset[str]) -> frozenset[str]:
    """Return which of these relays stay when their interlocks, one after the other, have followed."""
    locks = profile.interlocks.values()
    while True:
        held = {lock.relay for lock in locks if not lock.needs.holds(true | energised)}
        if not held & energised:
            return energised
        energised -= held


def true_with(profile: Profile, inputs: Iterable[tuple[str, bool]]) -> frozenset[str]:
    """Return what holds while nothing is commanded and these inputs are set."""
    set_so = dict(inputs)
    return frozenset(
        {name for name in true_at_rest(profile) if set_so.get(name, True)} | {n for n, t in set_so.items() if t}
    )


@dataclass(slots=True)
class Timeline:
    """Orders of one recording, in the making."""

    draft: Draft
    orders: list[Order] = field(default_factory=list)
    link_orders: list[LinkOrder] = field(default_factory=list)

    def command(self, at: float, relay: str, *, on: bool) -> None:
        """Command a relay by its input or over the link."""
        command = self.draft.profile.relays[relay].command
        if command.link is not None:
            message = self.draft.link().command
            self.link_orders.append(Say(at=at, message=message, signals={command.link: float(on)}))
        elif command.input is not None:
            self.truth(at, command.input, true=on)

    def truth(self, at: float, name: str, *, true: bool) -> None:
        """Make an input or the state of a probe (`probe=state`) true or false."""
        name, _, state = name.partition("=")
        thing = self.draft.profile.inputs[name]
        if isinstance(thing, Probe):
            other = rest(thing) if rest(thing) != state else away(thing)
            self.input(at, name, state if true else other)
            return
        states = ("closed", "open") if isinstance(thing, DryContact) else ("high", "low")
        self.input(at, name, states[0] if true else states[1])

    def input(self, at: float, name: str, state: str) -> None:
        """Put an input into a named state."""
        thing = self.draft.profile.inputs[name]
        if isinstance(thing, (DryContact, Level)):
            channel = self.draft.wiring.channel(Role.DRIVE, thing.terminals, f"input {name}")
            value = float(state in {"closed", "high"})
        else:
            channel = self.draft.wiring.channel(Role.RESISTANCE, thing.terminals, f"input {name}")
            value = thing.states[state]
        self.orders.append(Order(at=at, channel=channel, value=value))

    def supply(self, at: float, name: str, volts: float) -> None:
        """Set the voltage of a supply that is on."""
        channel = self.draft.wiring.channel(Role.SUPPLY, self.draft.profile.supplies[name].terminals, f"supply {name}")
        self.orders.append(Order(at=at, channel=channel, value=volts))

    def heartbeat(self, at: float, *, alive: bool) -> None:
        """Start or stop the controller's heartbeat."""
        if self.draft.profile.link is not None:
            self.link_orders.append(Heartbeat(at=at, alive=alive))

    def prepare(self, at: float, relays: Iterable[str], inputs: Iterable[tuple[str, bool]] = ()) -> float:
        """Set inputs and command relays one after the other; return when all of it has followed."""
        for name, truth in inputs:
            self.truth(at, name, true=truth)
            at += self.draft.pace.gap
        for relay in relays:
            self.command(at, relay, on=True)
            at += self.draft.pace.gap
        return at

    def undo(self, at: float, relays: Iterable[str], inputs: Iterable[tuple[str, bool]] = ()) -> float:
        """Take commands back in reverse order, then the inputs; return when all of it has followed."""
        for relay in reversed(list(relays)):
            self.command(at, relay, on=False)
            at += self.draft.pace.gap
        for name, truth in inputs:
            self.truth(at, name, true=not truth)
            at += self.draft.pace.gap
        return at

    def record(self, name: str, *, duration: float, rate: float | None = None, channels: Iterable[int]) -> Record:
        """Return the finished move."""
        return Record(
            name=name,
            orders=tuple(sorted(self.orders, key=lambda order: order.at)),
            link_orders=tuple(sorted(self.link_orders, key=lambda order: order.at)),
            duration=round(duration, 6),
            rate=rate or self.draft.rate,
            channels=tuple(channel for channel in channels if channel),
        )
