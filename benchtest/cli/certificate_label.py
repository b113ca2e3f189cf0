"""`benchtest certificate label`: a label for the board, with the code of its sealed paper."""

import json
from pathlib import Path

import click

from benchtest.canonical import wrong
from benchtest.cli.certificate_verify import LARGEST, latest
from benchtest.cli.words import say
from benchtest.cli.written import Written
from benchtest.documents import read_bytes
from benchtest.records.folder import read_run
from benchtest.seal import State, read_stations, station_folder, stations_file
from benchtest.seal.note import after_notes, notes_in
from benchtest.seal.paper import examine
from benchtest.seal.statement import Statement
from benchtest.seal.text import to_text


@click.command()
@click.argument("run", type=click.Path(path_type=Path, file_okay=False), metavar="RUN")
@click.option(
    "--sheet", is_flag=True, help="For a sheet of A4 with 3 by 8 labels of 70 x 37 mm; else for a 62 mm roll."
)
@click.option(
    "--position", type=click.IntRange(1, 24), default=1, show_default=True, help="First free label of a sheet."
)
@click.option("--output", "-o", type=Written(), metavar="FILE", help="The PDF.")
@click.option("--language", metavar="NAME", help="Another than the paper's: en, de, or a language file.")
def label(run: Path, sheet: bool, position: int, output: Path | None, language: str | None) -> int:
    """Write a label with the QR code of the last paper of folder RUN, to be stuck to the board or its bag.

    A paper that was altered, withdrawn or replaced elsewhere gets none.
    """
    from benchtest.certificate import words_of
    from benchtest.certificate.label import label_of, to_label
    from benchtest.language import language as language_of

    found = read_run(run)
    statement, text = _sealed(latest(run))
    words = language_of(language) if language else words_of(found, run)
    made = to_label(label_of(found, statement, text, words), "sheet" if sheet else "roll", position)
    path = output or run / "label.pdf"
    path.write_bytes(made)
    say(f"{statement.number}, {statement.outcome.upper()}: {path}")
    return 0


def _sealed(path: Path) -> tuple[Statement, str]:
    """Return what the seal of a paper says, and the text of its code. Raises DocumentError unless it counts."""
    content = read_bytes(path, largest=LARGEST)
    stations = read_stations(stations_file(station_folder()))
    found = examine(content, stations)
    if found is not None and found.statement is not None:
        found = after_notes(found, notes_in([path.parent], stations, about=found.statement.number))
    if found is None or found.statement is None or found.state not in {State.GENUINE, State.UNKNOWN}:
        state = "no paper" if found is None else f"{found.state}: {found.why}"
        raise wrong(path, f"is {state}", hint="a label is printed for a paper that counts")
    return found.statement, to_text(found.statement, json.loads(content)["seal"]["signature"])
