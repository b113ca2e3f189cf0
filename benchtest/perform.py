"""procedure → readings, on a rig. Step by step: move, read, judge, tell; a failed gate ends it, a bench fault ends it.

Results are told as they come, so that a journal is whole up to the moment the plug is pulled. Nothing is repeated
silently: every move is carried out once. What was not reached is *not tested*, by name.
"""

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import assert_never

from benchtest.errors import Aborted, RigError
from benchtest.instruments import Back, Skip
from benchtest.judge import conclude, judge_step
from benchtest.metrology.figures import plain
from benchtest.procedure import (
    AllOff,
    CompareClocks,
    Exchange,
    Heartbeat,
    Look,
    LoopBack,
    Measure,
    Move,
    Procedure,
    Record,
    Set,
    Source,
    Step,
)
from benchtest.readings import Evidence, Left, Readings, Skipped, Supplied, Told, Value
from benchtest.results import Outcome, Result, SafeState, Verdict
from benchtest.rig import Rig
from benchtest.rig.timing import asked_of_the_bench


@dataclass(frozen=True, kw_only=True, slots=True)
class Watcher:
    """Who is told what happens while it happens."""

    begins: Callable[[Step, float], None] = lambda _step, _at: None
    """A step begins, at a moment of the rig's clock."""
    seen: Callable[[str, Evidence], None] = lambda _name, _evidence: None
    """Evidence has come in under a name."""
    judged: Callable[[Step, tuple[Result, ...], float], None] = lambda _step, _results, _at: None
    """A step was performed and judged."""
    remarked: Callable[[str, float], None] = lambda _text, _at: None
    """The bench had to bear or has recovered from something that the record must tell."""
    ended: Callable[[Outcome, str, SafeState], None] = lambda _outcome, _reason, _safe: None
    """It is over, and the bench was taken to safety."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Performed:
    """What came of it."""

    readings: Readings
    results: tuple[Result, ...]
    outcome: Outcome
    reason: str
    safe: SafeState


@dataclass(frozen=True, kw_only=True, slots=True)
class Kept:
    """A step that was performed before the run was paused; it is not performed again."""

    evidence: Mapping[str, Evidence]
    when: str
    """RFC 3339 time of its last reading."""


class _GateFailed(Exception):
    """A reading of the gate before this step was taken back, and the gate fails now. Never leaves this module."""


@dataclass(slots=True)
class _Course:
    """Where a performance stands."""

    procedure: Procedure
    rig: Rig
    watcher: Watcher
    kept: Mapping[str, Kept]
    evidence: dict[str, Evidence] = field(default_factory=dict)
    results: dict[str, tuple[Result, ...]] = field(default_factory=dict)
    """Step → its results."""
    on: set[int] = field(default_factory=set)
    """Supplies that were switched on."""
    before: tuple[Step, Move] | None = None
    """The last move, where it was a request that a person can be asked again."""
    complete: bool = False

    @property
    def readings(self) -> Readings:
        return Readings(origin=self.rig.origin, evidence=self.evidence)

    @property
    def judged(self) -> tuple[Result, ...]:
        return tuple(result for results in self.results.values() for result in results)


def perform(
    procedure: Procedure, rig: Rig, watcher: Watcher, kept: Mapping[str, Kept] = MappingProxyType({})
) -> Performed:
    """Carry out the procedure and return what was seen and decided; a bench fault or an abort is an outcome too.

    `kept` has the steps of a paused run that are not performed again, by their ids.
    """
    course = _Course(procedure, rig, watcher, kept)
    ending: tuple[Outcome, str] | None = None
    try:
        _all_steps(course)
    except RigError as problem:
        ending = Outcome.BENCH_FAULT, str(problem)
    except Aborted as stop:
        ending = Outcome.ABORTED, str(stop)
    except KeyboardInterrupt:
        ending = Outcome.ABORTED, "stopped by the operator"
    safe = rig.make_safe(procedure)
    results = (*course.judged, *_not_reached(course, ending))
    outcome, reason = ending or conclude(results, procedure.decision, complete=course.complete)
    watcher.ended(outcome, reason, safe)
    return Performed(readings=course.readings, results=results, outcome=outcome, reason=reason, safe=safe)


def stood_down(procedure: Procedure, rig: Rig, watcher: Watcher, outcome: Outcome, reason: str) -> Performed:
    """Perform nothing, because the bench is not fit or nobody may go on; everything is taken to safety all the same."""
    safe = rig.make_safe(procedure)
    results = tuple(_not_reached(_Course(procedure, rig, watcher, {}), (outcome, reason)))
    watcher.ended(outcome, reason, safe)
    readings = Readings(origin=rig.origin, evidence={})
    return Performed(readings=readings, results=results, outcome=outcome, reason=reason, safe=safe)


def _all_steps(course: _Course) -> None:
    for step in course.procedure.steps:
        if step.id in course.kept:
            _keep(course, step, course.kept[step.id])
        else:
            course.watcher.begins(step, course.rig.clock.now())
            course.rig.begins(step)
            try:
                _moves(course, step)
            except _GateFailed:
                return
            finally:
                _remark(course)
            _judge(course, step)
        while step.gate and (failed := _failed(course.results[step.id])):
            if not _taken_back(course, step, failed):
                return
    course.complete = True


def _remark(course: _Course) -> None:
    """Tell what was remarked since the last time."""
    remarks = course.rig.watch.remarks
    while remarks:
        course.watcher.remarked(remarks.pop(0), course.rig.clock.now())


def _judge(course: _Course, step: Step) -> None:
    results = judge_step(step, course.procedure, course.readings)
    course.results[step.id] = results
    course.watcher.judged(step, results, course.rig.clock.now())


def _keep(course: _Course, step: Step, kept: Kept) -> None:
    """Judge a step of before the pause again, with a note of when it was read."""
    course.evidence.update(kept.evidence)
    results = judge_step(step, course.procedure, course.readings)
    kept_from = f"kept from before the pause, {kept.when}"
    course.results[step.id] = tuple(
        replace(result, note="; ".join(filter(None, [result.note, kept_from]))) if result.value is not None else result
        for result in results
    )
    course.before = None
    if course.rig.person is not None:
        course.rig.person.tell(f"  Kept from before the pause: {step.title}")


def _failed(results: tuple[Result, ...]) -> Result | None:
    return next((result for result in results if result.verdict is Verdict.FAIL), None)


def _taken_back(course: _Course, step: Step, failed: Result) -> bool:
    """Ask a person, before a failed gate ends the run, whether the last reading was a slip; and read it again."""
    person, (where, last) = course.rig.person, course.before or (None, None)
    if person is None or where is not step or not isinstance(last, Measure | Look):
        return False
    try:
        person.confirm(f"{failed.check.title} failed, and the run ends here (b to go back to the last reading)")
    except Back:
        _again(course, last)
        _judge(course, step)
        return True
    return False


@dataclass(slots=True)
class _PassedBy:
    """Orders of a step that a person passed by."""

    reason: str = ""
    channels: set[int] = field(default_factory=set)

    def covers(self, move: Move) -> bool:
        """Return whether a move means nothing after them: a reading, or the way back of such an order."""
        way_back = isinstance(move, Set) and move.channel in self.channels
        return bool(self.reason) and (way_back or isinstance(move, Measure | Look))


def _moves(course: _Course, step: Step) -> None:
    """Carry out a step's moves; one that ends in current limit ends the step.

    After an order that was passed by, nothing is read in this step; what was put on is still taken off.
    """
    passed = _PassedBy()
    for move in step.moves:
        seen = Skipped(reason=passed.reason) if passed.covers(move) else _tried(course, step, move, passed)
        if seen is None or isinstance(move, Set):
            continue
        _see(course, move.name, seen)
        if _limiting(course, move, seen):
            if not step.gate:  # what comes after would blame the board for a supply that is off
                raise Aborted(_overcurrent(course, move))
            return


def _limiting(course: _Course, move: Move, seen: Evidence) -> bool:
    """Return whether a supply went into current limit, after switching it off: that means stop, not turn it up."""
    limiting = isinstance(move, Source) and move.stop_if_limiting and isinstance(seen, Supplied) and seen.limiting
    if limiting and isinstance(move, Source):
        course.rig.bench.off(move.channel)
    return limiting


def _overcurrent(course: _Course, move: Move) -> str:
    where = course.procedure.channels[move.channel].terminals if isinstance(move, Source) else ""
    return f"over-current: the supply at {where} went into current limit"


def _tried(course: _Course, step: Step, move: Move, passed: _PassedBy) -> Evidence | None:
    """Carry out a move, or return the reason why a person passes it by."""
    try:
        return _asked(course, step, move)
    except RigError as problem:
        raise type(problem)(f"during {step.title!r}: {problem}") from problem
    except Skip as aside:
        course.before = None if isinstance(move, Set) else (step, move)
        if isinstance(move, Set):
            passed.reason = str(aside)
            passed.channels.add(move.channel)
        return Skipped(reason=str(aside))


def _see(course: _Course, name: str, evidence: Evidence) -> None:
    course.evidence[name] = evidence
    course.watcher.seen(name, evidence)


def _asked(course: _Course, step: Step, move: Move) -> Evidence | None:
    """Carry out a move; who works the bench by hand may first want the request before it again."""
    while True:
        requests = _requests(course)
        try:
            seen = _carry_out(course, move)
        except Back:
            _back(course, step)
        else:
            course.before = (step, move) if _requests(course) > requests and not isinstance(move, AllOff) else None
            return seen


def _requests(course: _Course) -> int:
    return 0 if course.rig.person is None else course.rig.person.requests


def _back(course: _Course, step: Step) -> None:
    """Carry out the request before this one again, when there is one and nothing has moved since."""
    before, course.before = course.before, None  # once: what came before that may have been another state of the board
    if before is None:
        assert course.rig.person is not None
        course.rig.person.tell("    No further back than this: one request, and nothing that the bench did itself.")
        return
    asked, move = before
    seen = _again(course, move)
    if seen is not None and _limiting(course, move, seen):
        raise Aborted(_overcurrent(course, move))
    if asked is not step:
        _judge(course, asked)
        if asked.gate and _failed(course.results[asked.id]):
            raise _GateFailed


def _again(course: _Course, move: Move) -> Evidence | None:
    """Carry out one request anew and return what was seen; the watcher is told of both, the later one counts."""
    while True:
        try:
            seen = _carry_out(course, move)
        except Back:
            assert course.rig.person is not None
            course.rig.person.tell("    No further back than this.")
        except Skip as aside:
            seen = Skipped(reason=str(aside))
            break
        else:
            break
    if seen is not None and not isinstance(move, Set):
        _see(course, move.name, seen)
    return seen


def _carry_out(course: _Course, move: Move) -> Evidence | None:
    rig = course.rig
    rig.heed()
    if rig.recall is not None:
        return rig.recall(move)
    match move:
        case Source():
            return _source(course, move)
        case Set():
            rig.bench.set(move.channel, move.value)
            return None
        case Measure():
            return Value(value=rig.bench.measure(move.channel))
        case Look():
            return _looked(rig, move)
        case Record():
            if rig.person is not None:
                rig.person.tell(_on_the_link(move))
            recorded = rig.record(move, course.procedure.link)
            rig.bench.check()
            _stop_on_overcurrent(course)
            return recorded
        case Exchange() | CompareClocks() | LoopBack():
            return asked_of_the_bench(rig, move)
        case AllOff():
            course.on.clear()
            rig.make_safe(course.procedure)
            return Left(channels=tuple(sorted(rig.bench.energised())))
        case _:
            assert_never(move)


def _looked(rig: Rig, move: Look) -> Told:
    if rig.person is None:
        raise RigError(f"{move.name} wants a person to look, and none is at this bench")
    return Told(word=rig.person.look(move.channel, code=move.code))


def _on_the_link(move: Record) -> str:
    """Return what the bench does by itself while a person waits."""
    said = [
        f"heartbeat {'begins' if order.alive else 'ends'}"
        if isinstance(order, Heartbeat)
        else f"{order.message} {', '.join(f'{name} = {value:g}' for name, value in order.signals.items())}"
        for order in move.link_orders
    ]
    what = f"sends {'; '.join(said)}" if said else "listens"
    return f"  (the bench {what} on the link, {plain(move.duration, 's', digits=2)})"


def _source(course: _Course, move: Source) -> Supplied:
    """Set a supply and read it back; a person who goes back from reading it is asked to set it again."""
    rig = course.rig
    while True:
        rig.source(move.channel, volts=move.volts, amps=move.amps)
        course.on.add(move.channel)
        rig.wait_until(rig.clock.now() + move.settle)
        with suppress(Back):
            state = rig.powered(move.channel)
            rig.bench.check()
            return Supplied(volts=state.volts, amps=state.amps, limiting=state.limiting)


def _stop_on_overcurrent(course: _Course) -> None:
    for channel in sorted(course.on):
        state = course.rig.bench.supply_state(channel)
        if state.on and state.limiting:
            where = course.procedure.channels[channel].terminals
            raise Aborted(f"over-current: the supply at {where} went into current limit at {state.amps:.3g} A")


def _not_reached(course: _Course, ending: tuple[Outcome, str] | None) -> list[Result]:
    """Return a *not tested* for every check of a step that was not performed to its end."""
    done = {result.check.id for result in course.judged}
    why = f"not reached: {ending[1] if ending else _gate(course)}"
    return [
        Result(
            check=check,
            value=None,
            uncertainty=None,
            coverage=None,
            verdict=Verdict.NOT_TESTED,
            note=why,
            origin=course.rig.origin,
        )
        for step in course.procedure.steps
        for check in step.checks
        if check.id not in done
    ]


def _gate(course: _Course) -> str:
    failed = _failed(course.judged)
    return f"{failed.check.title} failed before it" if failed else "the run ended before it"
