"""`benchtest certificate seal`, `withdraw`, `reissue` and `withhold`: papers written after their run."""

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import click

from benchtest.canonical import write_whole, wrong
from benchtest.certificate import reissue as issue_anew
from benchtest.certificate import seal_later
from benchtest.cli.case import on_paper
from benchtest.cli.certificate_verify import LARGEST, latest
from benchtest.cli.records_options import tell_records
from benchtest.cli.words import say
from benchtest.clock import wall_time
from benchtest.documents import read_bytes
from benchtest.records.evidence import load_readings
from benchtest.records.folder import read_run
from benchtest.records.labels import clean_text
from benchtest.seal import State, open_station, read_stations, station_folder, stations_file
from benchtest.seal.note import Kind, Said, after_notes, note_of, notes_in, write_note
from benchtest.seal.paper import examine
from benchtest.seal.statement import Statement
from benchtest.seal.withheld import without

REASON = click.option("--reason", required=True, metavar="TEXT", help="Why; it is printed and sealed.")
BY = click.option("--by", required=True, metavar="NAME", help="Who answers for it.")


@click.command()
@click.argument("run", type=click.Path(path_type=Path, file_okay=False), metavar="RUN")
def seal(run: Path) -> int:
    """Write the papers of folder RUN under this station's seal, where the program ended before they were there.

    The evidence is checked against its digests first. Papers that are there already and differ are left alone.
    """
    found = read_run(run)
    for path in seal_later(on_paper(found, run), load_readings(run, found), run):
        say(str(path))
    return 0


@click.command()
@click.argument("papers", type=click.Path(path_type=Path), metavar="PAPER...", nargs=-1, required=True)
@REASON
@BY
@click.option("--into", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER", help="Where the notes go.")
def withdraw(papers: tuple[Path, ...], reason: str, by: str, into: Path | None) -> int:
    """Write a sealed note for each PAPER (PDF, JSON, HTML or a run folder) that it no longer counts.

    A note lies beside its paper, or in a folder; send it to whoever has the paper. When one PAPER is not genuine, or
    not of a trusted station, no note is written at all.
    """
    paths = [latest(paper) if paper.is_dir() else paper for paper in papers]
    about = [_known(path) for path in paths]
    said, station = _said(reason, by), open_station()
    if into is not None:
        into.mkdir(parents=True, exist_ok=True)
    for path, one in zip(paths, about, strict=True):
        note = write_note(into or path.parent, Kind.WITHDRAWN, one, said, station=station)
        say(f"number {one.number} is withdrawn: {note}")
    for folder in dict.fromkeys(into or path.parent for path in paths):
        tell_records(folder)
    return 0


@click.command()
@click.argument("paper", type=click.Path(path_type=Path), metavar="PAPER")
@click.option("--line", "lines", multiple=True, required=True, metavar="LABEL", help="Such as Customer; repeatable.")
@click.option("--into", type=click.Path(path_type=Path), required=True, metavar="FILE", help="Where the copy goes.")
def withhold(paper: Path, lines: tuple[str, ...], into: Path) -> int:
    """Write a copy of PAPER (JSON) without lines about its job, such as the customer; the seal holds for the rest.

    The digest that stays says nothing of what was there. The serial number of the board is part of the seal and stays.
    """
    _known(paper)
    if into.exists() and into.samefile(paper):
        raise click.UsageError(f"--into {str(into)!r} is the paper itself, which stays whole (name another file)")
    try:
        copy = without(read_bytes(paper, largest=LARGEST), lines)
    except (json.JSONDecodeError, UnicodeDecodeError) as cause:
        raise wrong(paper, "is not JSON", hint="name the JSON file of the paper") from cause
    except ValueError as cause:
        raise click.UsageError(str(cause)) from cause
    write_whole(into, copy)
    say(f"without {', '.join(lines)}: {into}")
    return 0


@click.command()
@click.argument("run", type=click.Path(path_type=Path, file_okay=False), metavar="RUN")
@REASON
@BY
@click.option("--customer", metavar="TEXT", help="Customer as it should have been.")
@click.option("--work-order", metavar="TEXT", help="Work order as it should have been.")
@click.option("--revision", metavar="TEXT", help="Revision of the board as it should have been.")
@click.option("--released-by", metavar="NAME", help="Who releases the board.")
def reissue(run: Path, reason: str, by: str, released_by: str | None, **stated: str | None) -> int:
    """Issue the paper of folder RUN anew under its own number, naming the one it replaces, with a note on that.

    Results and evidence stay as they are; only what was stated about the job can be put right.
    """
    found = read_run(run)
    if released_by and found.second_person and _same(released_by, found.job.technician):
        raise click.UsageError(f"--released-by {released_by!r} has tested it (this method asks for a second person)")
    stated |= {"released_by": released_by}
    corrected = {name: clean_text(text) for name, text in stated.items() if text is not None}
    put_right(run, corrected, reason=reason, by=by)
    return 0


def put_right(run: Path, stated: Mapping[str, str], *, reason: str, by: str) -> None:
    """Issue the paper of a run folder anew with other words about its job, and say so; the earlier one gets a note."""
    found = read_run(run)
    readings = load_readings(run, found)
    before = _known(latest(run), among=run)
    job = replace(on_paper(found, run).job, **stated)
    said = _said(reason, by)
    path, sealed = issue_anew(found, readings, run, job, replaces=before.number, reason=said.reason, day=said.day)
    write_note(run, Kind.REPLACED, before, said, station=open_station(), replacement=sealed.statement)
    say(f"number {sealed.statement.number} replaces {before.number}: {path}")
    tell_records(run)


def _same(one: str, other: str) -> bool:
    return clean_text(one).casefold() == clean_text(other).casefold()


def _known(path: Path, *, among: Path | None = None) -> Statement:
    """Return what the seal of a paper says; `among` is a folder whose notes must not have withdrawn it.

    Raises DocumentError unless it is genuine, and of a trusted station.
    """
    stations = read_stations(stations_file(station_folder()))
    found = examine(read_bytes(path, largest=LARGEST), stations)
    if found is not None and found.statement is not None and among is not None:
        found = after_notes(found, notes_in([among], stations, about=found.statement.number))
    if found is None or found.state is not State.GENUINE or found.statement is None:
        state = "no paper" if found is None else f"{found.state}: {found.why}"
        raise wrong(path, f"is {state}", hint="only a genuine paper of a trusted station can be withdrawn or replaced")
    if note_of(found, path) is not None:
        raise wrong(path, "is a note itself", hint="name the paper that it is about")
    return found.statement


def _said(reason: str, by: str) -> Said:
    why, who = clean_text(reason), clean_text(by)
    if not (why and who):
        raise click.UsageError("an empty reason or name (say why, and who answers for it)")
    return Said(reason=why, by=who, day=wall_time().date().isoformat())
