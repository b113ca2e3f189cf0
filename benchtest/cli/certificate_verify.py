"""`benchtest certificate verify`: the states of a paper apart, each with its words and its exit code."""

import json
import sys
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

import click

from benchtest.canonical import wrong
from benchtest.cli.words import say
from benchtest.documents import read_bytes
from benchtest.records.bound import Held, hold_against
from benchtest.seal import EXIT_CODE, Examined, State, Stations, read_stations, station_folder, stations_file
from benchtest.seal.attached import MAGIC
from benchtest.seal.note import Note, after_notes, note_of, notes_in
from benchtest.seal.paper import examine
from benchtest.seal.statement import fingerprint
from benchtest.seal.text import MARK
from benchtest.seal.trusted import merged

LARGEST: Final = 64 << 20
"""Bytes of a paper that are read."""
FORMAT: Final = "benchtest-examined/1"
ONLY_STATEMENT: Final = "this proves these facts and no other word of the page; its PDF or JSON proves the rest"
ADVICE: Final = {
    State.GENUINE: "compare this with the page in hand; what was sealed is the JSON, not the look of the page",
    State.UNKNOWN: "ask the station for its key by another way than this paper, then: benchtest station trust",
    State.UNSEALED: "a paper older than seals, or not one of this program",
    State.SUPERSEDED: "ask for the paper that replaces it",
    State.WITHDRAWN: "do not rely on it",
    State.ALTERED: "do not rely on it; ask the station for the original",
}


