"""A run that builds on an earlier one: a paused run that goes on, a recorded run that stands in for the bench."""

from dataclasses import replace
from pathlib import Path

from benchtest.cli.documents import Prepared, prepare
from benchtest.cli.paper import paper_of
from benchtest.cli.session import Asked
from benchtest.errors import PlanError
from benchtest.fixture.wiring import people
from benchtest.results import Job
from benchtest.rig import Company, Virtual


def take_up(folder: Path) -> tuple[Prepared, Asked]:
    """Return what a paused run by hand was asked to do, to go on with it.

    Raises DocumentError when its journal does not hold, PlanError when the run is finished, was not by hand, or when a
    document has changed since it began.
    """
    from benchtest.records.interrupted import FINISHED, read_interrupted

    found = read_interrupted(folder)
    if found.outcome in FINISHED and (folder / "run.json").exists():  # without it the disk was full at the very end
        raise PlanError([f"{folder}: that run is finished, its outcome is {found.outcome} (begin a new one)"])
    begun = found.begun
    documents = Path(begun["profile_file"]), Path(begun["fixture_file"])
    prepared = prepare(*documents, begun["variant"], tuple(begun["options"]))
    digests = {"profile": prepared.profile.digest, "fixture": prepared.fixture.digest}
    changed = [name for name, digest in digests.items() if digest != begun[name]]
    if changed:
        raise PlanError(
            [f"{folder}: the {name} has changed since that run began (begin a new one)" for name in changed]
        )
    if found.procedure.unplaced() != prepared.procedure.unplaced():
        raise PlanError([f"{folder}: this version of benchtest plans that run differently (begin a new one)"])
    if not people(prepared.fixture.fixture, prepared.harness):
        raise PlanError([f"{folder}: only a run by hand can go on; this bench begins anew"])
    job = Job(**begun["job"])
    paper = paper_of(prepared, job, begun)
    ports = dict(begun["ports"])
    asked = Asked(job=job, ports=ports, virtual=Virtual(), root=folder.parent, taken_up=found, paper=paper)
    return replace(prepared, procedure=found.procedure), asked


def with_recorded_run(prepared: Prepared, asked: Asked) -> tuple[Prepared, Asked]:
    """Return the same for a recorded run where the bench is one (driver `replay`); everything else as it is."""
    name = prepared.harness.adapter
    about = prepared.fixture.fixture.adapters[name]
    port = asked.ports.get(name) or about.port
    if about.driver != "replay":
        return prepared, asked
    if not port:
        raise PlanError([f"adapter {name} replays a run folder (give one: --port {name}=runs/…)"])
    from benchtest.plan.replayed import replayed
    from benchtest.records.recalled import recall

    recalled, original = recall(Path(port))
    if recalled.serial != asked.job.serial:
        reason = f"the recorded run {recalled.name} is of board {recalled.serial!r}, not of {asked.job.serial!r}"
        raise PlanError([f"{reason} (a board is not certified with the readings of another)"])
    procedure = replayed(prepared.procedure, recalled.procedure)
    company = Company(recalled=recalled)
    return replace(prepared, procedure=procedure), replace(asked, company=company, original=original)
