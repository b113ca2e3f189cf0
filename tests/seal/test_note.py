"""Notes on papers that went out: withdrawn or replaced, believed only of trusted stations."""

import json
from pathlib import Path

import rfc8785

from benchtest.seal import State, Station, examine_json, open_station
from benchtest.seal.note import ENDING, Kind, Note, Said, after_notes, note_of, notes_in, write_note
from tests.seal.conftest import sealed_by, trusting

SAID = Said(reason="meter out of tolerance", by="A. Sample", day="2026-05-01")
NUMBER = "20260314-3F9A12C4"


def noted(folder: Path, station: Station, kind: Kind = Kind.WITHDRAWN) -> Path:
    folder.mkdir(exist_ok=True)
    replacement = sealed_by(station, "20260501-B").statement if kind is Kind.REPLACED else None
    return write_note(folder, kind, sealed_by(station).statement, SAID, station=station, replacement=replacement)


def state_after(own: Path, notes: list[Note]) -> tuple[State, str]:
    found = after_notes(examine_json(sealed_by(open_station(own)).content, trusting(own)), notes)
    return found.state, found.why


def test_a_withdrawn_paper_says_who_and_why(own: Path, tmp_path: Path) -> None:
    """The note is found in its folder, and its words are the paper's."""
    noted(tmp_path / "notes", open_station(own))
    state, why = state_after(own, notes_in([tmp_path / "notes"], trusting(own), about=NUMBER))

    assert State.WITHDRAWN == state
    assert why.startswith("withdrawn on 2026-05-01, says A. Sample at station ")
    assert why.endswith(": meter out of tolerance")


def test_a_replaced_paper_names_the_one_that_replaces_it(own: Path, tmp_path: Path) -> None:
    """The number of the new paper stands in the words."""
    noted(tmp_path / "notes", open_station(own), Kind.REPLACED)
    state, why = state_after(own, notes_in([tmp_path / "notes"], trusting(own), about=NUMBER))

    assert State.SUPERSEDED == state
    assert why.startswith("replaced by 20260501-B on 2026-05-01, says A. Sample")


def test_a_withdrawal_weighs_more_than_a_replacement(own: Path, tmp_path: Path) -> None:
    """Whatever the order of the notes."""
    paths = [noted(tmp_path / "notes", open_station(own), kind) for kind in (Kind.REPLACED, Kind.WITHDRAWN)]
    notes = notes_in([tmp_path / "notes"], trusting(own), about=NUMBER)

    assert len(paths) == len(notes) == 2
    assert State.WITHDRAWN == state_after(own, notes)[0] == state_after(own, notes[::-1])[0]


def test_strangers_withdraw_nothing(own: Path, tmp_path: Path) -> None:
    """A note of an untrusted station, of another paper, or a changed one, leaves a paper as it is."""
    stranger = open_station(tmp_path / "stranger")
    noted(tmp_path / "notes", stranger)
    other = sealed_by(open_station(own), "20260314-OTHER").statement
    write_note(tmp_path / "notes", Kind.WITHDRAWN, other, SAID, station=open_station(own))
    notes = notes_in([tmp_path / "notes"], trusting(own), about=NUMBER)

    assert [State.UNKNOWN] == [note.state for note in notes]
    assert State.GENUINE == state_after(own, notes)[0]


def test_a_changed_note_is_none(own: Path, tmp_path: Path) -> None:
    """Its reason changed, or its seal taken from a certificate: not counted."""
    path = noted(tmp_path / "notes", open_station(own))
    fields = json.loads(path.read_bytes())
    path.write_bytes(rfc8785.dumps({**fields, "reason": "other"}))
    (tmp_path / "notes" / f"x{ENDING}").write_bytes(sealed_by(open_station(own)).content)
    (tmp_path / "notes" / f"y{ENDING}").write_bytes(b"\xff")
    (tmp_path / "notes" / f"z{ENDING}").mkdir()

    assert [] == [
        note for note in notes_in([tmp_path / "notes"], trusting(own), about=NUMBER) if note.state is State.GENUINE
    ]


def test_a_note_is_a_paper_itself(own: Path, tmp_path: Path) -> None:
    """Examined alone it is genuine, says what it is about, and is not struck by itself."""
    path = noted(tmp_path / "notes", open_station(own))
    found = examine_json(path.read_bytes(), trusting(own))
    note = note_of(found, path)

    assert State.GENUINE == after_notes(found, notes_in([path.parent], trusting(own), about=NUMBER)).state
    assert note is not None
    assert (Kind.WITHDRAWN, "20260314-3F9A12C4") == (note.kind, note.about)
    assert "20260314-3F9A12C4.withdrawn.note.json" == path.name


def test_a_paper_of_a_stranger_can_be_withdrawn_by_a_trusted_station(own: Path, tmp_path: Path) -> None:
    """The depot's note counts for a paper whose own station nobody here knows."""
    stranger = sealed_by(open_station(tmp_path / "stranger"))
    (tmp_path / "notes").mkdir()
    write_note(tmp_path / "notes", Kind.WITHDRAWN, stranger.statement, SAID, station=open_station(own))
    found = after_notes(
        examine_json(stranger.content, trusting(own)), notes_in([tmp_path / "notes"], trusting(own), about=NUMBER)
    )

    assert State.WITHDRAWN == found.state


def test_one_note_among_thousands_is_found_at_once(own: Path, tmp_path: Path) -> None:
    """A folder with a whole recall: only notes that name the paper are examined, wherever they stand in it."""
    station = open_station(own)
    path = noted(tmp_path / "notes", station)
    other = write_note(
        tmp_path / "notes", Kind.WITHDRAWN, sealed_by(station, "20260314-B").statement, SAID, station=station
    )
    for place in range(2000):
        (tmp_path / "notes" / f"a{place}{ENDING}").write_bytes(other.read_bytes())
    path.rename(path.with_name(f"zzz{ENDING}"))

    assert State.WITHDRAWN == state_after(own, notes_in([tmp_path / "notes"], trusting(own), about=NUMBER))[0]


def test_numbers_cannot_climb_out_of_a_folder(own: Path, tmp_path: Path) -> None:
    """A number with slashes becomes a plain file name."""
    about = sealed_by(open_station(own), "../../etc/x").statement
    path = write_note(tmp_path, Kind.WITHDRAWN, about, SAID, station=open_station(own))

    assert tmp_path == path.parent