@click.command()
@click.argument("paper", metavar="PAPER", type=click.Path(path_type=Path, allow_dash=True))
@click.option("--run", "run", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER", help="Its evidence.")
@click.option(
    "--trusted", "lists", multiple=True, type=click.Path(path_type=Path), metavar="FILE", help="More trusted stations."
)
@click.option(
    "--notes", multiple=True, type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER", help="More notes."
)
@click.option("--pages", is_flag=True, help="Set the pages of a PDF anew and compare every byte.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def verify(
    paper: Path, run: Path | None, lists: tuple[Path, ...], notes: tuple[Path, ...], pages: bool, as_json: bool
) -> int:
    """Say whether PAPER is what a trusted station sealed, without asking anybody.

    PAPER is a certificate or report as PDF, JSON or HTML, a run folder, or - for standard input, where a scanner may
    type the text of the QR code. With a run folder the evidence is recomputed too.

    A seal covers what the JSON says. With --pages this version of the program also sets a PDF's pages anew from that,
    and says whether they are the same; pages set by another version differ without having been changed.

    Exit codes: 0 genuine and trusted; 1 altered, superseded or withdrawn; 3 genuine of an unknown station, not sealed,
    or with pages that differ; 4 not a paper, or a list that cannot be read.
    """
    stations = _stations(lists)
    if paper.is_dir():
        run, paper = paper, latest(paper).with_suffix(".pdf" if pages else ".json")
    content = _typed() if str(paper) == "-" else read_bytes(paper, largest=LARGEST)
    found = examine(content, stations)
    if found is None:
        hint = f"a PDF, JSON or HTML file of this program, or the text of a QR code, which begins with {MARK}/"
        raise wrong(paper, f"is no paper: it begins with {content[:20]!r}", hint=hint)
    folders = [folder for folder in (paper.parent if str(paper) != "-" else None, run, *notes) if folder is not None]
    all_notes = [] if found.statement is None else notes_in(folders, stations, about=found.statement.number)
    found = after_notes(found, all_notes)
    held = None if run is None else _held(found, run)
    if held is not None and held.wrong:
        found = found.now(State.ALTERED, "the evidence is not what the paper is bound to", *held.wrong)
    same, said = _pages(content, found, run) if pages else (True, "")
    if as_json:
        click.echo(json.dumps(_fields(found, held, said), ensure_ascii=False))
    else:
        _say(found, held, [note for note in all_notes if note.state is not State.GENUINE], said)
    return EXIT_CODE[found.state] or (0 if same else EXIT_CODE[State.UNKNOWN])


def _pages(content: bytes, found: Examined, run: Path | None) -> tuple[bool, str]:
    """Return whether the pages of a PDF are what was sealed, and that in words."""
    from benchtest.certificate.pages import first_difference

    if not content.startswith(MAGIC) or not found.paper:
        return False, "pages: not compared, for there is no PDF with a genuine paper in it"
    try:
        place = first_difference(content, found, run)
    except (ValueError, OSError) as problem:
        return False, f"pages: not compared: {problem}"
    if place is None:
        return True, f"pages: set anew from what was sealed, all {len(content)} bytes are the same"
    differ = f"pages: from byte {place} on NOT as this version sets them from what was sealed"
    return False, f"{differ}; changed, or set by another version: compare each word with the JSON"


def latest(folder: Path) -> Path:
    """Return the last issue of the sealed JSON in a run folder. Raises DocumentError when there is none."""
    papers = [path for name in ("certificate", "report") for path in folder.glob(f"{name}*.json")]
    if not papers:
        finished = (folder / "run.json").exists()
        hint = "seal it with 'benchtest certificate seal'" if finished else "is this the folder of a finished run?"
        raise wrong(folder, "holds no certificate and no report", hint=hint)
    return max(papers, key=lambda path: int(number) if (number := path.stem.rpartition("-")[2]).isdigit() else 1)


def _stations(lists: tuple[Path, ...]) -> Stations:
    found = read_stations(stations_file(station_folder()))
    for path in lists:
        if not path.exists():
            raise wrong(path, "there is no such file")
        found = merged(found, read_stations(path).stations)
    return found


def _typed() -> bytes:
    """Return standard input, up to the end of the first line where a scanner types the text of a code."""
    line = sys.stdin.buffer.readline(LARGEST)
    if line.startswith(MARK.encode()):
        return line
    content = line + sys.stdin.buffer.read(LARGEST + 1 - len(line))
    if not content.strip() or len(content) > LARGEST:
        size = "nothing came" if not content.strip() else f"more than {LARGEST >> 20} MiB came"
        raise wrong(Path("-"), f"{size} on standard input")
    return content


def _held(found: Examined, run: Path) -> Held | None:
    """Return how the evidence compares; None where nothing sealed says what it should be."""
    if not found.paper:
        return None
    try:
        return hold_against(found.paper, run)
    except ValueError:
        return None


def _say(found: Examined, held: Held | None, unheard: list[Note], pages: str) -> None:
    say(f"{str(found.state).upper()}: {found.why}")
    for place in found.places:
        say(f"  {place}")
    if pages:
        say(pages)
    statement = found.statement
    if statement is not None:
        facts = [f"number {statement.number}", statement.outcome.upper(), f"serial {statement.serial}"]
        say(", ".join([*facts, f"issued {statement.issued}"]))
        say(f"sealed by {found.station or 'a station'}, key {fingerprint(statement.key)}")
    if (note := note_of(found, Path())) is not None:
        say(f"this is a note: {note.about} was {note.sentence}")
    for path in found.withheld:
        say(f"withheld from this copy: {_line(found.paper, path)}")
    if held is not None and not held.wrong:
        say(f"evidence: {held.files} files and {held.lines} lines of the journal recomputed, as bound")
    for one in unheard:
        say(f"a note of an untrusted station lies there and is not believed: {one.sentence} ({one.file.name})")
    only = found.state in {State.GENUINE, State.UNKNOWN} and not found.paper
    say(ONLY_STATEMENT if only else ADVICE[found.state])


def _line(paper: Mapping[str, object], path: str) -> str:
    """Return a withheld line's path, with what it is called where a language that ships says so."""
    from benchtest.certificate.identity import job_line
    from benchtest.language import SHIPPED, language
    from benchtest.seal.withheld import lines_of, place_of

    tag = str(paper.get("language"))
    called = job_line(place_of(path), lines_of(paper), language(tag)) if tag in SHIPPED else ""
    return f"{path}, the line {called}" if called else path


def _fields(found: Examined, held: Held | None, pages: str) -> dict[str, Any]:
    statement = found.statement
    return {
        "format": FORMAT,
        "state": str(found.state),
        "exit_code": EXIT_CODE[found.state],
        "why": found.why,
        "places": list(found.places),
        "withheld": list(found.withheld),
        "station": found.station,
        "statement": None if statement is None else statement.as_fields(),
        "evidence": None if held is None else asdict(held),
        "pages": pages,
    }
