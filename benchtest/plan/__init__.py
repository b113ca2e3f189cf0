"""profile + fixture → procedure: everything resolved, and refused before power where the bench cannot do it."""

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Final, assert_never

from benchtest.errors import PlanError
from benchtest.fixture.document import Adapter, Fixture, Harness
from benchtest.fixture.wiring import RECORDS, channels, people, timekeeper
from benchtest.metrology.coverage import normal_factor
from benchtest.plan.by_hand import by_hand
from benchtest.plan.checks import evidence_of
from benchtest.plan.codes import read_code
from benchtest.plan.exercise import exercise
from benchtest.plan.forbidden import forbidden
from benchtest.plan.interlock_steps import try_interlock
from benchtest.plan.outage import loss, watch_link
from benchtest.plan.plugs import plugs
from benchtest.plan.possible import as_far_as_possible
from benchtest.plan.resolve import beyond_the_bench, too_fine
from benchtest.plan.rest import lamps, power_up, safe_off, unpowered
from benchtest.plan.self_check import self_check
from benchtest.plan.served import not_served
from benchtest.plan.timeline import Draft, Pace
from benchtest.plan.too_long import HOUR, too_long
from benchtest.plan.unlinked import without_controller
from benchtest.plan.wiring import Wiring, kept_empty, wrong_way_round
from benchtest.procedure import BenchProcedure, ContactTest, DecisionRule, LinkPlan, Move, Procedure, Step, Timing
from benchtest.profile.document import Decision, Profile
from benchtest.profile.fitting import FittedProfile
from benchtest.profile.link import CanLink
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
from benchtest.profile.serial_link import BytesLink, TextLink

__all__ = ["HOUR", "link_plan", "plan", "plan_self_check"]

HOST_RATE = 1e3
"""Samples per second of the time base that the host keeps where no adapter records."""
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
    longest: float = math.inf,
) -> Procedure:
    """Return the procedure that proves this board on this bench.

    `database` is the text of the profile's DBC, `place` tells file:line of a key path. Raises PlanError with every
    reason why the bench cannot do it; with `partial`, what it cannot do becomes *not tested*, and only what would be
    dangerous is refused. So it is where a person with a meter works the bench (`plan.by_hand`). No recording may last
    more than `longest` seconds.
    """
    profile, wiring = fitted.profile, Wiring(harness, fixture)
    adapter = timekeeper(fixture, harness)
    by_people = bool(people(fixture, harness))
    partial = partial or by_people
    slowest = max((wiring.late(channel) for channel in channels(harness)), default=0.0)
    rate = adapter.rate if adapter.driver in RECORDS else HOST_RATE
    draft = Draft(
        profile=profile,
        wiring=wiring,
        place=place,
        rate=rate,
        pace=Pace().slowed(slowest),
        written=fitted.written,
    )
    linked = profile.link is None or harness.link is not None
    script = _steps(draft, linked=linked or not partial)
    procedure = _assembled(fitted, database, draft, [step for _, step in script])
    if by_people:
        procedure = by_hand(_possible(procedure, linked=linked), fixture=fixture, harness=harness)
    dangers = [*kept_empty(profile, harness), *wrong_way_round(profile, harness)]
    dangers += beyond_the_bench(profile, fixture, place)
    dangers = dangers or forbidden(procedure, fixture.limits)
    reasons = [
        *wiring.gaps,
        *_another_wire(profile, fixture, harness),
        *([] if linked else ["the harness names no adapter on the board's link"]),
    ]
    wrong, unresolved, accepted = too_fine(procedure, profile.decision, fitted.not_fitted, place)
    wrong += too_long(script, draft, longest)
    unresolved |= not_served(procedure, fixture, harness)
    if dangers or wrong or (not partial and (reasons or unresolved)):
        raise PlanError([*reasons, *dangers, *wrong, *dict.fromkeys(unresolved.values())])
    if partial and not by_people:  # what a person reads is read all the same, and undecided where it is too fine
        procedure = _possible(procedure, linked=linked, unresolved=unresolved)
    return replace(procedure, steps=tuple(_timed(step, adapter) for step in procedure.steps), unresolved=accepted)


def _possible(procedure: Procedure, *, linked: bool, unresolved: Mapping[str, str] = MappingProxyType({})) -> Procedure:
    """Return a procedure without what this bench cannot do or resolve."""
    steps = (as_far_as_possible(step, linked=linked, unresolved=unresolved) for step in procedure.steps)
    return replace(procedure, steps=tuple(steps))


