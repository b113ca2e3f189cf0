"""A run and the case that it is made for: as found or as left by where the case stands, and of that board only."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from benchtest.canonical import digest, read_whole
from benchtest.depot.case import Case
from benchtest.depot.entries import Tested
from benchtest.depot.flow import Depot
from benchtest.depot.states import State, refused
from benchtest.errors import WrongMove
from benchtest.results import Outcome, Run

Phase = Literal["as found", "as left"]
PHASES: Final[Mapping[State, Phase]] = {
    State.TO_TEST: "as found",
    State.IN_ORDER: "as found",
    State.NOT_IN_ORDER: "as found",
    State.IN_REPAIR: "as left",
    State.AS_LEFT: "as left",
}
"""Where a run can be made, and what it is there."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Foreseen:
    """What a run under a work order will be."""

    case: Case
    phase: Phase
    customer: str
    """For the papers only: it is in no file of the run's evidence, so that it can be erased."""

    @property
    def as_found(self) -> str:
        """Name of the folder of the first run as found; empty where there is none."""
        return next((fact.folder for fact in self.case.all_of(Tested) if fact.phase == "as found"), "")


def foreseen(depot: Depot, work_order: str, *, part: str, serial: str | None, phase: str) -> Foreseen | None:
    """Return what a run will be; None when no board came in under that work order.

    Raises WrongMove when the case is not where it is tested, or is about another board or phase.
    """
    case = depot.known(work_order)
    if case is None:
        return None
    due = phase_of(case)
    _check_board(case, part=part, serial=serial or case.intake.serial)
    if phase and phase != due:
        raise refused(case.state, f"run {phase}", order=work_order, why=f"a run is {due} there")
    return Foreseen(case=case, phase=due, customer=depot.personal(work_order).customer)


def phase_of(case: Case) -> Phase:
    """Return what a run is now. Raises WrongMove, with the right move, when there is none to be made."""
    if case.state not in PHASES:
        raise refused(case.state, "run", order=case.work_order)
    return PHASES[case.state]


def _check_board(case: Case, *, part: str, serial: str) -> None:
    expected, found = (case.intake.part, case.intake.serial), (part, serial)
    if expected != found:
        raise WrongMove(
            f"work order {case.work_order} is for board {' '.join(expected)}, not for {' '.join(found)}\n"
            "(look at the label, and at the paper with the work order)"
        )


def linked(depot: Depot, run: Run, folder: Path) -> Case:
    """Enter a finished run into its case and return the case; a run that is there already changes nothing.

    Raises WrongMove when the run did not judge the board, names no work order or no technician, or cannot follow.
    """
    order = run.job.work_order
    if not order:
        raise WrongMove(f"run {run.number} was made under no work order (it cannot be linked)")
    case = depot.case(order)
    if run.number in {fact.run for fact in case.all_of(Tested)}:
        return case
    _check_board(case, part=run.procedure.part, serial=run.job.serial)
    if run.outcome in {Outcome.BENCH_FAULT, Outcome.ABORTED}:
        raise WrongMove(f"run {run.number} judged no board ({run.outcome}); make another one")
    if not run.job.technician:
        raise WrongMove(f"run {run.number} does not say who tested (give --technician to a run of the depot)")
    due = phase_of(case)
    if run.job.phase not in {"", due}:
        raise refused(case.state, f"run {run.job.phase}", order=order, why=f"a run is {due} there")
    return depot.enter(order, _tested(run, folder, due), by=run.job.technician)


def last_passed(case: Case) -> Tested | None:
    """Return the run on whose certificate a board is released; None where none passed."""
    return next((fact for fact in reversed(case.all_of(Tested)) if fact.outcome is Outcome.PASS), None)


def _tested(run: Run, folder: Path, phase: Phase) -> Tested:
    return Tested(
        phase=phase,
        run=run.number,
        folder=folder.resolve().name,
        run_digest=digest(read_whole(folder / "run.json")),
        profile=run.profile,
        profile_digest=run.profile_digest,
        outcome=run.outcome,
        origin=run.origin.value,
    )
