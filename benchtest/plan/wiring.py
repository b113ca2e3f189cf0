"""Which adapter channel is behind each terminal, and what the judge must know of it.

Everything that is asked for and not there is collected, so that a fixture's author hears of all gaps at once.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from benchtest.fixture.document import Accuracy, Fixture, Harness
from benchtest.fixture.wiring import RECORDS, adapter_of, roles_of
from benchtest.instruments import Role
from benchtest.procedure import Channel
from benchtest.profile.board import Level, Relay
from benchtest.profile.document import Profile
from benchtest.terminals import Pair, Terminal

CLOSED_SHARE = 0.1  # of the test voltage: below, a contact is made (MIL-R-5757J 3.22 takes 5 %, we leave room for film)
OPEN_SHARE = 0.9  # of the test voltage: above, a contact is broken (MIL-R-5757J 4.6.8.5.1)
LOW_SHARE = 0.2  # of the d.c. supply: below, a sensed voltage is low (5 V of 24 V, IEC 61131-2 type 1)
HIGH_SHARE = 0.625  # of the d.c. supply: above, a sensed voltage is high (15 V of 24 V, IEC 61131-2 type 1)
BIT = (0.25, 0.75)  # a channel of two values reads 0 or 1, and nothing between


@dataclass(frozen=True, slots=True)
class Wiring:
    """One harness on one fixture, asked by role and terminals."""

    harness: Harness
    fixture: Fixture
    gaps: list[str] = field(default_factory=list)
    """What was asked for and is not wired, in words."""

    def channel(self, role: Role, terminals: Pair | str, why: str) -> int:
        """Return the channel number, or 0 after noting the gap."""
        table: Mapping[Pair | str, int] = getattr(self.harness, role.value)
        number = table.get(terminals)
        if number is None:
            where = f"lamp {terminals}" if role is Role.LIGHT else str(terminals)
            gap = f"{where} is not wired as '{role.value}' in the harness for {self.harness.part}, needed for {why}"
            if gap not in self.gaps:
                self.gaps.append(gap)
            return 0
        able = roles_of(number, self.fixture, self.harness)
        if role not in able:
            adapter = adapter_of(number, self.fixture, self.harness)
            what = f"which can only be {_listed(able)}" if able else f"which does not have channel {number}"
            gap = f"{terminals} is '{role.value}' on adapter {adapter}, {what}, needed for {why}"
            if gap not in self.gaps:
                self.gaps.append(gap)
            return 0
        return number

    def wired(self, role: Role, terminals: Pair) -> bool:
        """Return whether the cable set has a wire for this, whatever the adapter behind it can do."""
        return terminals in getattr(self.harness, role.value)

    def has(self, role: Role, terminals: Pair | str | None) -> bool:
        """Return whether something that can be this is wired there."""
        number = getattr(self.harness, role.value).get(terminals) if terminals is not None else None
        return number is not None and role in roles_of(number, self.fixture, self.harness)

    def facts(self, profile: Profile) -> dict[int, Channel]:
        """Return what the judge must know of every channel of the harness."""
        nominal = profile.supplies[profile.feeding].nominal
        test, light = self.fixture.contact_test, self.fixture.light
        levels = {
            Role.CONTACT: (CLOSED_SHARE * test.voltage, OPEN_SHARE * test.voltage),
            Role.LIGHT: (light.dark, light.lit),
            Role.SENSE: (LOW_SHARE * nominal, HIGH_SHARE * nominal),
        }
        called = called_by_the_board(profile)
        return {
            number: replace(
                self.fact(number, role, terminals, levels.get(role, (0.0, 0.0))),
                name=called.get((role, terminals), ""),
                level=_level(profile, role, terminals),
                alternating=_alternates(profile, role, terminals),
            )
            for role in Role
            for terminals, number in getattr(self.harness, role.value).items()
        }

    def late(self, channel: int) -> float:
        """Return by how much, in seconds, the host may be late with a channel; 0 where the hardware times it."""
        adapter = self.fixture.adapters[adapter_of(channel, self.fixture, self.harness)]
        return 0.0 if adapter.driver in RECORDS else adapter.stamp

    def fact(self, number: int, role: Role, terminals: Pair | str, levels: tuple[float, float]) -> Channel:
        """Return what the judge must know of a channel in a role; `levels` tell its states apart."""
        how: Accuracy | None = getattr(self.fixture.accuracy, role.value, None)
        adapter = self.fixture.adapters[adapter_of(number, self.fixture, self.harness)]
        levels = BIT if adapter.two_valued(number) else levels
        return Channel(
            role=role,
            terminals=f"lamp {terminals}" if role is Role.LIGHT else str(terminals),
            of_reading=how.of_reading if how else 0.0,
            plus=how.plus if how else 0.0,
            resolution=max(how.resolution, adapter.count(number))
            if how
            else 0.0,  # no reading is finer than its counts
            low=levels[0],
            high=levels[1],
            instrument=how.instrument if how else "",
            late=self.late(number),
            two_valued=adapter.two_valued(number),
            shared=how.shared if how else 0.0,
            drift=self._drift(how) if how else 0.0,
            emf=getattr(how, "thermal_emf", 0.0),
            leads=getattr(how, "leads", 0.0),
        )

    def _drift(self, how: Accuracy) -> float:
        """Return the relative half-width that the distance from the calibration's temperature may add."""
        instrument, bench = self.fixture.instruments[how.instrument], self.fixture.bench
        if instrument.calibrated_at is None:
            return 0.0
        return how.per_kelvin * (abs(bench.ambient - instrument.calibrated_at) + bench.ambient_within)


