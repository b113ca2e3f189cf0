"""One specimen of a board: every quantity drawn from the seed around the middle of its limits, then the faults put in.

A good specimen passes with margin: about the middle of two limits, 55 % of a lone maximum, a third of it for contact
and bridge resistances (a clean 5 A contact has some tens of milliohms; common practice, no source).
"""

import math
from dataclasses import dataclass
from typing import Final

from benchtest.faults import Fault, Kind
from benchtest.fixture.document import ContactTest
from benchtest.profile.board import Relay, RelayLimits, Supply
from benchtest.profile.document import Profile
from benchtest.simulator.firmware import FirmwareBuild
from benchtest.simulator.lamp import LampBuild
from benchtest.simulator.noise import Chance
from benchtest.simulator.relay import ContactBuild, RelayBuild
from benchtest.simulator.supply import SupplyBuild

SHORT: Final = 0.3
"""Ohms of a short on the board."""
LEAKAGE: Final = 0.9995
"""Open contact: share of the test voltage that is left across it."""
CLEAN: Final = 0.33
"""Resistance of a good contact or bridge as share of its maximum."""
TOO_LONG: Final = 1.6
"""What a slow or bouncing relay takes, as multiple of its maximum."""


@dataclass(frozen=True, slots=True)
class Specimen:
    """Draws the parts of one specimen."""

    profile: Profile
    chance: Chance
    contact_test: ContactTest
    faults: tuple[Fault, ...]

    def has(self, kind: Kind, subject: str) -> bool:
        """Return whether this part has this fault."""
        return any(fault.kind is kind and fault.subject == subject for fault in self.faults)

    def having(self, kind: Kind) -> frozenset[str]:
        """Return the parts that have this fault."""
        return frozenset(fault.subject for fault in self.faults if fault.kind is kind)

    def supply(self, name: str, supply: Supply) -> SupplyBuild:
        """Draw a supply input."""
        idle = self.chance.middle(f"{name} idle current", supply.idle_current, default=30e-3)
        unpowered = self.chance.middle(f"{name} unpowered", supply.unpowered, default=2e3)
        return SupplyBuild(
            name=name,
            nominal=supply.nominal,
            alternating=supply.kind == "ac",
            conductance=idle / supply.nominal,
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
        return RelayBuild(
            name=name,
            operate=operate,
            release=release,
            transfer=min(self.chance.between(f"{name} transfer", 1.5e-3, 2.5e-3), operate / 2, release / 2),
            resistance=nominal / (relay.coil_current or 17e-3) * self.chance.between(f"{name} coil", 0.97, 1.03),
            tau=min(self.chance.between(f"{name} L/R", 1.8e-3, 2.6e-3), operate / 2),
            make=None if relay.contact.make is None else self._contact(name, "make", limits),
            break_=None if relay.contact.break_ is None else self._contact(name, "break", limits),
            coil_open=self.has(Kind.COIL_OPEN, name),
            driver_shorted=self.has(Kind.DRIVER_SHORTED, name),
        )

    def _time(self, name: str, key: str, limits: RelayLimits, slow: Kind, before: float) -> float:
        allowed = getattr(limits, key)
        drawn = self.chance.middle(f"{name} {key}", allowed, default=6e-3 + before)
        if self.has(slow, name):
            drawn = allowed.high * TOO_LONG
        return max(drawn - before, 1e-3)

    def _contact(self, name: str, side: str, limits: RelayLimits) -> ContactBuild:
        bounce = self.chance.middle(f"{name} {side} bounce", limits.bounce, default=1.5e-3)
        ohms = self.chance.middle(f"{name} {side} ohms", limits.resistance, default=50e-3, share=CLEAN)
        if self.has(Kind.LONG_BOUNCE, name) and limits.bounce is not None:
            bounce = limits.bounce.high * TOO_LONG
        if self.has(Kind.RESISTANCE_HIGH, name) and limits.resistance is not None:
            ohms = limits.resistance.high * 2.5
        never = self.has(Kind.NEVER_CLOSES, name)
        test = self.contact_test
        # a change-over armature held by a weld on its make side cannot reach its break side
        welded = self.has(Kind.WELDED, name)
        form_c = self.profile.relays[name].contact.form == "C"
        stuck_open = never or (welded and form_c and side == "break")
        return ContactBuild(
            closed_volts=test.voltage * ohms / (test.series + ohms),
            open_volts=test.voltage * LEAKAGE,
            bounce=bounce,
            stuck="open" if stuck_open else "closed" if welded else None,
        )

    def lamp(self, name: str) -> LampBuild:
        """Draw a lamp and the light that its sensor sees of its surroundings."""
        return LampBuild(
            name=name,
            ambient=self.chance.between(f"{name} ambient", 0.02, 0.04),
            bright=self.chance.between(f"{name} bright", 0.75, 0.9),
            dark=self.has(Kind.LAMP_DARK, name),
            always=self.has(Kind.LAMP_LIT, name),
        )

    def firmware(self) -> FirmwareBuild:
        """Draw the program's times; an input filter takes at most a third of the tightest limit it counts towards."""
        between = self.chance.between
        tightest = min((limit for limit in self._reactions() if math.isfinite(limit)), default=60e-3)
        link = self.profile.link
        return FirmwareBuild(
            boot=between("boot", 0.27, 0.33),
            input_filter=min(between("input filter", 8e-3, 15e-3), tightest / 3),
            handling=min(between("handling", 1.5e-3, 3e-3), tightest / 10),
            cycle=min(between("cycle", 2.5e-3, 4.5e-3), tightest / 10),
            reporting=between("reporting", 1e-3, 2e-3),
            lost_after=self.chance.middle("lost after", link.lost_after if link else None, default=1.0),
            pace=between("pace", 0.988, 1.012),
            ignored=self.having(Kind.INTERLOCK_IGNORED),
            stuck=self.having(Kind.INPUT_STUCK) | self.having(Kind.PROBE_OPEN),
        )

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
        late = self.has(Kind.HEARTBEAT_LATE, "link")
        every = self.chance.middle("heartbeat", link.board.every, default=0.25)
        return link.board.every.high * 1.3 if late else every

    def bridge(self, connector: str) -> float:
        """Draw the resistance of one bridge of a jumper plug; infinite when the plug is missing."""
        if self.has(Kind.PLUG_MISSING, connector):
            return math.inf
        limits = self.profile.connectors[connector].bridge
        return self.chance.middle(f"{connector} bridge", limits, default=0.1, share=CLEAN)

    def rail(self, name: str) -> float:
        """Draw the voltage of a rail."""
        limits = self.profile.rails[name].limits
        if self.has(Kind.RAIL_LOW, name):
            return limits.low * 0.85
        return self.chance.middle(f"{name} volts", limits, default=5.0)
