"""What the board's own program does: filter inputs, obey commands, keep interlocks, watch the link, drive the coils.

Strategy: every change of an input, a command, the link or a supply asks for one decision a program cycle later. A
decision goes through the relays in the profile's order, so of two relays that exclude each other the one that is
energised first keeps it. A relay driven by an input follows it while the link is alive (on a board that has one);
link commands are forgotten when the link is lost and must be sent anew.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from benchtest.profile.board import Condition, Interlock, Probe
from benchtest.profile.document import Profile
from benchtest.simulator.events import Events
from benchtest.simulator.relay import SimulatedRelay

BROWN_OUT: Final = 16.0 / 24.0
"""Share of nominal supply below which the processor is held in reset."""
POWER_GOOD: Final = 18.0 / 24.0

NEVER: Final = Condition(any=("",))
"""What no state of a board fulfils: no name is empty."""
OPEN_ABOVE: Final = 1e6
SHORTED_BELOW: Final = 1.0
"""Ohms between which a probe channel tells resistances apart."""


@dataclass(frozen=True, kw_only=True, slots=True)
class FirmwareBuild:
    """Times of one specimen's program, in seconds."""

    boot: float
    input_filter: float
    handling: float
    """Frame received to command known."""
    cycle: float
    """Something changed to coils driven accordingly."""
    reporting: float
    """Something changed to status message sent."""
    lost_after: float
    pace: float
    """Real over nominal duration of this board's clock."""
    ignored: frozenset[str] = frozenset()
    """Interlocks that are not kept."""
    always: frozenset[str] = frozenset()
    """Interlocks that hold their relay whatever their conditions."""
    stuck: frozenset[str] = frozenset()
    """Inputs that read as at rest; probes that read as open."""
    active: frozenset[str] = frozenset()
    """Inputs that read as the opposite of rest; probes that read as shorted."""
    unplugged: frozenset[str] = frozenset()
    """Inputs to which nothing gets through."""
    slow: Mapping[str, float] = field(default_factory=dict)
    """Inputs that are filtered for so many times as long."""
    misses: Mapping[str, float] = field(default_factory=dict)
    """Inputs and the probability that a change of theirs is not read."""
    swapped: Mapping[str, str] = field(default_factory=dict)
    """Inputs that are read as others."""
    reads: Mapping[str, float] = field(default_factory=dict)
    """Probes and what their resistance is read as, as multiple."""
    dead: bool = False
    """The program never starts."""
    recovers: bool = True
    """The link is taken up again after a loss."""


def probe_state(probe: Probe, ohms: float) -> str:
    """Return the name of the probe state nearest to a resistance, on a logarithmic scale."""

    def scale(resistance: float) -> float:
        return math.log(min(max(resistance, SHORTED_BELOW), OPEN_ABOVE))

    return min(probe.states, key=lambda state: abs(scale(probe.states[state]) - scale(ohms)))