def called_by_the_board(profile: Profile) -> dict[tuple[Role, Pair | str], str]:
    """Return what the board calls the things behind its terminals, for people."""
    names: dict[tuple[Role, Pair | str], str] = {}
    for name, supply in profile.supplies.items():
        names |= {(role, supply.terminals): name for role in (Role.SUPPLY, Role.SENSE, Role.CURRENT, Role.OHMS)}
        if supply.passed_on is not None:
            names[Role.SENSE, supply.passed_on.terminals] = f"{name} passed on"
    names |= {(Role.SENSE, rail.terminals): name for name, rail in profile.rails.items()}
    for name, connector in profile.connectors.items():
        bridges = (Pair(Terminal(name, one), Terminal(name, other)) for one, other in connector.bridged)
        names |= {(Role.OHMS, pair): f"jumper plug {name}" for pair in bridges}
    for name, thing in profile.inputs.items():
        names |= {(role, thing.terminals): name for role in (Role.DRIVE, Role.RESISTANCE)}
    for name, relay in profile.relays.items():
        names |= {(Role.CONTACT, relay.contact.make): f"make contact of {name}"} if relay.contact.make else {}
        names |= {(Role.CONTACT, relay.contact.break_): f"break contact of {name}"} if relay.contact.break_ else {}
        names |= {(Role.SENSE, relay.coil): f"coil of {name}"} if relay.coil else {}
    names |= {(Role.LIGHT, name): f"{lamp.colour}, {lamp.use}" for name, lamp in profile.lamps.items()}
    return names


def _level(profile: Profile, role: Role, terminals: Pair | str) -> float:
    inputs = (thing for thing in profile.inputs.values() if thing.terminals == terminals)
    return next((thing.high for thing in inputs if isinstance(thing, Level)), 0.0) if role is Role.DRIVE else 0.0


def _alternates(profile: Profile, role: Role, terminals: Pair | str) -> bool:
    supplies = (supply for supply in profile.supplies.values() if supply.terminals == terminals)
    return role in {Role.SUPPLY, Role.SENSE, Role.CURRENT} and any(supply.kind == "ac" for supply in supplies)


def _listed(roles: Iterable[Role]) -> str:
    return ", ".join(sorted(role.value for role in roles))


@dataclass(frozen=True, kw_only=True, slots=True)
class RelayChannels:
    """The channels of one relay; 0 where the board or the bench has none."""

    make: int
    break_: int
    coil: int
    lamp: int

    def all(self) -> frozenset[int]:
        """Return those that are there."""
        return frozenset({self.make, self.break_, self.coil, self.lamp} - {0})


def relay_channels(wiring: Wiring, name: str, relay: Relay) -> RelayChannels:
    """Return where one relay can be watched; contacts, coil pads and lamp are all required when the board has them."""
    make, break_ = relay.contact.make, relay.contact.break_
    return RelayChannels(
        make=wiring.channel(Role.CONTACT, make, f"make contact of {name}") if make else 0,
        break_=wiring.channel(Role.CONTACT, break_, f"break contact of {name}") if break_ else 0,
        coil=wiring.channel(Role.SENSE, relay.coil, f"coil of {name}") if relay.coil else 0,
        lamp=wiring.channel(Role.LIGHT, relay.lamp, f"lamp of {name}") if relay.lamp else 0,
    )


def kept_empty(profile: Profile, harness: Harness) -> list[str]:
    """Return a sentence for every wire that goes to a connector that must stay empty."""
    empty = {name for name, connector in profile.connectors.items() if connector.keep_empty}
    return [
        f"{pair} is wired as '{role.value}', but connector {connector} must stay empty"
        for role, pair in _wired(harness)
        for connector in dict.fromkeys((pair.high.connector, pair.low.connector))
        if connector in empty
    ]


def wrong_way_round(profile: Profile, harness: Harness) -> list[str]:
    """Return a sentence for every wire whose two terminals the board has the other way round."""
    called = called_by_the_board(profile)
    turned = ((role, pair, Pair(pair.low, pair.high)) for role, pair in _wired(harness) if (role, pair) not in called)
    return [
        f"{pair} is wired as '{role.value}', but on this board {called[role, other]} is {other}: turn it round"
        for role, pair, other in turned
        if (role, other) in called
    ]


def _wired(harness: Harness) -> Iterable[tuple[Role, Pair]]:
    return ((role, pair) for role in Role if role is not Role.LIGHT for pair in getattr(harness, role.value))
