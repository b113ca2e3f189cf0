"""fixture + harness → the procedure by which a bench checks itself, before any board has power.

The same moves and checks as for a board, about the bench: what reads at rest, how soon adapters answer, how fast the
clock is, whether each drive does what it is told, whether lamp sensors see a light, what supplies put out, whether the
link adapters hear one another. A limit here is the fixture's own statement; a bench that refutes one may not judge.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.self_check import Part
from benchtest.fixture.wiring import READS, RECORDS, adapter_of, adapters_of, people, roles_of, timekeeper
from benchtest.instruments import Order, Role
from benchtest.plan.bare import nothing_to_do
from benchtest.plan.timeline import Pace
from benchtest.plan.wiring import HIGH_SHARE, LOW_SHARE, Wiring
from benchtest.procedure import (
    BenchProcedure,
    Cause,
    Channel,
    Check,
    ClockRate,
    CompareClocks,
    DecisionRule,
    Delay,
    Exchange,
    HeardBack,
    Interval,
    Limiting,
    LinkPlan,
    LoopBack,
    Measurand,
    Measure,
    Move,
    Record,
    RoundTrip,
    Scalar,
    Source,
    StateOf,
    Step,
    Still,
)

TIMES: Final = 200
"""Answers of each adapter: the 99th percentile is then the third longest."""
LONGEST: Final = 0.5
"""Seconds for them at most; a slow line answers less often."""
SHARE: Final = 0.95
"""Share of the answers within the time that goes into an uncertainty, as expanded uncertainties have it."""
BEATS: Final = 5
"""Signs of life in a dead-man time; an answer that takes longer than one of them may come too late."""
CLOCKS: Final = 1.0
"""Seconds between the two readings of a clock, nearly."""
SETTLE: Final = 0.15
"""Seconds from a supply's set-point to reading it."""
DISCHARGED: Final = 0.3
"""Seconds until a supply that is off has let its voltage go."""
NONE: Final = Interval(low=0.0, high=0.0)


def self_check(fixture: Fixture, harness: Harness, *, link: LinkPlan | None, board: bool) -> BenchProcedure | None:
    """Return how this bench checks itself.

    `board` is whether a board is connected. None where a person or a record is the bench, which answer for themselves.
    """
    drivers = {fixture.adapters[name].driver for name in adapters_of(fixture, harness)}
    if people(fixture, harness) or drivers & {"manual", "replay"}:
        return None
    draft = _Draft(fixture=fixture, harness=harness, link=link, board=board)
    steps = [*_at_rest(draft), *_answers(draft), *_clocks(draft), *_drives(draft), *_lights(draft)]
    steps += [*_supplies(draft), *_loop_back(draft)]
    bare = nothing_to_do(fixture, harness)
    procedure = replace(
        bare,
        channels=draft.channels,
        decision=DecisionRule(guard=1.0, accept_conditional=True, rule="guarded rejection"),
        link=link,
        loads=(*bare.loads, *draft.outputs),
        steps=tuple(steps),
    )
    return BenchProcedure(procedure=procedure, left_out=draft.left_out)


@dataclass(frozen=True, kw_only=True)
class _Draft:
    """What every planner of this module needs."""

    fixture: Fixture
    harness: Harness
    link: LinkPlan | None
    board: bool

    @cached_property
    def pace(self) -> Pace:
        """How long things are given on this bench."""
        adapters = [self.fixture.adapters[name] for name in adapters_of(self.fixture, self.harness)]
        return Pace().slowed(max(0.0 if one.driver in RECORDS else one.stamp for one in adapters))

    @property
    def rate(self) -> float:
        adapter = timekeeper(self.fixture, self.harness)
        return adapter.rate if adapter.driver in RECORDS else 1e3

    @property
    def outputs(self) -> tuple[int, ...]:
        """The drives that only the self-check has."""
        own = self.fixture.self_check
        mine = [*own.drives, *([own.test_light] if own.test_light is not None else [])]
        return tuple(channel for channel in mine if channel not in self.harness.drive.values())

    @cached_property
    def lights(self) -> tuple[int, ...]:
        return tuple(number for number in self.harness.light.values() if self._can(number, Role.LIGHT))

    @cached_property
    def senses(self) -> Mapping[int, int]:
        """Supply → channel that reads it, where the cable set has one at the same terminals."""
        sense = self.harness.sense
        pairs = ((number, sense[pair]) for pair, number in self.harness.supply.items() if pair in sense)
        return {supply: number for supply, number in pairs if self._can(number, Role.SENSE)}

    @cached_property
    def channels(self) -> dict[int, Channel]:
        """What the judge must know: every channel of the harness, and the bench's own."""
        own, wiring, light = self.fixture.self_check, Wiring(self.harness, self.fixture), self.fixture.light
        levels = {Role.LIGHT: (light.dark, light.lit), Role.SENSE: _levels(own.supply_volts)}
        known = {
            number: wiring.fact(number, role, terminals, levels.get(role, (0.0, 0.0)))
            for role in Role
            for terminals, number in getattr(self.harness, role.value).items()
        }
        known |= {drive: wiring.fact(drive, Role.DRIVE, f"drive {drive}", (0.0, 0.0)) for drive in self.outputs}
        loops = {sense: f"loop of drive {drive}" for drive, sense in own.drives.items()}
        return known | {n: wiring.fact(n, Role.SENSE, words, _levels(own.level)) for n, words in loops.items()}

    @property
    def left_out(self) -> tuple[str, ...]:
        """In words, what of the bench is not looked at."""
        own = self.fixture.self_check
        missing = {
            "drives": "" if own.drives else "no drive is read back by a wire of the bench",
            "supplies": "" if self.senses else "no supply is read by a sense channel",
            "test light": "" if own.test_light is not None or not self.lights else "no test light for the lamp sensors",
            "link": self._no_loop,
        }
        if self.harness.link is None:
            del missing["link"]
        waits = "not done while a board is connected ('benchtest rig check' does it without one)"
        return tuple(f"{part}: {reason or waits}" for part, reason in missing.items() if reason or not self.does(part))

    @property
    def _no_loop(self) -> str:
        if self.fixture.self_check.link_peer is None:
            return "no second adapter is on the link"
        return "" if self.link is not None else "no profile says what may be sent"

    def does(self, part: str) -> bool:
        """Return whether a part of the check is done now."""
        return not self.board or part in self.fixture.self_check.with_board

    def _can(self, channel: int, role: Role) -> bool:
        return role in roles_of(channel, self.fixture, self.harness)


