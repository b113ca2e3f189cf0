"""A bench with no board on it: a profile that has nothing, and a procedure that does nothing.

What looks at the bench itself opens it through the same door as a run, with the same guards.
"""

from typing import Final

from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.wire_list import wire_list
from benchtest.fixture.wiring import timekeeper
from benchtest.instruments import Role
from benchtest.procedure import Channel, ContactTest, DecisionRule, Procedure, Timing
from benchtest.profile.board import Identity, Supply
from benchtest.profile.document import Profile
from benchtest.profile.fitting import FittedProfile

LOW: Final = 5.0
"""Volts of a supply that nothing hangs on."""
LITTLE: Final = 0.1
"""Amps to go with it."""


def no_board(harness: Harness) -> FittedProfile:
    """Return a profile with the harness's supplies and nothing that takes current from them."""
    board = Identity(part=harness.part, name="no board", revisions=("none",))
    profile = Profile.model_construct(
        format="benchtest-profile/1", board=board, connectors={}, supplies=_supplies(harness), relays={}, steps=()
    )
    return FittedProfile(profile=profile, variant=None, options=(), not_fitted=())


def _supplies(harness: Harness) -> dict[str, Supply]:
    return {
        f"supply {number}": Supply.model_construct(kind="dc", terminals=pair, nominal=LOW, current_limit=LITTLE)
        for pair, number in harness.supply.items()
    }


def nothing_to_do(fixture: Fixture, harness: Harness) -> Procedure:
    """Return a procedure without steps that knows the channels of a harness, so that they can be taken to safety."""
    adapter = timekeeper(fixture, harness)
    return Procedure(
        part=harness.part,
        board="no board",
        variant=None,
        options=(),
        not_fitted=(),
        channels={wire.channel: _channel(wire.role, wire.terminals) for wire in wire_list(fixture, harness)},
        timing=Timing(clock=adapter.clock, stamp=adapter.stamp, link_stamp=adapter.round_trip, latency=adapter.latency),
        decision=DecisionRule(guard=1.0, accept_conditional=False),
        contact_test=ContactTest(**fixture.contact_test.model_dump()),
        link=None,
        loads=(*harness.drive.values(), *harness.resistance.values()),
        supplies=tuple(harness.supply.values()),
        steps=(),
    )


def _channel(role: Role, terminals: str) -> Channel:
    return Channel(
        role=role, terminals=terminals, of_reading=0.0, plus=0.0, resolution=0.0, low=0.0, high=0.0, instrument=""
    )
