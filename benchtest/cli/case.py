"""What the depot knows of a board that is about to be tested: whose it is, what this run is, and what its like had.

A bench tests whatever becomes of the records: what cannot be asked or entered is said, and the run goes on.
"""

import os
from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchtest.cli.documents import Prepared
from benchtest.cli.records_options import address
from benchtest.cli.words import say
from benchtest.errors import BenchtestError, RecordsError, WrongMove
from benchtest.records.address import VARIABLE, Address
from benchtest.results import Job, Run

if TYPE_CHECKING:
    from benchtest.cli.session import Asked, Held
    from benchtest.depot.flow import Depot
    from benchtest.depot.links import Foreseen
    from benchtest.diagnose.library import Library


@contextmanager
def _opened(records: Address, root: Path) -> Iterator["Depot | None"]:
    """Open the depot beside the runs, or on a server; None where there is none."""
    if records.file is None or not (records.server or (root / "depot").is_dir()):
        yield None
        return
    from benchtest.depot.flow import Depot
    from benchtest.records.database.opening import open_records

    with open_records(records) as found:
        yield Depot(root=root, records=found)


def serial_of(records: Address, root: Path, work_order: str) -> str | None:
    """Return the serial number of the board that came in under a work order; None where nobody knows it."""
    if not work_order:
        return None
    with _opened(records, root) as depot:
        case = None if depot is None else depot.known(work_order)
        return None if case is None else case.intake.serial


def with_case(prepared: Prepared, asked: "Asked") -> "Asked":
    """Return what was asked for with what the depot knows of its work order; unchanged where it knows none.

    Raises WrongMove when the board is not to be tested now, click's UsageError when a run of the depot lacks a name.
    """
    job = asked.job
    if not job.work_order:
        return asked
    from benchtest.depot.links import foreseen

    part = prepared.procedure.part
    try:
        with _opened(asked.records, asked.root) as depot:
            if depot is None:
                return asked
            found = foreseen(depot, job.work_order, part=part, serial=job.serial, phase=job.phase)
    except RecordsError as problem:
        say(f"the depot cannot be asked, so this run does not link itself: {problem}", err=True)
        return asked
    if found is None:
        say(f"work order {job.work_order} is not known to the depot: this run is linked to nothing", err=True)
        return asked
    if job.customer:
        raise click.UsageError(f"--customer: the depot knows whose board work order {job.work_order} is (leave it out)")
    if not job.technician:
        raise click.UsageError("--technician is missing: a run of the depot says who tested")
    job = _filled(job, found, prepared.profile.profile.board.revisions)
    asked = replace(asked, job=job, customer=found.customer, in_depot=True)
    return _with_as_found(asked, found, part) if found.phase == "as left" else asked


def _filled(job: Job, found: "Foreseen", revisions: Collection[str]) -> Job:
    """Return a job with what the intake says where nothing else was given."""
    intake = found.case.intake
    return replace(
        job,
        phase=found.phase,
        revision=job.revision or (intake.revision if intake.revision in revisions else ""),
        condition=job.condition or intake.condition,
        straps=job.straps or (intake.straps if found.phase == "as found" else ""),
        received=job.received or found.case.entries[0].moment.date().isoformat(),
    )


def _with_as_found(asked: "Asked", found: "Foreseen", part: str) -> "Asked":
    """Return what was asked for with the run as found beside it, for the table of before and after."""
    folder = asked.root / found.as_found
    if asked.paper.after is not None or not found.as_found or not folder.is_dir():
        return asked
    from benchtest.records.attempts import as_found

    try:
        before = as_found(folder, part=part, serial=asked.job.serial)
    except BenchtestError as problem:
        say(f"the run as found is not set beside this one: {problem}", err=True)
        return asked
    return replace(asked, paper=replace(asked.paper, after=folder, before=before))


def on_paper(run: Run, folder: Path) -> Run:
    """Return a finished run as its papers show it: with the customer whom the depot knows, where the run names none."""
    order = run.job.work_order
    if run.job.customer or not order:
        return run
    root = folder.resolve().parent
    with _opened(address(os.environ.get(VARIABLE, ""), root), root) as depot:
        customer = "" if depot is None or depot.known(order) is None else depot.personal(order).customer
    return replace(run, job=replace(run.job, customer=customer))


def link_run(held: "Held", asked: "Asked", *, err: bool) -> None:
    """Enter a finished run that judged its board into its case; one that cannot be entered is kept all the same."""
    from benchtest.depot.links import linked
    from benchtest.results import Outcome

    if held.run.outcome in {Outcome.BENCH_FAULT, Outcome.ABORTED}:
        say(f"work order {held.run.job.work_order}: not linked, for the board was not judged", err=True)
        return
    try:
        with _opened(asked.records, asked.root) as depot:
            assert depot is not None
            case = linked(depot, held.run, held.folder)
    except (BenchtestError, OSError, WrongMove) as problem:
        say(f"NOT linked to its work order: {problem}. The run is kept: benchtest depot link {held.folder}", err=True)
    else:
        say(f"work order {case.work_order}: {held.run.job.phase}; the board is now {case.state}", err=err)


def own_repairs(records: Address, part: str, library: "Library") -> Mapping[str, int]:
    """Return how often each fault of a library was found in own repairs of a board; none where nobody knows."""
    if records.file is None or not (records.server or records.file.exists()):
        return {}
    from benchtest.depot import questions
    from benchtest.records.database.opening import open_records

    try:
        with open_records(records) as found:
            counts = questions.own_repairs(found, part=part)
    except RecordsError as problem:
        say(f"own repairs are not counted: {problem}", err=True)
        return {}
    names = {one.fault.casefold(): one.fault for one in library.signatures}
    own: Counter[str] = Counter()
    for text, count in counts.items():
        if text.casefold() in names:
            own[names[text.casefold()]] += count
    return own
