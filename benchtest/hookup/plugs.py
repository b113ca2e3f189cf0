"""Which plugs can be mixed up, and what in the procedure tells it, and when.

A check tells that a plug is missing when nothing between its pins cannot be permitted; it tells a swap when what its
wires then meet, at the pins of the other connector, cannot be permitted. Only checks before the first power count
as told before power. The first later step that is probed at a connector, or acts through it, is named otherwise.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from benchtest.fixture.document import ContactTest, Harness
from benchtest.instruments import Role
from benchtest.plan.plugs import NOTHING, Ohms, behind, moved, twins, without_power
from benchtest.procedure import Absent, Check, Interval, Measure, Procedure, Record, Scalar, Source, Step
from benchtest.profile.document import Profile
from benchtest.terminals import Pair

_CONNECTOR = re.compile(r"\b([A-Z][A-Z0-9]*)\.[1-9]")


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """How the run notices that one plug is missing, or that two are swapped."""

    plugs: tuple[str, ...]
    before_power: tuple[Check, ...]
    """Checks that tell it before anything is energised."""
    later: str
    """The first step with power that looks at these connectors; empty when none does."""

    @property
    def sentence(self) -> str:
        """What is told, and when."""
        if self.before_power:
            names = [check.title for check in self.before_power[:3]]
            more = f" and {len(self.before_power) - 3} more" if len(self.before_power) > 3 else ""
            return f"before power, by {', '.join(names)}{more}"
        if self.later:
            return f"CANNOT BE TOLD BEFORE POWER; first looked at in “{self.later}”"
        return "CANNOT BE TOLD: no check looks at it"


@dataclass(frozen=True, kw_only=True, slots=True)
class _Look:
    """One reading without power: between which pins, and what is permitted there."""

    pair: Pair
    permitted: Ohms
    check: Check


def missing(profile: Profile, harness: Harness, procedure: Procedure, test: ContactTest) -> tuple[Told, ...]:
    """Return for every plug how the run notices that it is not in its place."""
    looks = tuple(_looks(procedure, harness, test))
    return tuple(
        Told(
            plugs=(name,),
            before_power=tuple(
                one.check
                for one in looks
                if moved(one.pair, name, name) is not None and one.permitted.apart_from(NOTHING)
            ),
            later=_later(procedure, {name}),
        )
        for name, connector in profile.connectors.items()
        if not connector.keep_empty
    )


def swapped(profile: Profile, harness: Harness, procedure: Procedure, test: ContactTest) -> tuple[Told, ...]:
    """Return for every two connectors of one size how the run notices that their plugs are swapped."""
    looks, known = tuple(_looks(procedure, harness, test)), without_power(profile, test)
    empty = {name for name, connector in profile.connectors.items() if connector.keep_empty}
    return tuple(
        Told(
            plugs=(one, other),
            before_power=tuple(
                look.check
                for look in looks
                if _shows(look, one, other, profile, known) or _shows(look, other, one, profile, known)
            ),
            later=_later(procedure, {one, other}),
        )
        for one, other in twins(profile)
        if not empty.issuperset({one, other})
    )


def _shows(look: _Look, plug: str, place: str, profile: Profile, known: Mapping[Pair, Ohms]) -> bool:
    """Return whether a reading at `plug` shows that its plug sits in `place`, and that of `place` here."""
    there = moved(look.pair, plug, place)
    if there is None:
        return False
    if profile.connectors[plug].bridged:  # the other plug brings its own bridges, or none
        brought = {frozenset(pins) for pins in profile.connectors[place].bridged}
        return frozenset({there.high.pin, there.low.pin}) not in brought and look.permitted.apart_from(NOTHING)
    return there in known and look.permitted.apart_from(known[there])


def _looks(procedure: Procedure, harness: Harness, test: ContactTest) -> Iterator[_Look]:
    """Yield every reading of ohms or of a contact that is taken before the first supply is switched on."""
    pairs = {number: pair for role in (Role.OHMS, Role.CONTACT) for pair, number in getattr(harness, role).items()}
    for step in _before_power(procedure):
        measured = {move.name: move.channel for move in step.moves if isinstance(move, Measure)}
        for check in step.checks:
            channel = measured.get(check.measurand.evidence, 0) if isinstance(check.measurand, Scalar) else 0
            if channel in pairs and isinstance(check.permitted, Interval):
                yield _Look(pair=pairs[channel], permitted=_ohms(check, test), check=check)


def _ohms(check: Check, test: ContactTest) -> Ohms:
    """Return the resistances that a check permits; a voltage is that across a contact."""
    assert isinstance(check.permitted, Interval)
    low, high = check.permitted.low, check.permitted.high
    if check.unit == "V":
        low, high = (None if volts is None else behind(test, volts) for volts in (low, high))
    return Ohms(low=0.0 if low is None else low, high=NOTHING.high if high is None else high)


def _before_power(procedure: Procedure) -> Iterator[Step]:
    for step in procedure.steps:
        if any(isinstance(move, Source) for move in step.moves):
            return
        yield step


def _later(procedure: Procedure, connectors: set[str]) -> str:
    """Return the title of the first step with power that looks at one of these connectors, or acts through it."""
    early = {step.id for step in _before_power(procedure)}
    later = (step for step in procedure.steps if step.id not in early and connectors & _used(step, procedure))
    return next((step.title for step in later), "")


def _used(step: Step, procedure: Procedure) -> set[str]:
    """Return the connectors at which a step's checks are probed, or through which its recordings' orders go."""
    orders = [order for move in step.moves if isinstance(move, Record) for order in move.orders]
    terminals = [procedure.channels[order.channel].terminals for order in orders if order.channel in procedure.channels]
    probes = (check.probe for check in step.checks if not isinstance(check.measurand, Absent))
    return {name for text in (*terminals, *probes) for name in _CONNECTOR.findall(text)}