class Firmware:
    """The board's program; without power it does nothing and knows nothing."""

    def __init__(
        self,
        events: Events,
        build: FirmwareBuild,
        profile: Profile,
        relays: Mapping[str, SimulatedRelay],
        rng: np.random.Generator,
    ) -> None:
        self.build, self.running = build, False
        self.energised: frozenset[str] = frozenset()
        self.link_alive = False
        self.on_boot: list[Callable[[], None]] = []
        self.on_reset: list[Callable[[], None]] = []
        self.on_change: list[Callable[[], None]] = []
        """Called `reporting` seconds after something changed."""
        self.supplies: set[str] = set()
        """Supplies that are there."""
        self._events, self._profile, self._relays, self._rng = events, profile, relays, rng
        self._follows = {
            name: relay.command.input for name, relay in profile.relays.items() if relay.command.input is not None
        }
        """Relay → the input that it follows."""
        self._alone = {
            name for name in self._follows if profile.link is None or profile.relays[name].without_link == "holds"
        }
        """Relays that follow theirs without a link too."""
        self._locks: dict[str, list[Interlock]] = {name: [] for name in relays}
        for name, lock in profile.interlocks.items():
            if name in build.always:
                self._locks[lock.relay].append(lock.model_copy(update={"needs": NEVER}))
            elif name not in build.ignored:
                self._locks[lock.relay].append(lock)
        self._raw: dict[str, bool | str] = {name: self._at_rest(name) for name in profile.inputs}
        self._inputs: dict[str, bool | str] = {}
        self._read: frozenset[str] = frozenset()
        self._take(self._raw)
        self._commands: dict[str, bool] = {}
        self._held: frozenset[str] = frozenset()
        self._latched: frozenset[str] = frozenset()
        self._life = 0
        self._last_beat = -math.inf
        self._deciding = self._reporting = self._deaf = self._watching = False

    # ---- power

    def power(self, good: bool) -> None:
        """Boot when the supply has become good, fall silent at once when it is no longer."""
        self._life += 1
        if good and not self.build.dead:
            life = self._life
            self._events.after(self.build.boot, lambda: self._boot(life))
        elif self.running:
            self._reset()

    def _boot(self, life: int) -> None:
        if life != self._life:
            return
        self.running = True
        self._take(self._raw)
        for action in self.on_boot:
            action()
        self._changed()

    def _reset(self) -> None:
        self.running = self.link_alive = self._deaf = False
        self.energised = self._held = self._latched = frozenset()
        self._commands.clear()
        for relay in self._relays.values():
            relay.drive(on=False)
        for action in self.on_reset:
            action()

    # ---- what comes in

    def input(self, name: str, value: bool | float) -> None:
        """Let an input have a state (switch closed, level high) or a resistance; the program knows it filtered."""
        build, name = self.build, self.build.swapped.get(name, name)
        if name in build.stuck | build.active | build.unplugged:
            return
        port = self._profile.inputs[name]
        state = probe_state(port, float(value) * build.reads.get(name, 1.0)) if isinstance(port, Probe) else bool(value)
        if self._raw[name] != state:
            if build.misses.get(name, 0.0) and self._rng.random() < build.misses[name]:
                return
            self._raw[name] = state
            self._events.after(build.input_filter * build.slow.get(name, 1.0), lambda: self._settled(name, state))

    def _settled(self, name: str, state: bool | str) -> None:
        if self.running and self._raw[name] == state and self._inputs[name] != state:
            self._take({name: state})
            self._changed()

    def _take(self, states: Mapping[str, bool | str]) -> None:
        """Read inputs and probes as these states, and keep the names that are true by it."""
        self._inputs.update(states)
        levels = (name for name, value in self._inputs.items() if value is True)
        probes = (f"{name}={value}" for name, value in self._inputs.items() if isinstance(value, str))
        self._read = frozenset((*levels, *probes))

    def supply(self, name: str, there: bool) -> None:
        """Know that a supply has come or gone."""
        (self.supplies.add if there else self.supplies.discard)(name)
        self._changed()

    def beat(self) -> None:
        """Hear the controller's heartbeat."""
        if not self.running or self._deaf:
            return
        self._last_beat = self._events.now
        if not self._watching and math.isfinite(self.build.lost_after):
            self._watching = True
            self._events.after(self.build.lost_after, self._watch)
        if not self.link_alive:
            self.link_alive = True
            self._changed()

    def _watch(self) -> None:
        """Take the link as lost when nothing was heard for so long; else look again when that would be so."""
        due = self._last_beat + self.build.lost_after
        self._watching = self._events.now < due
        if self._watching:
            self._events.at(due, self._watch)
        elif self.link_alive:
            self.link_alive, self._deaf = False, not self.build.recovers
            self._commands = {
                name: on for name, on in self._commands.items() if self._profile.relays[name].without_link == "holds"
            }
            self._changed()

    def command(self, signals: Mapping[str, float]) -> None:
        """Hear a command message; it is obeyed a little later, and not at all while the link is lost."""
        if self.running:
            self._events.after(self.build.handling, lambda: self._obey(signals))

    def _obey(self, signals: Mapping[str, float]) -> None:
        if not self.running or not self.link_alive:
            return
        for name, relay in self._profile.relays.items():
            if relay.command.link is not None:
                self._commands[name] = signals.get(relay.command.link, 0.0) >= 0.5
        self._changed()

    # ---- what it knows

    def truth(self, energised: frozenset[str] | None = None) -> frozenset[str]:
        """Return every name that is true now, as conditions of a profile use them."""
        names = self._read | self.supplies | (self.energised if energised is None else energised)
        if self.link_alive:
            names |= {"link"}
        return names | {"interlock"} if self._held else names

    def state_of(self, probe: str) -> str:
        """Return the state that a probe is read as."""
        return str(self._inputs[probe])

    def is_true(self, name: str) -> bool:
        """Return whether an input reads as true."""
        return self._inputs[name] is True

    def _at_rest(self, name: str) -> bool | str:
        port = self._profile.inputs[name]
        if isinstance(port, Probe):
            return probe_state(port, 0.0 if name in self.build.active else math.inf)
        rest = port.rest in {"closed", "high"}
        return (name in self.build.stuck and rest) or (name in self.build.active and not rest)

    # ---- what it does

    def _changed(self) -> None:
        if not self.running:
            return
        if not self._deciding:
            self._deciding = True
            self._events.after(self.build.cycle, self._decide)
        if not self._reporting:
            self._reporting = True
            self._events.after(self.build.cycle + self.build.reporting, self._report)

    def _report(self) -> None:
        self._reporting = False
        if self.running:
            for action in self.on_change:
                action()

    def _wanted(self, name: str) -> bool:
        if name not in self._follows:
            return self._commands.get(name, False)
        return (self.link_alive or name in self._alone) and self._inputs[self._follows[name]] is True

    def _decide(self) -> None:
        self._deciding = False
        if not self.running:
            return
        before = self.energised
        wanted = [name for name in self._relays if self._wanted(name)]
        self._latched &= frozenset(wanted)
        live = before & frozenset(wanted)
        held: set[str] = set()
        for name in wanted:
            permitted, waits = self._permitted(name, before=before, live=live)
            if permitted and not waits:
                live |= {name}
            else:
                held.add(name)
                live -= {name}
        self._held = frozenset(held)
        self._drive(live)

    def _permitted(self, name: str, *, before: frozenset[str], live: frozenset[str]) -> tuple[bool, bool]:
        """Return whether the interlocks let a relay be on, and whether it must wait for another one to go first.

        A relay that is on stays on until the cycle after the loss; one that is to come waits for the other's coil.
        """
        locks = self._locks[name]
        if not locks:
            return True, False
        truth = self.truth(before - {name} if name in before else live - {name})
        permitted = all(lock.needs.holds(truth) for lock in locks)
        if not permitted and any(lock.restart == "by command" for lock in locks if not lock.needs.holds(truth)):
            self._latched |= {name}
        waits = name in self._latched or (name not in before and any(_excluded(lock.needs, before) for lock in locks))
        return permitted, waits

    def _drive(self, live: frozenset[str]) -> None:
        gone, come = self.energised - live, live - self.energised
        self.energised = live
        for name in (*sorted(gone), *sorted(come)):
            self._relays[name].drive(on=name in live)
        if gone or come:
            self._changed()


def _excluded(needs: Condition, energised: frozenset[str]) -> bool:
    return any(name in energised for name in needs.none)
