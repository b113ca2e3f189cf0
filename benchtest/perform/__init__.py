"""procedure → readings, on a rig. Step by step: move, read, judge, tell; a failed gate ends it, a bench fault ends it.

A gate that could not be read ends it too: nothing is fed on the word of a meter that gives no number. Results are told
as they come, so that a journal is whole up to the moment the plug is pulled. Nothing is repeated silently: every move
is carried out once. What was not reached is *not tested*, by name.
"""

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from benchtest.errors import Aborted, RigError
from benchtest.judge import conclude, judge_step
from benchtest.perform.again import GateFailed, PassedBy, taken_back, tried
from benchtest.perform.course import Course, Kept, Performed, Watcher, first_failed, judge, remark, see, unread
from benchtest.perform.moves import limiting, overcurrent
from benchtest.procedure import Procedure, Set, Step
from benchtest.readings import Readings, Skipped
from benchtest.results import Outcome, Result, Verdict
from benchtest.rig import Rig

__all__ = ["Kept", "Performed", "Watcher", "perform", "stood_down"]


def perform(
    procedure: Procedure, rig: Rig, watcher: Watcher, kept: Mapping[str, Kept] = MappingProxyType({})
) -> Performed:
    """Carry out the procedure and return what was seen and decided; a bench fault or an abort is an outcome too.

    `kept` has the steps of a paused run that are not performed again, by their ids.
    """
    course = Course(procedure, rig, watcher, kept)
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
    results = tuple(_not_reached(Course(procedure, rig, watcher, {}), (outcome, reason)))
    watcher.ended(outcome, reason, safe)
    readings = Readings(origin=rig.origin, evidence={})
    return Performed(readings=readings, results=results, outcome=outcome, reason=reason, safe=safe)


def _all_steps(course: Course) -> None:
    for step in course.procedure.steps:
        if step.id in course.kept:
            _keep(course, step, course.kept[step.id])
        else:
            course.watcher.begins(step, course.rig.clock.now())
            course.rig.begins(step)
            try:
                _moves(course, step)
            except GateFailed:
                return
            finally:
                remark(course)
            judge(course, step)
        while step.gate and (failed := first_failed(course.results[step.id])):
            if not taken_back(course, step, failed):
                return
        if step.gate and unread(course, step):
            return
    course.complete = True


def _keep(course: Course, step: Step, kept: Kept) -> None:
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


def _moves(course: Course, step: Step) -> None:
    """Carry out a step's moves; one that ends in current limit ends the step.

    After an order that was passed by, nothing is read in this step; what was put on is still taken off.
    """
    passed = PassedBy()
    for move in step.moves:
        seen = Skipped(reason=passed.reason) if passed.covers(move) else tried(course, step, move, passed)
        if seen is None or isinstance(move, Set):
            continue
        see(course, move.name, seen)
        if limiting(course, move, seen):
            if not step.gate:  # what comes after would blame the board for a supply that is off
                raise Aborted(overcurrent(course, move))
            return


def _not_reached(course: Course, ending: tuple[Outcome, str] | None) -> list[Result]:
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


def _gate(course: Course) -> str:
    if failed := first_failed(course.judged):
        return f"{failed.check.title} failed before it"
    gates = [step for step in course.procedure.steps if step.gate and step.id in course.results]
    missing = next((result for step in gates if (result := unread(course, step))), None)
    return f"{missing.check.title} could not be read before it" if missing else "the run ended before it"
