"""What the records keep of a run: everything that is asked about later, taken from its run file."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from benchtest.canonical import digest, read_whole, to_canonical, wrong
from benchtest.procedure import Check, Interval
from benchtest.records.database.packed import Line, Reading
from benchtest.records.erased import read_erased
from benchtest.records.folder import read_run
from benchtest.records.notes import Change, read_changes
from benchtest.results import Instrument, Result, Run, Verdict

RESUMES: Final = re.compile(rb'"kind":"resumes"')
"""As a line of a journal has it; inside a text its quotes would be escaped."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Suspect:
    """What was probably wrong with a board that failed."""

    faults: str
    """Names, joined by ` or `; empty for an unknown fault."""
    sentence: str
    probability: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Record:
    """One run as the records keep it."""

    identity: str
    """SHA-256 over what a run is from its first moment on: the same before and after a pause."""
    number: str
    part: str
    serial: str
    started: datetime
    ended: datetime
    outcome: str
    reason: str
    paper: str
    """`certificate`, `report`, or empty when the folder holds neither."""
    origin: str
    phase: str
    revision: str
    variant: str
    """With its options."""
    technician: str
    work_order: str
    customer: str
    profile: str
    profile_digest: str
    fixture: str
    fixture_digest: str
    bench: str
    place: str
    software: str
    folder: str
    run_digest: str
    journal_head: str
    resumed: int
    """How often it went on after a pause: of two states of one run, the later has more."""
    simulated_faults: tuple[str, ...]
    instruments: tuple[Instrument, ...]
    lines: tuple[Line, ...]
    readings: tuple[Reading, ...]
    suspects: tuple[Suspect, ...]
    changes: tuple[Change, ...] = ()


def read_record(folder: Path) -> Record:
    """Return what the records keep of the finished run in a folder. Raises DocumentError when it cannot be read."""
    return record_of(read_run(folder), folder)


def record_of(run: Run, folder: Path) -> Record:
    """Return what the records keep of a run that lies in `folder`. Raises DocumentError when it contradicts itself."""
    content = read_whole(folder / "run.json")
    lines, readings = _readings(run, folder)
    job, procedure = run.job, run.procedure
    return Record(
        identity=identity(run),
        number=run.number,
        part=procedure.part,
        serial=job.serial,
        started=_moment(run.started, folder),
        ended=_moment(run.ended, folder),
        outcome=run.outcome.value,
        reason=run.reason,
        paper=_paper(folder),
        origin=run.origin.value,
        phase=job.phase,
        revision=job.revision,
        variant=", ".join(filter(None, [procedure.variant, *procedure.options])),
        technician=job.technician,
        work_order=job.work_order,
        customer=job.customer,
        profile=run.profile,
        profile_digest=run.profile_digest,
        fixture=run.fixture,
        fixture_digest=run.fixture_digest,
        bench=run.bench,
        place=run.place,
        software=run.software,
        folder=str(folder.resolve()),
        run_digest=digest(content),
        journal_head=run.journal_head,
        resumed=_resumed(folder),
        simulated_faults=run.faults,
        instruments=run.instruments,
        lines=lines,
        readings=readings,
        suspects=tuple(
            Suspect(faults=" or ".join(one.faults), sentence=one.sentence, probability=one.probability)
            for one in run.suspects
        ),
        changes=read_changes(folder, run.number),
    )


def _paper(folder: Path) -> str:
    """Return what kind of paper a run has, or had before it was deleted for a person's sake."""
    erased = read_erased(folder)
    names = ((name, f"{name}.json") for name in ("certificate", "report"))
    return next((name for name, file in names if (folder / file).exists() or file in erased), "")


def identity(run: Run) -> str:
    """Return what tells a run from every other: its number alone could come twice in many years."""
    first = [run.number, run.started, run.procedure.part, run.job.serial, run.profile_digest, run.fixture_digest]
    return digest(to_canonical(first))


def _moment(text: str, folder: Path) -> datetime:
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise wrong(folder / "run.json", f"{text!r} has no offset from UTC", hint="the file was changed by hand")
    return moment


def _resumed(folder: Path) -> int:
    journal = folder / "journal.jsonl"
    return len(RESUMES.findall(journal.read_bytes())) if journal.exists() else 0


def _readings(run: Run, folder: Path) -> tuple[tuple[Line, ...], tuple[Reading, ...]]:
    """Return the checklist of a run and what came of each line; a check that was not reached has no reading."""
    results = {result.check.id: result for result in run.results}
    asked = dict(_asked(run))
    unknown = next((name for name in results if name not in asked), None)
    if unknown is not None:
        raise wrong(folder / "run.json", f"has a result for {unknown!r}, which no step asks for")
    lines = tuple(_line(check, step) for step, check in asked.values())
    return lines, tuple(_reading(results.get(name)) for name in asked)


def _asked(run: Run) -> Iterator[tuple[str, tuple[str, Check]]]:
    for step in run.procedure.steps:
        for check in step.checks:
            yield check.id, (step.id, check)


def _line(check: Check, step: str) -> Line:
    wanted = check.permitted
    low, high, word = (wanted.low, wanted.high, "") if isinstance(wanted, Interval) else (None, None, wanted)
    return Line(check=check.id, step=step, title=check.title, unit=check.unit, low=low, high=high, word=word)


def _reading(result: Result | None) -> Reading:
    if result is None:
        return Reading(value=None, uncertainty=None, coverage=None, verdict=Verdict.NOT_TESTED, note="not reached")
    return Reading(
        value=result.value,
        uncertainty=result.uncertainty,
        coverage=result.coverage,
        verdict=result.verdict,
        note=result.note,
    )


def here(folder: str, root: Path) -> Path:
    """Return where a run folder is now: below `root` if it is there, for folders are moved and copied."""
    moved = root / Path(folder).name
    return moved if moved.is_dir() else Path(folder)
