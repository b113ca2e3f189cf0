"""profile + fixture → procedure: everything resolved, and refused before power where the bench cannot do it."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final, assert_never

from benchtest.errors import PlanError
from benchtest.fixture.document import Adapter, Fixture, Harness
from benchtest.fixture.wiring import channels, timekeeper
from benchtest.metrology.coverage import normal_factor
from benchtest.plan.codes import read_code
from benchtest.plan.exercise import exercise
from benchtest.plan.interlock_steps import try_interlock
from benchtest.plan.outage import loss, watch_link
from benchtest.plan.plugs import plugs
from benchtest.plan.possible import as_far_as_possible
from benchtest.plan.resolve import beyond_the_bench, too_fine
from benchtest.plan.rest import lamps, power_up, safe_off, unpowered
from benchtest.plan.timeline import Draft, Pace
from benchtest.plan.wiring import Wiring, kept_empty
from benchtest.procedure import ContactTest, DecisionRule, LinkPlan, Move, Procedure, Step, Timing
from benchtest.profile.document import Decision
from benchtest.profile.fitting import FittedProfile
from benchtest.profile.script import (
    Exercise,
    Loss,
    Plugs,
    PowerUp,
    ReadCode,
    ReadLamps,
    SafeOff,
    TryInterlocks,
    Unpowered,
    WatchLink,
)
from benchtest.profile.script import Step as Scripted

__all__ = ["plan"]

ALWAYS_THE_SAME: Final[Mapping[str, Callable[[Draft], list[Step]]]] = {
    "unpowered": lambda draft: [unpowered(draft)],
    "plugs": plugs,
    "safe off": lambda draft: [safe_off(draft)],
}
"""Steps that take nothing from the script but their name."""


def plan(
    fitted: FittedProfile,
    *,
    database: str | None,
    fixture: Fixture,
    harness: Harness,
    place: Callable[..., str] = lambda *_: "",
    partial: bool = False,
) -> Procedure:
    """Return the procedure that proves this board on this bench.

    `database` is the text of the profile's DBC, `place` tells file:line of a key path. Raises PlanError with every
    reason why the bench cannot do it; with `partial`, what it cannot do becomes *not tested*, and only what would be
    dangerous is refused.
    """
    profile, wiring = fitted.profile, Wiring(harness, fixture)
    adapter = timekeeper(fixture, harness)
    slowest = max((wiring.late(channel) for channel in channels(harness)), default=0.0)
    draft = Draft(profile=profile, wiring=wiring, place=place, rate=adapter.rate, pace=Pace().slowed(slowest))
    steps = [step for number, asked in enumerate(profile.steps, 1) for step in _expand(draft, asked, number)]
    procedure = _assembled(fitted, database, wiring, [_timed(step, adapter) for step in steps])
    linked = profile.link is None or harness.link is not None
    dangers = [*kept_empty(profile, harness), *beyond_the_bench(profile, fixture, place)]
    reasons = [*wiring.gaps, *([] if linked else ["the harness names no adapter on the board's link"])]
    wrong, unresolved, accepted = too_fine(procedure, profile.decision, fitted.not_fitted, place)
    if dangers or wrong or (not partial and (reasons or unresolved)):
        raise PlanError([*reasons, *dangers, *wrong, *dict.fromkeys(unresolved.values())])
    if partial:
        possible = (as_far_as_possible(step, linked=linked, unresolved=unresolved) for step in procedure.steps)
        procedure = replace(procedure, steps=tuple(_timed(step, adapter) for step in possible))
    return replace(procedure, unresolved=accepted)


def _expand(draft: Draft, asked: Scripted, number: int) -> list[Step]:
    """Return what one scripted step becomes; `number` keeps names apart where a kind comes twice."""
    match asked:
        case Unpowered() | Plugs() | SafeOff():
            return ALWAYS_THE_SAME[asked.step](draft)
        case PowerUp():
            return power_up(draft, asked)
        case Exercise():
            return [exercise(draft, relay) for relay in asked.relays]
        case ReadLamps():
            return [lamps(draft, asked, f"lamps-{number}")]
        case ReadCode():
            return [read_code(draft, asked, f"code-{number}")]
        case TryInterlocks():
            return [step for name in asked.names for step in try_interlock(draft, name)]
        case WatchLink():
            return watch_link(draft, asked)
        case Loss():
            return [loss(draft, asked, f"loss-of-{asked.of}-{number}")]
        case _:
            assert_never(asked)


def _timed(step: Step, adapter: Adapter) -> Step:
    return replace(step, duration=sum(_duration(move, adapter) for move in step.moves))


def _duration(move: Move, adapter: Adapter) -> float:
    """Return the estimate of dwell, capture and wire time of one move, in seconds."""
    match move.kind:
        case "record":
            samples = len(move.channels) * move.duration * move.rate
            exchanges = 4 + len(move.orders)
            return move.duration + 2 * samples / adapter.throughput + exchanges * adapter.round_trip
        case "source":
            return move.settle + 4 * adapter.round_trip
        case "all off":
            return 2 * adapter.round_trip
        case "set" | "measure":
            return adapter.round_trip


def _assembled(fitted: FittedProfile, database: str | None, wiring: Wiring, steps: list[Step]) -> Procedure:
    profile, harness, fixture = fitted.profile, wiring.harness, wiring.fixture
    adapter, link = timekeeper(fixture, harness), profile.link
    return Procedure(
        part=profile.board.part,
        board=profile.board.name,
        variant=fitted.variant,
        options=fitted.options,
        not_fitted=fitted.not_fitted,
        channels=wiring.facts(profile),
        timing=Timing(clock=adapter.clock, stamp=adapter.stamp, link_stamp=adapter.round_trip, latency=adapter.latency),
        decision=_rule(profile.decision),
        contact_test=ContactTest(**fixture.contact_test.model_dump()),
        link=None
        if link is None or database is None
        else LinkPlan(
            database=database,
            bit_rate=link.bit_rate,
            heartbeat=link.controller.message,
            every=link.controller.every,
            terminals=str(link.terminals),
        ),
        loads=(*harness.drive.values(), *harness.resistance.values()),
        supplies=tuple(harness.supply.values()),
        steps=tuple(steps),
    )


def _rule(decision: Decision) -> DecisionRule:
    return DecisionRule(
        rule=decision.rule,
        guard=0.0 if decision.rule == "simple acceptance" else decision.guard,
        accept_conditional=decision.accept_conditional,
        coverage=normal_factor(decision.coverage),
    )
