"""What became of the papers of a run after they were issued, by the sealed notes that lie beside them in its folder.

Only what a trusted station sealed counts (`benchtest.seal.note`). A run is withdrawn when its own paper is, or the
last one that replaced it; whoever withdraws a run withdraws every paper of it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from benchtest.canonical import digest, read_whole
from benchtest.errors import BenchtestError, DocumentError
from benchtest.seal import State, Stations, examine_json, open_station, read_stations, station_folder, stations_file
from benchtest.seal.note import ENDING, Kind, Note, Said, notes_in, write_note
from benchtest.seal.statement import Statement

WITHDRAWN: Final = "withdrawn"
SUPERSEDED: Final = "superseded"
STATUS: Final = {Kind.WITHDRAWN: WITHDRAWN, Kind.REPLACED: SUPERSEDED}
PAPERS: Final = ("certificate", "report")


@dataclass(frozen=True, kw_only=True, slots=True)
class Change:
    """What became of a paper after it was issued."""

    key: str
    """Tells this change from every other."""
    status: str
    """`withdrawn` or `superseded`."""
    reason: str
    by: str
    at: datetime
    replaced_by: str = ""
    """Number of the paper that takes its place."""


def read_changes(folder: Path, number: str) -> tuple[Change, ...]:
    """Return what the notes in a run folder say of the paper with this number, and of the last that replaced it."""
    if next(folder.glob(f"*{ENDING}"), None) is None:
        return ()
    *_, last = _chain(folder, number)
    later = _genuine(folder, last) if last != number else []
    return tuple(_change(note) for note in (*_genuine(folder, number), *later) if note.about == number or _ends(note))


def _chain(folder: Path, number: str) -> Iterator[str]:
    """Yield the number of a paper, and those that took its place one after the other."""
    seen: set[str] = set()
    while number and number not in seen:
        seen.add(number)
        yield number
        number = next((note.replacement for note in _genuine(folder, number) if note.kind is Kind.REPLACED), "")


def _ends(note: Note) -> bool:
    return note.kind is Kind.WITHDRAWN


def _genuine(folder: Path, number: str) -> list[Note]:
    """Return the notes on one paper that a trusted station sealed."""
    return [note for note in notes_in([folder], _trusted(), about=number) if note.state is State.GENUINE]


def _change(note: Note) -> Change:
    return Change(
        key=digest(read_whole(note.file))[:32],
        status=STATUS[note.kind],
        reason=note.reason,
        by=note.by,
        at=datetime.fromisoformat(note.day).replace(tzinfo=UTC),
        replaced_by=note.replacement,
    )


def withdraw_papers(folder: Path, change: Change) -> bool:
    """Lay a note beside every paper in a run folder that it is withdrawn; return False where none can be laid.

    The folder may be on another computer, or gone, or its papers are older than seals; the records know it all the
    same. A paper that is withdrawn already has its note.
    """
    try:
        papers = list(_papers(folder, _trusted()))
        said = Said(reason=change.reason, by=change.by, day=change.at.date().isoformat())
        for paper in papers:
            if not any(map(_ends, _genuine(folder, paper.number))):
                write_note(folder, Kind.WITHDRAWN, paper, said, station=open_station())
    except (OSError, BenchtestError):
        return False
    return bool(papers)


def _papers(folder: Path, trusted: Stations) -> Iterator[Statement]:
    """Yield what the seals of the papers in a run folder say, those that hold."""
    for path in sorted(path for name in PAPERS for path in folder.glob(f"{name}*.json")):
        try:
            found = examine_json(read_whole(path), trusted)
        except DocumentError:
            continue
        if found.statement is not None and found.state in {State.GENUINE, State.UNKNOWN}:
            yield found.statement


def _trusted() -> Stations:
    return read_stations(stations_file(station_folder()))
