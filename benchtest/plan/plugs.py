"""Are all plugs where they belong? Told without power, from what the profile says must be there without power.

A contact that is closed at rest carries the test current only through its plug; one that is open shows a plug that took
the place of one with something closed at the same pins. Bridges and supplies are looked at by the step `unpowered`. Two
plugs of the same size are told apart where the bench looks at a pair of pins on which the profile says different things
for the two of them; where it says nothing, nothing can be told. The wires of a connector are in its plug; those of a
jumper plug's connector are on the board, and the bridge goes where its plug goes.

The voltage across a contact and the resistance behind it: U = U0·R / (R + Rs), the test voltage behind its resistor.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from benchtest.fixture.document import ContactTest
from benchtest.instruments import Role
from benchtest.plan.checks import Maker
from benchtest.plan.timeline import Draft
from benchtest.plan.wiring import CLOSED_SHARE, OPEN_SHARE
from benchtest.procedure import Check, Interval, Measure, Scalar, Step
from benchtest.profile.document import Profile
from benchtest.terminals import Pair, Terminal


@dataclass(frozen=True, kw_only=True, slots=True)
class Ohms:
    """What is between two pins of a good board without power."""

    low: float
    """Ohms."""
    high: float

    def apart_from(self, other: "Ohms") -> bool:
        """Return whether no resistance is in both."""
        return self.high < other.low or other.high < self.low


NOTHING = Ohms(low=math.inf, high=math.inf)
"""Between the pins of a plug that is not in its place."""


def without_power(profile: Profile, test: ContactTest) -> dict[Pair, Ohms]:
    """Return what the profile says the board has between two pins without power; bridges belong to their plugs."""
    closed, opened = behind(test, CLOSED_SHARE * test.voltage), behind(test, OPEN_SHARE * test.voltage)
    found: dict[Pair, Ohms] = {}
    for supply in profile.supplies.values():
        if supply.unpowered is not None:
            found[supply.terminals] = Ohms(low=max(0.0, supply.unpowered.low), high=supply.unpowered.high)
    for relay in profile.relays.values():
        if relay.contact.break_ is not None:
            found[relay.contact.break_] = Ohms(low=0.0, high=closed)
        if relay.contact.make is not None:
            found[relay.contact.make] = Ohms(low=opened, high=math.inf)
    return found


def behind(test: ContactTest, volts: float) -> float:
    """Return the resistance, in ohms, across which the contact test circuit leaves `volts`."""
    return test.series * volts / (test.voltage - volts) if volts < test.voltage else math.inf


def moved(pair: Pair, plug: str, place: str) -> Pair | None:
    """Return the pins on which a wire pair ends when `plug` sits in `place`; None when it is not all in that plug."""
    if {pair.high.connector, pair.low.connector} != {plug}:
        return None
    return Pair(Terminal(place, pair.high.pin), Terminal(place, pair.low.pin))


def twins(profile: Profile) -> tuple[tuple[str, str], ...]:
    """Return the pairs of connectors with as many pins: their plugs may fit one another."""
    connectors = list(profile.connectors.items())
    return tuple(
        (name, other)
        for place, (name, connector) in enumerate(connectors)
        for other, second in connectors[place + 1 :]
        if connector.pins == second.pins
    )


def plugs(draft: Draft) -> list[Step]:
    """Return the steps that look at contacts without power: closed ones through their plugs, open ones beside twins.

    A plug in the place of another ends the run, since power would go where it does not belong. One that is missing does
    not: nothing is at stake, and it may as well be a bad contact, about which the rest of the run tells more.
    """
    closed = _step(draft, "plugs", "Plugs in their places", "closed")
    beside = _step(draft, "plugs-swapped", "Plugs not swapped", "open")
    return [step for step in (closed, replace(beside, gate=True)) if step.checks]


def _step(draft: Draft, name: str, title: str, state: str) -> Step:
    test, harness = draft.wiring.fixture.contact_test, draft.wiring.harness
    looked: list[tuple[Measure, Check]] = []
    for pair, expected, subject, word in _contacts(draft.profile, without_power(draft.profile, test)):
        if word == state and draft.wiring.has(Role.CONTACT, pair):
            maker = Maker(draft=draft, step=name, subject=subject, key=("relays", subject))
            measure = Measure(name=f"volts {pair} without power", channel=harness.contact[pair])
            what, permitted = Scalar(evidence=measure.name), _volts(expected, test)
            told = f"{word} through plug {pair.high.connector}"
            looked.append((measure, maker.number(told, what, "V", permitted, pair, "contact")))
    moves, checks = tuple(move for move, _ in looked), tuple(check for _, check in looked)
    return Step(id=name, title=title, moves=moves, checks=checks, duration=0.0)


def _contacts(profile: Profile, known: Mapping[Pair, Ohms]) -> Iterator[tuple[Pair, Ohms, str, str]]:
    """Yield the contacts that tell something, with what is there, whose they are, and the state at rest."""
    mates = [(one, other) for pair in twins(profile) for one, other in (pair, pair[::-1])]
    for name, relay in profile.relays.items():
        if relay.contact.break_ is not None:
            yield relay.contact.break_, known[relay.contact.break_], name, "closed"
        make = relay.contact.make
        if make is not None and any(_differs(make, plug, place, known) for plug, place in mates):
            yield make, known[make], name, "open"


def _differs(pair: Pair, plug: str, place: str, known: Mapping[Pair, Ohms]) -> bool:
    there = moved(pair, plug, place)
    return there is not None and there in known and known[pair].apart_from(known[there])


def _volts(expected: Ohms, test: ContactTest) -> Interval:
    """Return what the contact channel reads while such a resistance is across it."""
    if math.isinf(expected.high):
        return Interval(low=test.voltage * expected.low / (expected.low + test.series), high=None)
    return Interval(low=None, high=test.voltage * expected.high / (expected.high + test.series))
