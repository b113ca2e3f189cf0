"""One specimen of a board: every quantity drawn from the seed around the middle of its limits, then the faults put in.

How bad a fault is comes from the seed too, from just beyond what is permitted to far beyond it. A good specimen passes
with margin: about the middle of two limits, 55 % of a lone maximum, a third of it for contact and bridge resistances (a
clean 5 A contact has some tens of milliohms; common practice, no source).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from benchtest.faults import Fault, Kind
from benchtest.fixture.document import ContactTest
from benchtest.profile.board import Relay, RelayLimits, Supply
from benchtest.profile.document import Profile
from benchtest.simulator.coil import fitted, hot
from benchtest.simulator.contact import ContactBuild
from benchtest.simulator.firmware import FirmwareBuild
from benchtest.simulator.lamp import LampBuild
from benchtest.simulator.noise import Chance
from benchtest.simulator.relay import DIODE, SHORT, RelayBuild, Suppressor
from benchtest.simulator.supply import SupplyBuild

LEAKAGE: Final = 0.9995
"""Open contact: share of the test voltage that is left across it."""
CLEAN: Final = 0.33
"""Resistance of a good contact or bridge as share of its maximum."""
FRESH: Final = 0.03
"""What the first closing finds on a good contact, as share of the maximum of its resistance."""
TOO_LONG: Final = (1.25, 2.6)
"""What a slow or bouncing relay takes, as multiple of its maximum."""
GAPS: Final = 997
"""Stretches after which a cold joint does the same again."""
OFTEN: Final = (0.35, 0.65)
"""Probability of what happens now and then, each time."""
PASS_THROUGH: Final = 40e-3
"""Ohms from supply in to supply out (some 10 cm of track, fuse and two contacts; common practice, no source)."""
WARMTH: Final = (18.0, 28.0)
"""Degrees Celsius of a coil on the bench."""
SLUGGED: Final = 1.15
"""Operate time of a coil with shorted turns as multiple: currents in them hold the field back."""


@dataclass(frozen=True, slots=True)
class Specimen:
    """Draws the parts of one specimen."""

    profile: Profile
    chance: Chance
    contact_test: ContactTest
    faults: tuple[Fault, ...]
    others: Mapping[str, frozenset[str]]
    """Other choices of this board, and what they lack of it."""

    @property
    def missing(self) -> frozenset[str]:
        """Names of what is not there, because this is another board."""
        return frozenset().union(*(self.others.get(name, frozenset()) for name in self.having(Kind.WRONG_VARIANT)))

    def has(self, kind: Kind, subject: str) -> bool:
        """Return whether this part has this fault."""
        return any(fault.kind is kind and subject in fault.parts for fault in self.faults)

    def having(self, kind: Kind) -> frozenset[str]:
        """Return the parts that have this fault."""
        return frozenset(part for fault in self.faults if fault.kind is kind for part in fault.parts)

    def pairs(self, kind: Kind) -> dict[str, str]:
        """Return each part that shares this fault with another, and that other."""
        return {
            one: other for fault in self.faults if fault.kind is kind for one, other in (fault.parts, fault.parts[::-1])
        }

    def degree(self, kind: Kind, subject: str, between: tuple[float, float]) -> float:
        """Return how bad a fault is on this specimen, somewhere between two values."""
        return self.chance.between(f"{subject} {kind} degree", *between)

    def _often(self, kind: Kind) -> dict[str, float]:
        return {subject: self.degree(kind, subject, OFTEN) for subject in self.having(kind)}

    def supply(self, name: str, supply: Supply) -> SupplyBuild:
        """Draw a supply input."""
        idle = self.chance.middle(f"{name} idle current", supply.idle_current, default=30e-3)
        if self.has(Kind.IDLE_HIGH, name) and supply.idle_current is not None:
            idle = supply.idle_current.high * self.degree(Kind.IDLE_HIGH, name, (1.2, 2.0))
        cut = self.has(Kind.SUPPLY_OPEN, name)
        unpowered = self.chance.middle(f"{name} unpowered", supply.unpowered, default=2e3)
        return SupplyBuild(
            name=name,
            nominal=supply.nominal,
            alternating=supply.kind == "ac",
            conductance=1e-9 if cut else idle / supply.nominal,
            cut=cut,
            unpowered=SHORT if self.has(Kind.SUPPLY_SHORTED, name) else unpowered,
        )

    def relay(self, name: str, relay: Relay, *, nominal: float, firmware: FirmwareBuild) -> RelayBuild:
        """Draw a relay; where the coil cannot be seen the profile's times count from the command."""
        limits = relay.limits.over(self.profile.relay_limits)
        before = 0.0 if relay.coil is not None else firmware.cycle
        if relay.coil is None:
            before += firmware.input_filter if relay.command.input is not None else firmware.handling
        slow = {"operate": Kind.SLOW_OPERATE, "release": Kind.SLOW_RELEASE}
        operate, release = (self._time(name, key, limits, slow[key], before) for key in ("operate", "release"))
        resistance = nominal / (relay.coil_current or 17e-3) * self.chance.between(f"{name} coil", 0.97, 1.03)
        if self.has(Kind.COIL_TURNS, name):
            resistance *= self.degree(Kind.COIL_TURNS, name, (0.4, 0.7))
            operate, release = operate * SLUGGED, release * (SLUGGED + 0.35)
        coil = fitted(operate=operate, release=release, resistance=resistance, volts=nominal, clamp=DIODE)
        return RelayBuild(
            name=name,
            coil=hot(coil, self.chance.between(f"{name} coil temperature", *WARMTH)),
            transfer=min(self.chance.between(f"{name} transfer", 1.5e-3, 2.5e-3), operate / 2, release / 2),
            make=None if relay.contact.make is None else self._contact(name, "make", limits),
            break_=None if relay.contact.break_ is None else self._contact(name, "break", limits),
            coil_open=self.has(Kind.COIL_OPEN, name) or name in self.missing,
            driver_open=self.has(Kind.DRIVER_OPEN, name),
            driver_shorted=self.has(Kind.DRIVER_SHORTED, name),
            suppressor=self._suppressor(name),
        )

    def _suppressor(self, name: str) -> Suppressor:
        if self.has(Kind.SUPPRESSOR_OPEN, name):
            return "open"
        return "shorted" if self.has(Kind.SUPPRESSOR_SHORTED, name) else "diode"

    def _time(self, name: str, key: str, limits: RelayLimits, slow: Kind, before: float) -> float:
        allowed = getattr(limits, key)
        drawn = self.chance.middle(f"{name} {key}", allowed, default=6e-3 + before)
        if self.has(slow, name):
            drawn = allowed.high * self.degree(slow, name, TOO_LONG)
        return max(drawn - before, 1e-3)

    def _contact(self, name: str, side: str, limits: RelayLimits) -> ContactBuild:
        bounce = self.chance.middle(f"{name} {side} bounce", limits.bounce, default=1.5e-3)
        ohms = self.chance.middle(f"{name} {side} ohms", limits.resistance, default=50e-3, share=CLEAN)
        if self.has(Kind.LONG_BOUNCE, name) and limits.bounce is not None:
            bounce = limits.bounce.high * self.degree(Kind.LONG_BOUNCE, name, TOO_LONG)
        if self.has(Kind.RESISTANCE_HIGH, name) and limits.resistance is not None:
            ohms = limits.resistance.high * self.degree(Kind.RESISTANCE_HIGH, name, (1.4, 8.0))
        never = self.has(Kind.NEVER_CLOSES, name) or name in self.missing
        test = self.contact_test
        film = self._film(name, limits)
        # a change-over armature held by a weld on its make side cannot reach its break side
        welded = self.has(Kind.WELDED, name)
        form_c = self.profile.relays[name].contact.form == "C"
        stuck_open = never or (welded and form_c and side == "break")
        return ContactBuild(
            closed_volts=test.voltage * ohms / (test.series + ohms),
            open_volts=test.voltage * self._leakage(name),
            film=test.voltage * film / (test.series + ohms + film),
            bounce=bounce,
            stuck="open" if stuck_open else "closed" if welded else None,
            sticks=round(self.degree(Kind.WELD_BREAKS, name, (1, 3))) if self.has(Kind.WELD_BREAKS, name) else 0,
            misses=self.degree(Kind.MISSES, name, OFTEN) if self.has(Kind.MISSES, name) else 0.0,
            chatters=round(self.degree(Kind.CHATTERS, name, (4, 9))) if self.has(Kind.CHATTERS, name) else 0,
        )

    def _film(self, name: str, limits: RelayLimits) -> float:
        """Return the ohms of what has grown on a contact; on a good one too little to matter."""
        most = limits.resistance.high if limits.resistance is not None else 0.1
        film = self.degree(Kind.FILMED, name, (1.4, 8.0)) if self.has(Kind.FILMED, name) else FRESH
        return most * film

    def _leakage(self, name: str) -> float:
        return self.degree(Kind.LEAKS, name, (0.4, 0.85)) if self.has(Kind.LEAKS, name) else LEAKAGE

    def lamp(self, name: str) -> LampBuild:
        """Draw a lamp and the light that its sensor sees of its surroundings."""
        dim = self.degree(Kind.LAMP_DIM, name, (0.1, 0.35)) if self.has(Kind.LAMP_DIM, name) else 1.0
        return LampBuild(
            name=name,
            ambient=self.chance.between(f"{name} ambient", 0.02, 0.04),
            bright=self.chance.between(f"{name} bright", 0.75, 0.9) * dim,
            dark=self.has(Kind.LAMP_DARK, name) or name in self.missing,
            always=self.has(Kind.LAMP_LIT, name),
            gaps=self._gaps(name) if self.has(Kind.LAMP_FLICKERS, name) else (),
        )

    def _gaps(self, name: str) -> tuple[bool, ...]:
        often = self.degree(Kind.LAMP_FLICKERS, name, OFTEN)
        return tuple((self.chance.stream(f"{name} joint").random(GAPS) < often).tolist())

    def firmware(self) -> FirmwareBuild:
        """Draw the program's times; an input filter takes at most a third of the tightest limit it counts towards."""
        between = self.chance.between
        swapped = self.pairs(Kind.INPUTS_SWAPPED) | self.pairs(Kind.PROBES_SWAPPED)
        slow, offset = self.having(Kind.INPUT_SLOW), self.having(Kind.PROBE_OFFSET)
        boot = between("boot", 0.27, 0.33)
        if self.has(Kind.STARTS_LATE, "processor"):
            boot = self.degree(Kind.STARTS_LATE, "processor", (2.5, 6.0))
        unnoticed = self.has(Kind.LOSS_UNNOTICED, "link")
        tightest = min((limit for limit in self._reactions() if math.isfinite(limit)), default=60e-3)
        link = self.profile.link
        return FirmwareBuild(
            boot=boot,
            input_filter=min(between("input filter", 8e-3, 15e-3), tightest / 3),
            handling=min(between("handling", 1.5e-3, 3e-3), tightest / 10),
            cycle=min(between("cycle", 2.5e-3, 4.5e-3), tightest / 10),
            reporting=between("reporting", 1e-3, 2e-3),
            lost_after=math.inf
            if unnoticed
            else self.chance.middle("lost after", link.lost_after if link else None, default=1.0),
            pace=between("pace", 0.988, 1.012),
            ignored=self.having(Kind.INTERLOCK_IGNORED),
            always=self.having(Kind.INTERLOCK_ALWAYS),
            stuck=self.having(Kind.INPUT_STUCK) | self.having(Kind.PROBE_OPEN) | self.missing,
            active=self.having(Kind.INPUT_ALWAYS) | self.having(Kind.PROBE_SHORTED) | self._jumpered(),
            unplugged=self._unplugged(),
            slow={name: self.degree(Kind.INPUT_SLOW, name, (6.0, 15.0)) for name in slow},
            misses=self._often(Kind.INPUT_MISSES),
            swapped=swapped,
            reads={name: self.degree(Kind.PROBE_OFFSET, name, (2.3, 4.0)) for name in offset},
            dead=self.has(Kind.NOT_RUNNING, "processor"),
            recovers=not self.has(Kind.NO_RECOVERY, "link"),
        )

    def _unplugged(self) -> frozenset[str]:
        """Return the inputs on connectors that have another's plug."""
        exchanged = self.having(Kind.PLUGS_EXCHANGED)
        return frozenset(
            name for name, port in self.profile.inputs.items() if port.terminals.high.connector in exchanged
        )

    def _jumpered(self) -> frozenset[str]:
        """Return the probes on connectors that have a jumper plug instead of their own."""
        connectors = self.profile.connectors
        jumpered = {
            one
            for one, other in self.pairs(Kind.PLUGS_EXCHANGED).items()
            if connectors[other].bridged and not connectors[one].bridged
        }
        probes = ((name, port) for name, port in self.profile.inputs.items() if port.kind == "probe")
        return frozenset(name for name, port in probes if port.terminals.high.connector in jumpered)

    def _reactions(self) -> list[float]:
        limits = [relay.limits.over(self.profile.relay_limits) for relay in self.profile.relays.values()]
        some = [each.response or each.operate for each in limits]
        return [each.high for each in some if each is not None] + [
            lock.reaction.high for lock in self.profile.interlocks.values()
        ]

    def heartbeat(self) -> float:
        """Draw the interval of the board's heartbeat in seconds; the profile has a link."""
        link = self.profile.link
        assert link is not None
        if self.has(Kind.HEARTBEAT_LATE, "link"):
            return link.board.every.high * self.degree(Kind.HEARTBEAT_LATE, "link", (1.15, 2.5))
        return self.chance.middle("heartbeat", link.board.every, default=0.25)

    def jitter(self) -> float:
        """Return by how much of itself the board's heartbeat comes early or late."""
        jitters = self.has(Kind.HEARTBEAT_JITTERS, "link")
        return self.degree(Kind.HEARTBEAT_JITTERS, "link", (0.3, 0.7)) if jitters else 0.0

    def drops(self) -> float:
        """Return the probability that a message of the board does not get out."""
        return self._often(Kind.LINK_DROPS).get("link", 0.0)

    def scale(self) -> float:
        """Return the factor by which the board is off when it reports a voltage."""
        wrong = self.has(Kind.SCALING_WRONG, "link")
        return self.degree(Kind.SCALING_WRONG, "link", (1.15, 1.6)) if wrong else 1.0

    def bridge(self, connector: str) -> float:
        """Draw the resistance of one bridge of a jumper plug; infinite when the plug is missing."""
        if self.has(Kind.PLUG_MISSING, connector) or self.has(Kind.PLUGS_EXCHANGED, connector):
            return math.inf
        limits = self.profile.connectors[connector].bridge
        if self.has(Kind.PLUG_RESISTIVE, connector):
            return limits.high * self.degree(Kind.PLUG_RESISTIVE, connector, (1.3, 8.0))
        return self.chance.middle(f"{connector} bridge", limits, default=0.1, share=CLEAN)

    def rail(self, name: str) -> float:
        """Draw the voltage of a rail."""
        limits = self.profile.rails[name].limits
        if self.has(Kind.RAIL_LOW, name):
            return limits.low * self.degree(Kind.RAIL_LOW, name, (0.7, 0.97))
        if self.has(Kind.RAIL_HIGH, name):
            return limits.high * self.degree(Kind.RAIL_HIGH, name, (1.03, 1.3))
        return self.chance.middle(f"{name} volts", limits, default=5.0)

    def ripple(self, name: str) -> float:
        """Return the amplitude of a rail's ripple as share of its voltage."""
        ripples = self.has(Kind.RAIL_RIPPLE, name)
        return self.degree(Kind.RAIL_RIPPLE, name, (0.03, 0.12)) if ripples else 0.0

    def pass_through(self, name: str) -> float:
        """Return the ohms from a supply's input to its output; infinite when the way is open."""
        supply = self.profile.supplies[name]
        if self.has(Kind.PASS_OPEN, name):
            return math.inf
        if not self.has(Kind.PASS_RESISTIVE, name) or supply.passed_on is None:
            return PASS_THROUGH
        idle = self.supply(name, supply).conductance * supply.nominal
        return supply.passed_on.drop.high / idle * self.degree(Kind.PASS_RESISTIVE, name, (1.3, 6.0))
