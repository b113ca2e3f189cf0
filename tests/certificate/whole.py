"""A paper with everything on it, and little of each: for the browser, which looks at every element."""

from dataclasses import replace

from benchtest.readings import Origin, Readings
from benchtest.results import Attempt, Before, Depot, Override, Run, Suspected, Verdict, Was
from tests.records.finished import WELDED, finished_readings, finished_run

PARTS = frozenset({"K7", "main", "D20", "bench"})


def whole_run(*, passed: bool = False, origin: Origin = Origin.SIMULATED, parts: frozenset[str] = PARTS) -> Run:
    """Return a run as left of a few parts, with its run as found, attempts, depot, suspects and an override."""
    run = finished_run(welded=None if passed else WELDED, origin=origin)
    steps = tuple(
        replace(step, checks=tuple(check for check in step.checks if check.subject in parts))
        for step in run.procedure.steps
    )
    results = tuple(one for one in run.results if one.check.subject in parts)
    suspect = Suspected(
        faults=("K7 contact welded",), probability=0.87, sentence="It welded.", repair="replace relay K7"
    )
    return replace(
        run,
        procedure=replace(run.procedure, steps=steps),
        results=results,
        job=replace(run.job, received="2026-03-10", condition="dusty", straps="X10 1-2"),
        before=as_found(),
        attempts=(Attempt(folder="a", started="2026-03-13T09:00:00+01:00", outcome="fail", phase="as found"),),
        depot=Depot(name="Lock Lane Board Repair", address=("4 Lock Lane",), terms=("Warranty: twelve months.",)),
        suspects=() if passed else (suspect,),
        next_checks=() if passed else ("measure ohms across K7", "less than 1 Ω: K7 contact welded"),
        overrides=(Override(by="C. Head", reason="urgent", of=("instrument daq: calibration was due on 2026-03-01",)),),
        second_person=True,
    )


def as_found() -> Before:
    """Return the same board before its repair, with a welded relay."""
    run = finished_run(welded=WELDED)
    return Before(
        number="BT-20260313-00000001",
        id="00000001",
        digest="ef" * 32,
        ended="2026-03-13T09:00:42+01:00",
        outcome=run.outcome,
        reason=run.reason,
        origin=run.origin,
        job=replace(run.job, phase="as found", straps="X10 3-4"),
        variant=run.procedure.variant,
        options=run.procedure.options,
        results={one.check.id: was(one.check.title, one.check.unit, one.verdict) for one in run.results},
    )


def was(title: str, unit: str, verdict: Verdict) -> Was:
    """Return what one check gave then, without a value."""
    return Was(title=title, value=None, uncertainty=None, unit=unit, verdict=verdict)


def whole_readings() -> Readings:
    """Return the evidence of the same parts."""
    found = finished_readings(welded=WELDED)
    kept = {name: one for name, one in found.evidence.items() if set(name.split(".")) & PARTS}
    return replace(found, evidence=kept)
