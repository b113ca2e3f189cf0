"""A bench that exists on paper only: everything wired and known exactly, so that a profile can be planned without one.

What a profile asks of a board shows in the readings that it becomes, not in its text. To compare two profiles each is
planned on a bench that has all of its terminals (`wired_for`); to hold an old run against a new profile that is planned
on the terminals that the run had (`wired_as`), with the same channel numbers.
"""

from collections.abc import Mapping
from itertools import count
from typing import Any, Final

from benchtest.fixture.document import Fixture, Harness
from benchtest.instruments import Role
from benchtest.procedure import Look, Procedure, Record
from benchtest.profile.board import DryContact, Level
from benchtest.profile.document import Profile
from benchtest.terminals import Pair, Terminal

ADAPTER: Final = "io"
LINK: Final = "link"
_EXACT: Final = {"instrument": "exact"}


def paper_fixture(*, by_hand: bool = False) -> Fixture:
    """Return a bench that reads everything exactly and may do anything; with `by_hand`, a person works it."""
    return Fixture.model_validate(
        {
            "format": "benchtest-fixture/1",
            "bench": {"name": "paper", "place": "nowhere"},
            "limits": {"voltage": "1 MV", "current": "1 MA"},
            "adapters": {ADAPTER: {"driver": "manual" if by_hand else "simulated"}, LINK: {"driver": "simulated"}},
            "instruments": {
                "exact": {"name": "exact", "serial": "", "certificate": "", "calibrated": "", "due": "9999-12-31"}
            },
            "accuracy": dict.fromkeys(("sense", "contact", "current", "ohms", "light"), _EXACT),
            "contact_test": {"voltage": "12 V", "series": "120 ohm"},
            "harnesses": ["none"],
        }
    )


def wired_for(profile: Profile) -> Harness:
    """Return a harness that has everything of a board."""
    table: dict[Role, dict[Pair | str, int]] = {role: {} for role in Role}
    numbers = count(1)
    for role, terminals in _wanted(profile):
        if terminals not in table[role]:
            table[role][terminals] = next(numbers)
    return _harness(profile.board.part, table, linked=profile.link is not None)


def wired_as(procedure: Procedure) -> Harness:
    """Return the harness that a procedure was planned on, with its channel numbers."""
    table: dict[Role, dict[Pair | str, int]] = {role: {} for role in Role}
    for number, channel in procedure.channels.items():
        at = channel.terminals
        # a person's ohmmeter reads a contact in the role of ohms; its name says what it is all the same
        role = Role.CONTACT if " contact of " in channel.name else channel.role
        table[role][at.removeprefix("lamp ") if role is Role.LIGHT else Pair.parse(at)] = number
    return _harness(procedure.part, table, linked=_on_the_link(procedure))


def _on_the_link(procedure: Procedure) -> bool:
    """Return whether the bench had an adapter on the board's link; the controller's heartbeat is said to be alive."""
    moves = (move for step in procedure.steps for move in step.moves)
    return any(isinstance(move, Record) and move.link_orders for move in moves)


def worked_by_hand(procedure: Procedure) -> bool:
    """Return whether a person was the bench."""
    return any(isinstance(move, Look) for step in procedure.steps for move in step.moves)


def _harness(part: str, table: Mapping[Role, Mapping[Pair | str, int]], *, linked: bool) -> Harness:
    wires: dict[str, Any] = {role.value: dict(pairs) for role, pairs in table.items()}
    return Harness.model_construct(
        format="benchtest-harness/1", part=part, adapter=ADAPTER, link=LINK if linked else None, **wires
    )


def _wanted(profile: Profile) -> list[tuple[Role, Pair | str]]:
    """Return every wire that any reading or order of a board may need."""
    wires: list[tuple[Role, Pair | str]] = []
    for supply in profile.supplies.values():
        wires += [(role, supply.terminals) for role in (Role.SUPPLY, Role.CURRENT, Role.SENSE, Role.OHMS)]
        wires += [(Role.SENSE, supply.passed_on.terminals)] if supply.passed_on else []
    wires += [(Role.SENSE, rail.terminals) for rail in profile.rails.values()]
    for thing in profile.inputs.values():
        wires.append((Role.DRIVE if isinstance(thing, DryContact | Level) else Role.RESISTANCE, thing.terminals))
    for relay in profile.relays.values():
        wires += [(Role.CONTACT, pair) for pair in (relay.contact.make, relay.contact.break_) if pair]
        wires += [(Role.SENSE, relay.coil)] if relay.coil else []
    wires += [(Role.LIGHT, name) for name in profile.lamps]
    for name, connector in profile.connectors.items():
        wires += [(Role.OHMS, Pair(Terminal(name, one), Terminal(name, other))) for one, other in connector.bridged]
    return wires