def _steps(draft: Draft, *, linked: bool) -> list[tuple[int, Step]]:
    """Return what the script becomes, each step with the number of the scripted one.

    On a bench that is not `linked`, it is without what needs a controller on the link.
    """
    steps: list[tuple[int, Step]] = []
    for number, asked in enumerate(draft.profile.steps, 1):
        expanded = [_as_evidence(step, asked) for step in _expand(draft, asked, number)]
        kept = expanded if linked else without_controller(draft.profile, asked, expanded)
        steps += [(number, step) for step in kept]
    return steps


def _as_evidence(step: Step, asked: Scripted) -> Step:
    """Return a step whose checks are evidence of what the scripted one is for."""
    if not asked.requirement:
        return step
    return replace(step, checks=tuple(evidence_of(check, *asked.requirement) for check in step.checks))


def _expand(draft: Draft, asked: Scripted, number: int) -> list[Step]:
    """Return what one scripted step becomes; `number` keeps names apart where a kind comes twice."""
    match asked:
        case Unpowered() | Plugs() | SafeOff():
            return ALWAYS_THE_SAME[asked.step](draft)
        case PowerUp():
            return power_up(draft, asked)
        case Exercise():
            return [exercise(draft, relay, asked.again) for relay in asked.relays]
        case ReadLamps():
            return [lamps(draft, asked, number)]
        case ReadCode():
            return [read_code(draft, asked, number)]
        case TryInterlocks():
            return [step for name in asked.names for step in try_interlock(draft, name)]
        case WatchLink():
            return watch_link(draft, asked)
        case Loss():
            return [loss(draft, asked, number)]
        case _:
            assert_never(asked)


def plan_self_check(fixture: Fixture, harness: Harness, *, link: LinkPlan | None, board: bool) -> BenchProcedure | None:
    """Return how this bench checks itself before a board has power.

    `board` is whether a board is connected, `link` what may be said on its link. Raises PlanError where the bench's
    hard limits forbid it; None where a person or a record is the bench.
    """
    bench = self_check(fixture, harness, link=link, board=board)
    if bench is None:
        return None
    if dangers := forbidden(bench.procedure, fixture.limits):
        raise PlanError(dangers)
    adapter = timekeeper(fixture, harness)
    steps = tuple(_timed(step, adapter) for step in bench.procedure.steps)
    return replace(bench, procedure=replace(bench.procedure, steps=steps))


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
        case "set" | "measure" | "look" | "loop back":
            return adapter.round_trip
        case "exchange":
            return min(move.times * adapter.round_trip, move.longest)
        case "compare clocks":
            return move.duration + 6 * adapter.round_trip


def _assembled(fitted: FittedProfile, database: str | None, draft: Draft, steps: list[Step]) -> Procedure:
    profile, harness, fixture = draft.profile, draft.wiring.harness, draft.wiring.fixture
    adapter, link = timekeeper(fixture, harness), profile.link
    return Procedure(
        part=profile.board.part,
        board=profile.board.name,
        variant=fitted.variant,
        options=fitted.options,
        not_fitted=fitted.not_fitted,
        channels=draft.channels,
        timing=Timing(
            clock=adapter.clock,
            stamp=adapter.stamp if adapter.driver in RECORDS else 0.0,  # else each channel says how late it may be
            link_stamp=adapter.round_trip,
            latency=adapter.latency,
        ),
        decision=_rule(profile.decision),
        contact_test=ContactTest(**fixture.contact_test.model_dump()),
        link=None if link is None else link_plan(link, database),
        loads=(*harness.drive.values(), *harness.resistance.values()),
        supplies=tuple(harness.supply.values()),
        steps=tuple(steps),
    )


def link_plan(link: CanLink | BytesLink | TextLink, database: str | None) -> LinkPlan | None:
    """Return what may be said on a board's link; None where its signal database is not known."""
    if isinstance(link, CanLink) and database is None:
        return None
    return LinkPlan(
        database=database or "",
        bit_rate=link.bit_rate,
        heartbeat=link.controller.message,
        every=link.controller.every,
        terminals=str(link.terminals),
        serial=None if isinstance(link, CanLink) else link.resolved(),
        bears=max(link.lost_after.low, 0.0),
    )


def _another_wire(profile: Profile, fixture: Fixture, harness: Harness) -> list[str]:
    """Return why the adapter on the board's link cannot be on it, if it cannot."""
    if profile.link is None or harness.link is None:
        return []
    found, wanted = fixture.adapters[harness.link].driver, "can" if isinstance(profile.link, CanLink) else "serial"
    if found in {wanted, "simulated"}:
        return []
    return [f"the board's link is {profile.link.kind}, and adapter {harness.link} has driver {found} (try {wanted})"]


def _rule(decision: Decision) -> DecisionRule:
    return DecisionRule(
        rule=decision.rule,
        guard=0.0 if decision.rule == "simple acceptance" else decision.guard,
        accept_conditional=decision.accept_conditional,
        coverage=normal_factor(decision.coverage),
    )