def _levels(volts: float) -> tuple[float, float]:
    return LOW_SHARE * volts, HIGH_SHARE * volts


def _check(part: Part | str, title: str, what: Measurand, unit: str, permitted: Interval | str, probe: str) -> Check:
    return Check(
        id=f"bench.{title}".replace(" ", "-"),
        subject=part,
        title=title,
        measurand=what,
        unit=unit,
        permitted=permitted,
        probe=probe,
    )


def _step(name: str, title: str, moves: Iterable[Move], checks: Iterable[Check]) -> Step:
    return Step(id=f"bench-{name}", title=title, moves=tuple(moves), checks=tuple(checks), duration=0.0)


def _at_rest(draft: _Draft) -> list[Step]:
    """Everything is off: no lamp sensor sees light, no supply has volts, no drive is closed."""
    drives = draft.fixture.self_check.drives
    senses = [*draft.senses.values(), *drives.values()]
    watched = (*draft.lights, *senses)
    if not watched:
        return []
    name, start = "bench at rest", draft.pace.quiet
    end = start + draft.pace.settled
    move = Record(name=name, orders=(), link_orders=(), duration=end, rate=draft.rate / 4, channels=watched)
    checks = []
    for number in watched:
        where = draft.channels[number].terminals
        part, word = ("lamp sensor", "dark") if number in draft.lights else ("supply or drive", "low")
        what = StateOf(evidence=name, channel=number, start=start, end=end)
        checks.append(_check(part, f"{where} {word} at rest", what, "", word, where))
    return [_step("rest", "Bench: at rest", [move], checks)]


def _answers(draft: _Draft) -> list[Step]:
    """How soon every adapter answers, which its dead-man must have time for."""
    name, checks = "bench answers", []
    for adapter in adapters_of(draft.fixture, draft.harness):
        about = draft.fixture.adapters[adapter]
        if about.driver != "frames":  # such a board says nothing
            what = RoundTrip(evidence=name, adapter=adapter, share=SHARE)
            permitted = Interval(low=None, high=about.dead_man / BEATS)
            checks.append(_check(adapter, f"{adapter} round trip", what, "s", permitted, f"adapter {adapter}"))
    move = Exchange(name=name, times=TIMES, longest=LONGEST)
    return [_step("answers", "Bench: round trips", [move], checks)] if checks else []


def _clocks(draft: _Draft) -> list[Step]:
    """How fast the recording adapter's clock runs, against its statement."""
    adapter = timekeeper(draft.fixture, draft.harness)
    mine = [number for number, channel in draft.channels.items() if channel.role in READS and _records(draft, number)]
    if adapter.driver not in RECORDS or not mine:
        return []
    name, rate = "bench clocks", draft.rate / 40
    move = CompareClocks(name=name, duration=CLOCKS, channels=(mine[0],), rate=rate)
    permitted = Interval(low=-adapter.clock, high=adapter.clock)
    check = _check("clock", "clock deviation", ClockRate(evidence=name), "%", permitted, "recording adapter")
    return [_step("clocks", "Bench: clock", [move], [check])]


def _records(draft: _Draft, number: int) -> bool:
    return draft.fixture.adapters[adapter_of(number, draft.fixture, draft.harness)].driver in RECORDS


