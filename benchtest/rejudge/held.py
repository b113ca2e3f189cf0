"""A new profile held against what a run did: which of its readings the run has, and under which limits they stand now.

The run's own wires carry the plan, so that channel numbers agree. A reading of the new profile is found in the run when
there is one of the same name, at the same terminals, of the same kind, taken in the same state of the board
(`rejudge.situation`). A new question can be answered too, from the recordings alone, where the very same orders were
recorded with the channels that it needs. All else that the new profile asks was not looked at, and stays *not tested*.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from benchtest.errors import PlanError
from benchtest.plan import plan
from benchtest.plan.on_paper import paper_fixture, wired_as, worked_by_hand
from benchtest.procedure import Absent, Check, LampCode, Procedure, Record, Step
from benchtest.profile import LoadedProfile
from benchtest.profile.fitting import fit
from benchtest.readings import Origin
from benchtest.rejudge.situation import Situation, holds, made_again, nature, read_in, situations
from benchtest.results import Result, Verdict


@dataclass(frozen=True, kw_only=True)
class Held:
    """What a new profile asks of one kind of old run."""

    asked: Procedure
    """Its checks have the new limits; what they read is what was read then."""
    origin: Mapping[str, str]
    """Check → the one of the run that answers it; checks that nothing answers are left out."""
    before: Procedure
    """What the run was asked."""
    fresh: frozenset[str] = frozenset()
    """Checks that the run was not asked, and that its recordings can answer all the same."""

    @cached_property
    def checks(self) -> tuple[Check, ...]:
        return tuple(check for step in self.asked.steps for check in step.checks)

    @cached_property
    def was(self) -> Mapping[str, Check]:
        """The run's own checks, by identifier."""
        return {check.id: check for step in self.before.steps for check in step.checks}

    @cached_property
    def only_limits(self) -> bool:
        """Whether stored values decide all that the run was asked: only limits, words and the guard band are others."""
        same_coverage = self.asked.decision.coverage == self.before.decision.coverage
        return same_coverage and all(
            isinstance(check.measurand, Absent) or check.measurand == self.was[self.origin[check.id]].measurand
            for check in self.checks
            if check.id not in self.fresh
        )

    @cached_property
    def altered(self) -> tuple[Check, ...]:
        """Checks that the run answers and whose limit or expected word is another now."""
        answered = (check for check in self.checks if check.id in self.origin)
        return tuple(check for check in answered if check.permitted != self.was[self.origin[check.id]].permitted)

    @cached_property
    def deciding(self) -> tuple[Check, ...]:
        """Checks whose stored word may be another now: those with other limits, or all where the rule is another."""
        now, then = self.asked.decision, self.before.decision
        if (now.rule, now.guard) == (then.rule, then.guard):
            return self.altered
        return tuple(check for check in self.checks if check.id in self.origin)

    @cached_property
    def same_sum(self) -> bool:
        """Whether the run has an answer to every question, and they are summed up as they were then."""
        same = self.asked.decision.accept_conditional == self.before.decision.accept_conditional
        return same and len(self.origin) == len(self.checks)

    @cached_property
    def passed(self) -> Mapping[str, Result]:
        """A result for each check that passed as before, without its value."""
        return {
            check.id: Result(
                check=check, value=None, uncertainty=None, coverage=None, verdict=Verdict.PASS, origin=Origin.REPLAYED
            )
            for check in self.checks
        }

    @cached_property
    def dropped(self) -> tuple[Check, ...]:
        """What the run looked at and the new profile asks no more."""
        kept = set(self.origin.values())
        return tuple(check for check in self.was.values() if check.id not in kept)

    def as_performed(self, run: Procedure) -> Procedure:
        """Return the procedure that judges the evidence of a run; `run` is its own, with the timing that it had."""
        moves = tuple(move for step in run.steps for move in step.moves)
        source = Step(id="as it was performed", title="", moves=moves, checks=(), duration=0.0)
        return replace(
            run, decision=self.asked.decision, steps=(*self.asked.steps, source), unresolved=self.asked.unresolved
        )


