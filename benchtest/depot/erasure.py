"""Taking out what is personal of a case, so that everything technical still holds and can be checked.

What goes: the customer's name, contact and words, and photos, in the case's folder and in the database; and the name on
the papers of every run under that work order: PDF and page are deleted, a sealed JSON loses the line with the customer,
of which its seal keeps a salted digest. What stays: every entry with its commitment to what is gone, the evidence byte
for byte, the seal over everything else, and of each paper the number and SHA-256 that it had: the copy which the
customer holds can still be told from a forgery.

The entry is made first and the files are deleted after it. Whoever is killed in between runs the command again: what an
entry says is gone is deleted whenever it is found.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from fnmatch import fnmatch
from pathlib import Path
from typing import Final

from sqlalchemy import or_, select, text, update

from benchtest.canonical import digest, write_whole
from benchtest.certificate import words_of
from benchtest.depot.case import Case
from benchtest.depot.entries import Erased, Tested
from benchtest.depot.flow import Depot
from benchtest.depot.folder import folder_of
from benchtest.depot.personal import FIELDS, erase_personal
from benchtest.errors import BenchtestError, DocumentError
from benchtest.records.database.case_tables import CASES
from benchtest.records.database.opening import Records
from benchtest.records.database.tables import RUNS
from benchtest.records.erased import write_erased
from benchtest.records.folder import read_run
from benchtest.seal.withheld import lines_of, without

_PAPERS: Final = ("certificate.*", "certificate-*", "report.*", "report-*")


@dataclass(frozen=True, kw_only=True, slots=True)
class Taken:
    """What was erased of a case."""

    case: Case
    fields: tuple[str, ...]
    papers: int
    still: tuple[Path, ...]
    """Run folders that carry a customer's name in their own evidence, and keep it."""


def erasable(records: Records, *, customer: str = "", left_before: datetime | None = None) -> list[str]:
    """Return the work orders of boards that have left and of which something personal is still there."""
    something = or_(CASES.c.customer != "", CASES.c.contact != "", CASES.c.words != "", CASES.c.photos > 0)
    query = select(CASES.c.work_order).where(CASES.c.open == 0, something).order_by(CASES.c.closed)
    if customer:
        query = query.where(CASES.c.customer == customer)
    if left_before is not None:
        query = query.where(CASES.c.closed < left_before)
    with records.reading() as connection:
        return list(connection.scalars(query))


def still_here(records: Records, customer: str) -> list[str]:
    """Return the work orders of a customer whose boards are here, so that their data is still needed."""
    query = select(CASES.c.work_order).where(CASES.c.open == 1, CASES.c.customer == customer)
    with records.reading() as connection:
        return list(connection.scalars(query.order_by(CASES.c.received)))


def erase(depot: Depot, work_order: str, *, fields: Sequence[str] = FIELDS, reason: str, by: str) -> Taken:
    """Take out fields of a case. Raises WrongMove while the board is still here."""
    case = depot.case(work_order)
    papers = list(_papers(depot, case)) if "customer" in fields else []
    new = [name for name in fields if name in case.intake.sealed and name not in case.erased]
    if new or papers or not case.erased:
        gone = {f"{path.parent.name}/{path.name}": digest(path.read_bytes()) for path in papers}
        case = depot.enter(work_order, Erased(fields=tuple(new), reason=reason, papers=gone), by=by)
    carry_out(depot, case)
    return Taken(case=case, fields=tuple(new), papers=len(papers), still=tuple(_still_named(depot, case)))


def carry_out(depot: Depot, case: Case) -> None:
    """Delete whatever the entries of a case say is gone."""
    folder = folder_of(depot.root, case.work_order)
    if folder.is_dir():
        erase_personal(folder, case.erased)
    for fact in case.all_of(Erased):
        _delete(depot.root, fact)
    if "customer" in case.erased:
        with depot.records.writing() as connection:
            connection.execute(update(RUNS).where(RUNS.c.work_order == case.work_order).values(customer=""))


def _delete(root: Path, fact: Erased) -> None:
    """Delete papers, after leaving beside each what it was."""
    runs: dict[str, dict[str, str]] = {}
    for name, sha in fact.papers.items():
        run, _, paper = name.partition("/")
        if paper == Path(paper).name and is_paper(paper):
            runs.setdefault(run, {})[paper] = sha
    for run, papers in runs.items():
        folder = root / run
        there = {paper: sha for paper, sha in papers.items() if (folder / paper).is_file()}
        if there and folder.parent == root:
            write_erased(folder, papers, number=_number(folder), reason=fact.reason)
            for paper in there:
                _take_out(folder / paper)


def _take_out(paper: Path) -> None:
    """Leave of a sealed JSON what its seal still proves without the customer; delete any other paper."""
    label = _label(paper.parent)
    copy = None
    if paper.suffix == ".json":
        content = paper.read_bytes()
        try:
            copy = without(content, [label]) if label in lines_of(json.loads(content)) else None
        except (ValueError, KeyError, TypeError):
            copy = None
    if copy is not None:
        write_whole(paper, copy)
    elif not _is_withheld(paper):
        paper.unlink()


def _is_withheld(paper: Path) -> bool:
    """Return whether a paper is a sealed JSON without its customer."""
    if paper.suffix != ".json":
        return False
    try:
        lines = lines_of(json.loads(paper.read_bytes()))
    except ValueError:
        return False
    return "" in lines and _label(paper.parent) not in lines


def _label(folder: Path) -> str:
    """Return what the customer's line is called in the language of a run's papers."""
    try:
        return words_of(read_run(folder), folder).say("customer")
    except BenchtestError:
        return "Customer"


def is_paper(name: str) -> bool:
    """Return whether a file of a run folder is one of its papers."""
    return any(fnmatch(name, pattern) for pattern in _PAPERS)


def _number(folder: Path) -> str:
    try:
        return read_run(folder).number
    except DocumentError:
        return ""


def _runs(depot: Depot, case: Case) -> list[Path]:
    """Return the folders on this computer of every run under a work order, judged or not."""
    query = select(RUNS.c.folder).where(RUNS.c.work_order == case.work_order)
    with depot.records.reading() as connection:
        names = {Path(folder).name for folder in connection.scalars(query)}
    names |= {fact.folder for fact in case.all_of(Tested)}
    return sorted(depot.root / name for name in names if name == Path(name).name and (depot.root / name).is_dir())


def _papers(depot: Depot, case: Case) -> Iterator[Path]:
    """Yield the papers on this computer that name a customer."""
    for folder in _runs(depot, case):
        if "customer" not in case.intake.sealed and not _names_one(folder):
            continue
        for pattern in _PAPERS:
            yield from (path for path in sorted(folder.glob(pattern)) if not _is_withheld(path))


def _names_one(folder: Path) -> bool:
    """Return whether a run file names a customer."""
    try:
        return bool(read_run(folder).job.customer)
    except DocumentError:
        return False


def _still_named(depot: Depot, case: Case) -> Iterator[Path]:
    """Yield run folders whose run file names a customer: a run that was made outside of the depot, and linked later."""
    return (folder for folder in _runs(depot, case) if _names_one(folder))


def settle(records: Records) -> None:
    """Let the database write over what was taken out; on a server this is left to its own vacuuming."""
    with records.engine.connect() as connection:
        if records.on_server:
            connection.execution_options(isolation_level="AUTOCOMMIT").execute(text(f"VACUUM {CASES.name}"))
        else:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
