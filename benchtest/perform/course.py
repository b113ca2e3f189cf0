"""Where a performance stands: what it works on, what was seen and decided so far, and who is told."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from benchtest.judge import judge_step
from benchtest.procedure import Move, Procedure, Step
from benchtest.readings import Evidence, Readings, Supplied, Value
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


@dataclass(slots=True)
class Course:
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


def remark(course: Course) -> None:
    """Tell what was remarked since the last time."""
    remarks = course.rig.watch.remarks
    while remarks:
        course.watcher.remarked(remarks.pop(0), course.rig.clock.now())


def judge(course: Course, step: Step) -> None:
    """Judge a step from everything that was seen, and tell."""
    results = judge_step(step, course.procedure, course.readings)
    course.results[step.id] = results
    course.watcher.judged(step, results, course.rig.clock.now())


def see(course: Course, name: str, evidence: Evidence) -> None:
    """Take evidence in under its name, and tell."""
    course.evidence[name] = evidence
    course.watcher.seen(name, evidence)


def unread(course: Course, step: Step) -> Result | None:
    """Return the first result of a step for which the bench gave no number where one was asked for, if there is one.

    What a person passed by, or what this bench cannot read at all, is known to be missing; this is a bench that does
    not know what it reads, and nothing is fed on its word.
    """
    return next((result for result in course.results[step.id] if _is_no_number(course, result)), None)


def _is_no_number(course: Course, result: Result) -> bool:
    match course.evidence.get(getattr(result.check.measurand, "evidence", "")):
        case Value(value=value):
            return math.isnan(value)
        case Supplied(volts=volts, amps=amps):
            return math.isnan(volts) or math.isnan(amps)
        case _:
            return False


def first_failed(results: tuple[Result, ...]) -> Result | None:
    """Return the first result that failed, if one did."""
    return next((result for result in results if result.verdict is Verdict.FAIL), None)