def hold(loaded: LoadedProfile, run: Procedure) -> Held:
    """Return what a profile asks of a run that was made to `run`.

    Raises PlanError where the profile is for another board, or has no such variant or option.
    """
    board = loaded.profile.board
    if board.part != run.part:
        raise PlanError([f"the run is of {run.part}, and this profile is for {board.part}"])
    try:
        fitted = fit(loaded.profile, variant=run.variant, options=run.options)
    except ValueError as problem:
        raise PlanError([f"the run is of a board that this profile does not know: {problem}"]) from None
    planned = plan(
        fitted,
        database=loaded.database,
        fixture=paper_fixture(by_hand=worked_by_hand(run)),
        harness=wired_as(run),
        place=loaded.place,
        partial=True,
    )
    return _held(planned, run)


def _held(planned: Procedure, run: Procedure) -> Held:
    recorded, again = _Recorded(run), made_again(planned, run)
    wanted = situations(planned)
    origin: dict[str, str] = {}
    fresh: set[str] = set()
    steps = []
    for step in planned.steps:
        checks = []
        for check in step.checks:
            found = recorded.answer(check, wanted.get(check.id))
            record = again.get(getattr(check.measurand, "evidence", ""))
            if isinstance(found, Check):
                origin[check.id] = found.id
                checks.append(_answered(check, found))
            elif record is not None and holds(record, check.measurand):
                fresh.add(check.id)
                checks.append(_read_from(check, record))
            else:
                checks.append(replace(check, measurand=Absent(reason=found)))
        steps.append(replace(step, moves=(), checks=tuple(checks)))
    return Held(asked=replace(planned, steps=tuple(steps)), origin=origin, before=run, fresh=frozenset(fresh))


def _read_from(check: Check, record: Record) -> Check:
    """Return a check that is read from the run's recording of the same orders."""
    what: Any = check.measurand
    return replace(check, measurand=replace(what, evidence=record.name))


def _answered(check: Check, found: Check) -> Check:
    """Return a check that reads what was read then."""
    what = found.measurand
    if isinstance(what, LampCode) and isinstance(check.measurand, LampCode):
        what = replace(what, rhythm=check.measurand.rhythm)
    return replace(check, measurand=what)


class _Recorded:
    """The checks of a run by their nature, each of which answers one question at most."""

    def __init__(self, run: Procedure) -> None:
        self._by_nature: dict[str, list[Check]] = defaultdict(list)
        for check in (check for step in run.steps for check in step.checks):
            self._by_nature[nature(check.id)].append(check)
        self._situations = situations(run)
        self._taken: set[str] = set()

    def answer(self, check: Check, wanted: Situation | None) -> Check | str:
        """Return the check of the run that answers this one, or why none does."""
        named = self._by_nature.get(nature(check.id), [])
        fitting, why = self._fitting(check, wanted, named)
        free = [one for one in fitting if one.id not in self._taken]
        found = next((one for one in free if one.id == check.id), free[0] if free else None)
        if found is None:
            return why or "not looked at as often in the recorded run"
        self._taken.add(found.id)
        return found

    def _fitting(self, check: Check, wanted: Situation | None, named: Iterable[Check]) -> tuple[list[Check], str]:
        why = "not looked at in the recorded run"
        fitting = []
        for one in named:
            problem = self._differs(check, wanted, one)
            if problem:
                why = problem
            else:
                fitting.append(one)
        return fitting, "" if fitting else why

    def _differs(self, check: Check, wanted: Situation | None, one: Check) -> str:
        if one.probe != check.probe:
            return f"asked at {check.probe}, and recorded at {one.probe}"
        if isinstance(one.measurand, Absent) or isinstance(check.measurand, Absent):
            return ""  # nothing was read then, or could be; the run says why
        if one.unit != check.unit or read_in(one.measurand) != read_in(check.measurand):
            return "read in another way in the recorded run"
        if wanted is not None and self._situations.get(one.id) != wanted:
            return "looked at in another state of the board in the recorded run"
        return ""
