"""What was said of a paper after it went out: that it is withdrawn, or that another has taken its place.

A note is a sealed paper itself. It lies beside the paper that it is about, or in a folder of notes, and counts when its
station is trusted; so nobody else can withdraw a paper, and who has the note need not ask anybody.
"""

import re
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any, Final

from benchtest.canonical import write_whole
from benchtest.documents import read_bytes
from benchtest.errors import DocumentError
from benchtest.seal.examine import examine_json
from benchtest.seal.examined import Examined, State
from benchtest.seal.sealing import seal
from benchtest.seal.statement import Statement
from benchtest.seal.station import Station
from benchtest.seal.strict import spelled
from benchtest.seal.trusted import Stations

FORMAT: Final = "benchtest-note/1"
ENDING: Final = ".note.json"
_STRANGE: Final = re.compile(r"[^A-Za-z0-9.-]+")


class Kind(StrEnum):
    """What became of the paper."""

    WITHDRAWN = "withdrawn"
    REPLACED = "replaced"


STATE: Final = {Kind.WITHDRAWN: State.WITHDRAWN, Kind.REPLACED: State.SUPERSEDED}


@dataclass(frozen=True, kw_only=True, slots=True)
class Said:
    """What a person says of a paper."""

    reason: str
    by: str
    day: str
    """ISO 8601."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Note:
    """A note that was found."""

    kind: Kind
    about: str
    """Number of the paper."""
    reason: str
    by: str
    day: str
    replacement: str
    """Number of the paper that takes its place; empty where there is none."""
    file: Path
    state: State
    """Of the note itself."""
    station: str

    @property
    def sentence(self) -> str:
        """Return what the note says, on one line."""
        instead = f" by {self.replacement}" if self.replacement else ""
        return f"{self.kind}{instead} on {self.day}, says {self.by} at {self.station}: {self.reason}"


def write_note(
    folder: Path,
    kind: Kind,
    about: Statement,
    said: Said,
    *,
    station: Station,
    replacement: Statement | None = None,
) -> Path:
    """Write a note on a paper into a folder and return its path."""
    note = {
        "format": FORMAT,
        "kind": str(kind),
        "about": {"number": about.number, "digest": about.digest},
        **asdict(said),
        "replacement": None if replacement is None else {"number": replacement.number, "digest": replacement.digest},
    }
    sealed = seal(note, number=about.number, outcome=str(kind), serial=about.serial, issued=said.day, station=station)
    path = folder / f"{_STRANGE.sub('_', about.number)}.{kind}{ENDING}"
    write_whole(path, sealed.content)
    return path


def notes_in(folders: Iterable[Path], stations: Stations, *, about: str = "") -> list[Note]:
    """Return every note that lies in some folders and is as it was sealed, by whomever.

    With a number, only notes on its paper: that goes quickly where thousands lie.
    """
    paths = (path.resolve() for folder in folders for path in sorted(folder.glob(f"*{ENDING}")))
    found = (_read(path, stations, about) for path in dict.fromkeys(paths))
    return [note for note in found if note is not None and about in {"", note.about}]


def note_of(found: Examined, file: Path) -> Note | None:
    """Return what an examined paper says when it is a note."""
    paper: Any = found.paper
    if paper.get("format") != FORMAT or found.statement is None:
        return None
    try:
        return Note(
            kind=Kind(paper["kind"]),
            about=found.statement.number,
            reason=str(paper["reason"]),
            by=str(paper["by"]),
            day=str(paper["day"]),
            replacement=str(paper["replacement"]["number"]) if paper["replacement"] else "",
            file=file,
            state=found.state,
            station=found.station,
        )
    except (ValueError, KeyError, TypeError):
        return None


def after_notes(found: Examined, notes: Iterable[Note]) -> Examined:
    """Return what is to be said of a paper once the notes on it are known; a withdrawal weighs more."""
    number = found.statement.number if found.statement is not None else ""
    own = [note for note in notes if note.about == number and note.state is State.GENUINE]
    if found.state not in {State.GENUINE, State.UNKNOWN} or not own or note_of(found, Path()) is not None:
        return found
    worst = max(own, key=lambda note: note.kind is Kind.WITHDRAWN)
    return found.now(STATE[worst.kind], worst.sentence)


def _read(path: Path, stations: Stations, about: str) -> Note | None:
    try:
        content = read_bytes(path)
    except DocumentError:
        return None
    if about and spelled(about) not in content:
        return None
    return note_of(examine_json(content, stations), path)