def _drives(draft: _Draft) -> list[Step]:
    """Each drive in turn: its own loop follows, and no other one."""
    drives = draft.fixture.self_check.drives
    if not drives or not draft.does("drives"):
        return []
    name, gap, orders, checks = "bench drives", draft.pace.gap, list[Order](), list[Check]()
    at = draft.pace.quiet
    for drive, sense in drives.items():
        on, off, after = at, at + gap, at + 2 * gap
        orders += [Order(at=on, channel=drive, value=1.0), Order(at=off, channel=drive, value=0.0)]
        checks += _loop(name, drive, sense, on=on, off=off, gap=gap)
        others = tuple(number for number in drives.values() if number != sense)
        still = Still(evidence=name, channels=others, start=on, end=after)
        checks.append(_check("drive", f"drive {drive} moves no other", still, "", NONE, "the other drives' loops"))
        at = after
    move = Record(
        name=name, orders=tuple(orders), link_orders=(), duration=at, rate=draft.rate, channels=tuple(drives.values())
    )
    return [_step("drives", "Bench: drives read back", [move], checks)]


def _loop(name: str, drive: int, sense: int, *, on: float, off: float, gap: float) -> list[Check]:
    """Return the checks that a drive closes and opens within the time that a plan gives it."""
    closing = Delay(evidence=name, channel=sense, state="high", since=Cause(at=on, order="bench"))
    opening = Delay(evidence=name, channel=sense, state="low", since=Cause(at=off, order="bench"))
    permitted, probe = Interval(low=None, high=gap), f"loop of drive {drive}"
    return [
        _check("drive", f"drive {drive} closes", closing, "s", permitted, probe),
        _check("drive", f"drive {drive} opens", opening, "s", permitted, probe),
    ]


def _lights(draft: _Draft) -> list[Step]:
    """Every lamp sensor sees the test light, and sees it go."""
    light = draft.fixture.self_check.test_light
    if light is None or not draft.lights or not draft.does("test light"):
        return []
    name, pace, checks = "bench test light", draft.pace, list[Check]()
    on = pace.quiet
    off = on + pace.gap + pace.settled
    end = off + pace.gap + pace.settled
    orders = (Order(at=on, channel=light, value=1.0), Order(at=off, channel=light, value=0.0))
    move = Record(name=name, orders=orders, link_orders=(), duration=end, rate=draft.rate / 4, channels=draft.lights)
    for number in draft.lights:
        where = draft.channels[number].terminals
        for word, until in (("lit", off), ("dark", end)):
            what = StateOf(evidence=name, channel=number, start=until - pace.settled / 2 - pace.slack, end=until)
            checks.append(_check("lamp sensor", f"{where} {word} by the test light", what, "", word, where))
    return [_step("light", "Bench: lamp sensors", [move], checks)]


def _supplies(draft: _Draft) -> list[Step]:
    """Each supply at a low voltage: its own word, and what the channel at the same terminals reads."""
    return [_supply(draft, *pair) for pair in draft.senses.items()] if draft.does("supplies") else []


def _supply(draft: _Draft, supply: int, sense: int) -> Step:
    own, where = draft.fixture.self_check, draft.channels[supply].terminals
    said, seen, after = f"bench supply {supply}", f"bench supply {supply} sensed", f"bench supply {supply} off"
    volts, off = own.supply_volts, draft.pace.quiet
    permitted = Interval(low=volts * (1 - own.supply_tolerance), high=volts * (1 + own.supply_tolerance))
    end = off + DISCHARGED + draft.pace.settled
    moves: list[Move] = [
        Source(name=said, channel=supply, volts=volts, amps=own.supply_amps, settle=SETTLE),
        Measure(name=seen, channel=sense),
        Record(
            name=after,
            orders=(Order(at=off, channel=supply, value=0.0),),
            link_orders=(),
            duration=end,
            rate=draft.rate / 4,
            channels=(sense,),
        ),
    ]
    gone = StateOf(evidence=after, channel=sense, start=off + DISCHARGED, end=end)
    checks = [
        _check("supply", f"supply {supply} current limit", Limiting(evidence=said), "", "free", where),
        _check("supply", f"supply {supply} read back", Scalar(evidence=said, field="volts"), "V", permitted, where),
        _check("supply", f"supply {supply} at its terminals", Scalar(evidence=seen), "V", permitted, where),
        _check("supply", f"supply {supply} off", gone, "", "low", where),
    ]
    return _step(f"supply-{supply}", f"Bench: supply {supply}", moves, checks)


def _loop_back(draft: _Draft) -> list[Step]:
    """What one link adapter sends, the other hears, both ways."""
    own, link = draft.fixture.self_check, draft.link
    if own.link_peer is None or link is None or draft.harness.link is None or not draft.does("link"):
        return []
    name, one, other = "bench link", draft.harness.link, own.link_peer
    move = LoopBack(name=name, message=link.heartbeat)
    out = _check("link", f"{other} hears {one}", HeardBack(evidence=name, way="out"), "", "heard", link.terminals)
    back = _check("link", f"{one} hears {other}", HeardBack(evidence=name, way="back"), "", "heard", link.terminals)
    return [_step("link", "Bench: link", [move], [out, back])]
