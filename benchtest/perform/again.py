"""What a person at the bench may want: the last request again, or to pass one by. Nothing else is ever done twice."""

from dataclasses import dataclass, field

from benchtest.errors import Aborted, RigError
from benchtest.instruments import Back, Skip
from benchtest.perform.course import Course, first_failed, judge, see
from benchtest.perform.moves import carry_out, limiting, overcurrent
from benchtest.procedure import AllOff, Look, Measure, Move, Set, Step
from benchtest.readings import Evidence, Skipped
from benchtest.results import Result


class GateFailed(Exception):
    """A reading of the gate before this step was taken back, and the gate fails now. Never leaves this package."""


@dataclass(slots=True)
class PassedBy:
    """Orders of a step that a person passed by."""

    reason: str = ""
    channels: set[int] = field(default_factory=set)

    def covers(self, move: Move) -> bool:
        """Return whether a move means nothing after them: a reading, or the way back of such an order."""
        way_back = isinstance(move, Set) and move.channel in self.channels
        return bool(self.reason) and (way_back or isinstance(move, Measure | Look))


def taken_back(course: Course, step: Step, failed: Result) -> bool:
    """Ask a person, before a failed gate ends the run, whether the last reading was a slip; and read it again."""
    person, (where, last) = course.rig.person, course.before or (None, None)
    if person is None or where is not step or not isinstance(last, Measure | Look):
        return False
    try:
        person.confirm(f"{failed.check.title} failed, and the run ends here (b to go back to the last reading)")
    except Back:
        _again(course, last)
        judge(course, step)
        return True
    return False


def tried(course: Course, step: Step, move: Move, passed: PassedBy) -> Evidence | None:
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


def _asked(course: Course, step: Step, move: Move) -> Evidence | None:
    """Carry out a move; who works the bench by hand may first want the request before it again."""
    while True:
        requests = _requests(course)
        try:
            seen = carry_out(course, move)
        except Back:
            _back(course, step)
        else:
            course.before = (step, move) if _requests(course) > requests and not isinstance(move, AllOff) else None
            return seen


def _requests(course: Course) -> int:
    return 0 if course.rig.person is None else course.rig.person.requests


def _back(course: Course, step: Step) -> None:
    """Carry out the request before this one again, when there is one and nothing has moved since."""
    before, course.before = course.before, None  # once: what came before that may have been another state of the board
    if before is None:
        assert course.rig.person is not None
        course.rig.person.tell("    No further back than this: one request, and nothing that the bench did itself.")
        return
    asked, move = before
    seen = _again(course, move)
    if seen is not None and limiting(course, move, seen):
        raise Aborted(overcurrent(course, move))
    if asked is not step:
        judge(course, asked)
        if asked.gate and first_failed(course.results[asked.id]):
            raise GateFailed


def _again(course: Course, move: Move) -> Evidence | None:
    """Carry out one request anew and return what was seen; the watcher is told of both, the later one counts."""
    while True:
        try:
            seen = carry_out(course, move)
        except Back:
            assert course.rig.person is not None
            course.rig.person.tell("    No further back than this.")
        except Skip as aside:
            seen = Skipped(reason=str(aside))
            break
        else:
            break
    if seen is not None and not isinstance(move, Set):
        see(course, move.name, seen)
    return seen
