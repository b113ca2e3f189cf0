"""A case from intake to return: every move is checked, written to the case's file and to the records, or not made.

Order of things: the database is asked first and holds the case for this writer; the line goes to the file and onto the
disk; the database keeps its part last. Whoever is killed in between has acknowledged nothing: the line is then in the
file only, and the next command on that case takes it into the database, or puts it aside when another bench made an
entry meanwhile. Two benches cannot make the same move: the second finds the case where the first has left it.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Final

import filelock
from sqlalchemy import Connection, select
from sqlalchemy.exc import IntegrityError

from benchtest.canonical import wrong
from benchtest.clock import wall_time
from benchtest.depot.case import Case, followed
from benchtest.depot.entries import BEGINNING, Entry, Fact, Intake, read_entry
from benchtest.depot.folder import (
    append,
    case_folders,
    compared,
    folder_of,
    intakes_cut_off,
    keep_lines,
    read_lines,
)
from benchtest.depot.index import board_id, case_of, lines_of, personal_of, reckon_returns, store, taken_up
from benchtest.depot.personal import (
    FIELDS,
    NOTHING,
    Personal,
    Photo,
    commitments,
    differing,
    erase_personal,
    read_personal,
    salted,
    write_personal,
)
from benchtest.errors import DocumentError, RecordsError, WrongMove
from benchtest.records.database.case_tables import CASES
from benchtest.records.database.opening import Records
from benchtest.records.folder import DEPOT

PATIENCE: Final = 10.0
"""Seconds to wait for another depot command on this computer."""
AT_ONCE: Final = 500
"""Cases that are restored in one transaction."""
QUICKER: Final = "somebody else made an entry for that board at the same moment (look where it stands now)"


@dataclass(frozen=True, kw_only=True)
class Depot:
    """The cases of one folder of runs and of the records over it."""

    root: Path
    """Folder of all runs."""
    records: Records
    now: Callable[[], datetime] = wall_time

    def case(self, work_order: str) -> Case:
        """Return a case as it stands. Raises WrongMove when no board came in under that work order."""
        with self._writing(work_order) as (_, case):
            if case is None:
                raise unknown(work_order)
            return case

    def known(self, work_order: str) -> Case | None:
        """Return a case as it stands; None when no board came in under that work order."""
        with self._writing(work_order) as (_, case):
            return case

    def personal(self, work_order: str) -> Personal:
        """Return what is personal of a case: of this computer where it has it, else of the records."""
        found = read_personal(folder_of(self.root, work_order))
        if found.given:
            return found
        with self.records.reading() as connection:
            return personal_of(connection, work_order)

    def take_in(
        self,
        work_order: str,
        intake: Intake,
        *,
        by: str,
        personal: Personal,
        photos: Sequence[tuple[Photo, bytes]] = (),
    ) -> Case:
        """Begin a case. Raises WrongMove when the work order is taken, or the board is in the depot already."""
        kept = salted(personal)
        with self._writing(work_order) as (connection, case):
            if case is not None:
                raise WrongMove(
                    f"work order {work_order} is taken: {case.intake.part} {case.intake.serial}, {case.state}\n"
                    "(a board that comes back gets a work order of its own)"
                )
            self._refuse_second_stay(connection, intake)
            fact = replace(intake, sealed=commitments(kept))
            return self._enter(connection, None, self._entry(work_order, None, fact, by), kept, photos)

    def enter(self, work_order: str, fact: Fact, *, by: str) -> Case:
        """Make an entry and return the case with it. Raises WrongMove, with the right move, when it cannot follow."""
        with self._writing(work_order) as (connection, case):
            if case is None:
                raise unknown(work_order)
            return self._enter(connection, case, self._entry(work_order, case, fact, by))

    def _entry(self, work_order: str, case: Case | None, fact: Fact, by: str) -> Entry:
        number, previous = (1, BEGINNING) if case is None else (len(case.entries) + 1, case.head)
        at = self.now().isoformat(timespec="milliseconds")
        return Entry(work_order=work_order, number=number, at=at, by=by, fact=fact, previous=previous)

    def _enter(
        self,
        connection: Connection,
        case: Case | None,
        entry: Entry,
        personal: Personal = NOTHING,
        photos: Sequence[tuple[Photo, bytes]] = (),
    ) -> Case:
        after = followed(case, entry)
        store(connection, after, personal)
        folder = folder_of(self.root, entry.work_order)
        if personal.given:
            folder.mkdir(parents=True, exist_ok=True)
            write_personal(folder, personal, photos)
        append(folder, entry.line())
        return after

    def _refuse_second_stay(self, connection: Connection, intake: Intake) -> None:
        board = board_id(connection, part=intake.part, serial=intake.serial)
        query = select(CASES.c.work_order, CASES.c.state).where(CASES.c.board_id == board, CASES.c.open == 1)
        here = connection.execute(query).first()
        if here is not None:
            raise WrongMove(
                f"{intake.part} {intake.serial} is in the depot already: work order {here.work_order}, {here.state}\n"
                f"(go on with that one: benchtest depot state {here.work_order})"
            )

    def restore(self) -> "Restored":
        """Bring into the records what the cases' files have beyond them: all of it, when the records are new.

        A case that cannot be read is told of and left out; the others come in. What an intake that was cut off before
        its entry has left of a customer is deleted.
        """
        with self._alone():
            for folder in intakes_cut_off(self.root):
                erase_personal(folder, FIELDS)
        entries, problems, restored = 0, list[str](), list[str]()
        folders = list(case_folders(self.root))
        for start in range(0, len(folders), AT_ONCE):
            with self._alone(), self.records.writing() as connection:
                for folder in folders[start : start + AT_ONCE]:
                    try:
                        with connection.begin_nested():
                            order, added = self._restored(connection, folder)
                    except (DocumentError, IntegrityError) as problem:
                        problems.append(f"{folder}: left out: {_first_line(problem)}")
                        continue
                    entries += added
                    restored += [order] if added else []
                    problems += [f"{folder}: {name} is not what the intake sealed" for name in _spoilt(folder)]
        with self._alone(), self.records.writing() as connection:
            reckon_returns(connection, restored)
        return Restored(cases=len(restored), entries=entries, problems=tuple(problems))

    def _restored(self, connection: Connection, folder: Path) -> tuple[str, int]:
        """Bring in what a folder has beyond the records; return its work order, and how many entries."""
        own, _ = read_lines(folder)
        if not own:
            return "", 0
        work_order = read_entry(own[0]).work_order
        before = len(lines_of(connection, work_order))
        case = self._made_whole(connection, work_order, folder)
        assert case is not None
        return work_order, len(case.entries) - before

    @contextmanager
    def _writing(self, work_order: str) -> Iterator[tuple[Connection, Case | None]]:
        """Hold a case, made the same in its file and in the records; None where there is none yet."""
        folder = folder_of(self.root, work_order)
        with self._alone():
            try:
                with self.records.writing() as connection:
                    yield connection, self._made_whole(connection, work_order, folder)
            except IntegrityError as cause:
                raise WrongMove(QUICKER) from cause
            except RecordsError as cause:
                if isinstance(cause.__cause__, IntegrityError):
                    raise WrongMove(QUICKER) from cause
                raise

    def _made_whole(self, connection: Connection, work_order: str, folder: Path) -> Case | None:
        own, _ = read_lines(folder)
        known = lines_of(connection, work_order)
        found = compared(own, known)
        keep_lines(folder, found)
        try:
            case = case_of(known)
            case = taken_up(connection, case, found.up, read_personal(folder)) if found.up else case
        except (ValueError, WrongMove) as cause:
            raise wrong(folder, f"is not a case that this program can follow: {cause}") from cause
        if case is not None and case.erased and folder.is_dir():
            erase_personal(folder, case.erased)  # another bench may have entered it, or a backup brought it back
        return case

    @contextmanager
    def _alone(self) -> Iterator[None]:
        home = self.root / DEPOT
        home.mkdir(parents=True, exist_ok=True)
        try:
            with filelock.FileLock(home / ".lock", timeout=PATIENCE):
                yield
        except filelock.Timeout as cause:
            raise RecordsError(
                f"{home}: another depot command has been at work for {PATIENCE:.0f} s (try again)"
            ) from cause


@dataclass(frozen=True, kw_only=True, slots=True)
class Restored:
    """What came into the records from the files of cases."""

    cases: int
    entries: int
    problems: tuple[str, ...]


def _first_line(problem: Exception) -> str:
    return str(problem).splitlines()[0]


def _spoilt(folder: Path) -> list[str]:
    """Return what lies beside a case and is not what its intake sealed; nothing where that was cut off."""
    lines, _ = read_lines(folder)
    if not lines:
        return []
    intake = read_entry(lines[0]).fact
    assert isinstance(intake, Intake)
    return differing(folder, intake.sealed)


def unknown(work_order: str) -> WrongMove:
    """Return the error for a work order under which no board came in."""
    return WrongMove(
        f"work order {work_order} is not known to this depot\n"
        f"(take the board in first: benchtest depot intake --work-order {work_order}; or look: benchtest depot list)"
    )
