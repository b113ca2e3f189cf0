"""procedure → readings, on a rig. Step by step: move, read, judge, tell; a failed gate ends it, a bench fault ends it.

Results are told as they come, so that a journal is whole up to the moment the plug is pulled. Nothing is repeated
silently: every move is carried out once. What was not reached is *not tested*, by name.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import assert_never

from benchtest.errors import Aborted, RigError
from benchtest.judge import conclude, judge_step
from benchtest.procedure import AllOff, Measure, Move, Procedure, Record, Set, Source, Step
from benchtest.readings import Evidence, Left, Readings, Supplied, Value
from benchtest.results import Outcome, Result, SafeState, Verdict
from benchtest.rig import Rig


@dataclass(frozen=True, kw_only=True, slots=True)
class Watcher:
    """Who is told what happens while it happens."""

    begins: Callable[[Step, float], None] = lambda _step, _at: None
    """A step begins, at a moment of the rig's clock."""
    seen: Callable[[str, Evidence], None] = lambda _name, _evidence: None
    """Evidence has come in under a name."""
    judged: Callable[[Step, tuple[Result, ...], float], None] = lambda _step, _results, _at: None
    """A step was performed and judged."""
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


@dataclass(slots=True)
class _Course:
    """Where a performance stands."""

    procedure: Procedure
    rig: Rig
    watcher: Watcher
    evidence: dict[str, Evidence] = field(default_factory=dict)
    results: list[Result] = field(default_factory=list)
    on: set[int] = field(default_factory=set)
    """Supplies that were switched on."""
    complete: bool = False

    @property
    def readings(self) -> Readings:
        return Readings(origin=self.rig.origin, evidence=self.evidence)


def perform(procedure: Procedure, rig: Rig, watcher: Watcher) -> Performed:
    """Carry out the procedure and return what was seen and decided; a bench fault or an abort is an outcome too."""
    course = _Course(procedure, rig, watcher)
    ending: tuple[Outcome, str] | None = None
    try:
        _all_steps(course)
    except RigError as problem:
        ending = Outcome.BENCH_FAULT, f"{problem}; the board is not judged"
    except Aborted as stop:
        ending = Outcome.ABORTED, str(stop)
    except KeyboardInterrupt:
        ending = Outcome.ABORTED, "stopped by the operator"
    safe = rig.make_safe(procedure)
    results = (*course.results, *_not_reached(course, ending))
    outcome, reason = ending or conclude(results, procedure.decision, complete=course.complete)
    watcher.ended(outcome, reason, safe)
    return Performed(readings=course.readings, results=results, outcome=outcome, reason=reason, safe=safe)


def _all_steps(course: _Course) -> None:
    for step in course.procedure.steps:
        course.watcher.begins(step, course.rig.clock.now())
        course.rig.begins(step)
        _moves(course, step)
        results = judge_step(step, course.procedure, course.readings)
        course.results += results
        course.watcher.judged(step, results, course.rig.clock.now())
        if step.gate and any(result.verdict is Verdict.FAIL for result in results):
            return
    course.complete = True


def _moves(course: _Course, step: Step) -> None:
    """Carry out a step's moves; one that ends in current limit ends the step."""
    for move in step.moves:
        try:
            seen = _carry_out(course, move)
        except RigError as problem:
            raise type(problem)(f"during {step.title!r}: {problem}") from problem
        if seen is None or isinstance(move, Set):
            continue
        name, evidence = move.name, seen
        course.evidence[name] = evidence
        course.watcher.seen(name, evidence)
        if isinstance(move, Source) and isinstance(evidence, Supplied) and evidence.limiting and move.stop_if_limiting:
            course.rig.bench.off(move.channel)  # a supply in current limit means stop, not turn it up
            return


def _carry_out(course: _Course, move: Move) -> Evidence | None:
    rig = course.rig
    rig.heed()
    match move:
        case Source():
            rig.source(move.channel, volts=move.volts, amps=move.amps)
            course.on.add(move.channel)
            rig.wait_until(rig.clock.now() + move.settle)
            state = rig.powered(move.channel)
            rig.bench.check()
            return Supplied(volts=state.volts, amps=state.amps, limiting=state.limiting)
        case Set():
            rig.bench.set(move.channel, move.value)
            return None
        case Measure():
            return Value(value=rig.bench.measure(move.channel))
        case Record():
            recorded = rig.record(move, course.procedure.link)
            rig.bench.check()
            _stop_on_overcurrent(course)
            return recorded
        case AllOff():
            course.on.clear()
            rig.make_safe(course.procedure)
            return Left(channels=tuple(sorted(rig.bench.energised())))
        case _:
            assert_never(move)


def _stop_on_overcurrent(course: _Course) -> None:
    for channel in sorted(course.on):
        state = course.rig.bench.supply_state(channel)
        if state.on and state.limiting:
            where = course.procedure.channels[channel].terminals
            raise Aborted(f"over-current: the supply at {where} went into current limit at {state.amps:.3g} A")


def _not_reached(course: _Course, ending: tuple[Outcome, str] | None) -> list[Result]:
    """Return a *not tested* for every check of a step that was not performed to its end."""
    done = {result.check.id for result in course.results}
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
    failed = next((result for result in course.results if result.verdict is Verdict.FAIL), None)
    return f"{failed.check.title} failed before it" if failed else "the run ended before it"
