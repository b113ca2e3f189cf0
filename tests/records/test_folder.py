"""The run folder: nothing strange in a path, everything back as it was, nothing changed unnoticed."""

import math
import tempfile
from dataclasses import fields, replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.errors import DocumentError
from benchtest.readings import Recorded
from benchtest.records.evidence import load_readings, save_recorded, save_scalars
from benchtest.records.folder import create_folder, read_run, write_run
from benchtest.records.labels import clean_serial, clean_text
from benchtest.results import Run
from tests.records.finished import WELDED, finished_readings, finished_run

STARTED = datetime.fromisoformat("2026-03-14T10:15:00+01:00")


def write_whole_run(folder: Path, run: Run) -> Run:
    """Write evidence and run file as the command line does, and return the run with its recordings."""
    readings = finished_readings()
    (folder / "recordings").mkdir(exist_ok=True)
    recordings = dict([save_scalars(folder, readings)])
    for name, evidence in readings.evidence.items():
        if isinstance(evidence, Recorded):
            relative, digest = save_recorded(folder, name, evidence)
            recordings[relative] = digest
    run = replace(run, recordings=recordings)
    write_run(folder, run)
    return run


@given(st.text(max_size=80))
def test_a_serial_number_is_refused_or_harmless(text: str) -> None:
    """Whatever is typed: a refusal, or a short printable name without path characters."""
    try:
        serial = clean_serial(text)
    except ValueError:
        return
    assert 1 <= len(serial) <= 64
    assert serial == serial.strip() == clean_serial(serial)
    assert not set(serial) & {"/", "\\", "\0", "\n", "\u202e"}
    assert not set(serial) <= {"."}


@given(st.text(max_size=80), st.text(max_size=80))
def test_a_run_folder_is_never_outside_its_root(part: str, serial: str) -> None:
    """Whatever part and serial number say, the name is one plain component below the root."""
    with tempfile.TemporaryDirectory() as root:
        try:
            folder = create_folder(Path(root), started=STARTED, part=part, serial=serial)
        except ValueError:
            return
        assert Path(root) == folder.parent
        assert (folder / "recordings").is_dir()
        assert folder.name.isascii()
        assert len(folder.name) < 200


@pytest.mark.parametrize("text", ["", "  ", "..", "a/b", "a\\b", "A\x00", "A\n7", "x" * 65, "A\u202e7", "\ud800"])
def test_these_are_not_serial_numbers(text: str) -> None:
    """Empty, path-like, control characters, invisible marks and essays are refused."""
    with pytest.raises(ValueError, match=r"serial number.*\(.*try"):
        clean_serial(text)


def test_free_text_stays_on_one_line() -> None:
    """Control characters and direction marks in a name become blanks; a novel is cut visibly."""
    assert "Nursery at the Lock" == clean_text("  Nursery\tat\n\x1b the\u202e Lock")
    assert "nnnn…" == clean_text("n" * 99, longest=5)


def test_a_run_comes_back_as_it_was(tmp_path: Path) -> None:
    """Every field of the run survives the file, infinities included."""
    run = write_whole_run(tmp_path, finished_run(welded=WELDED))
    found = read_run(tmp_path)
    for name in (field.name for field in fields(Run)):
        assert getattr(run, name) == getattr(found, name), name
    assert math.inf in [result.value for result in found.results]


def test_nan_survives_and_stays_nan(tmp_path: Path) -> None:
    """A reading that is not a number comes back as not a number, neither as text nor as nothing."""
    run = finished_run()
    strange = replace(run, results=(replace(run.results[1], value=math.nan, uncertainty=-math.inf),))
    write_run(tmp_path, strange)
    (found,) = read_run(tmp_path).results
    assert isinstance(found.value, float)
    assert math.isnan(found.value)
    assert -math.inf == found.uncertainty


def test_the_same_run_gives_the_same_bytes(tmp_path: Path) -> None:
    """Writing a run and its recordings twice gives identical files."""
    first, second = tmp_path / "first", tmp_path / "second"
    for folder in (first, second):
        folder.mkdir()
        write_whole_run(folder, finished_run())
    names = [path.relative_to(first) for path in first.rglob("*") if path.is_file()]
    assert 32 == len(names)
    for name in names:
        assert (first / name).read_bytes() == (second / name).read_bytes(), name


def test_readings_come_back_as_they_were(tmp_path: Path) -> None:
    """Samples, orders, messages and scalars are the same after reading as before writing."""
    run = write_whole_run(tmp_path, finished_run())
    before, after = finished_readings().evidence, load_readings(tmp_path, run).evidence
    assert set(before) == set(after)
    for name, evidence in before.items():
        found = after[name]
        if not isinstance(evidence, Recorded):
            assert evidence == found
            continue
        assert isinstance(found, Recorded)
        assert np.array_equal(evidence.recording.codes, found.recording.codes)
        assert found.recording.codes.dtype == np.int16
        for field in ("rate", "channels", "scale", "offset", "done", "overrun"):
            assert getattr(evidence.recording, field) == getattr(found.recording, field)
        for field in ("messages", "said", "start_uncertainty"):
            assert getattr(evidence, field) == getattr(found, field)


def test_changed_evidence_is_refused(tmp_path: Path) -> None:
    """One changed bit in a recording is named, and nothing is loaded."""
    run = write_whole_run(tmp_path, finished_run())
    path = tmp_path / "recordings" / "exercise.K3.on.npz"
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)
    with pytest.raises(DocumentError, match=r"exercise\.K3\.on\.npz: was changed after the run"):
        load_readings(tmp_path, run)


def test_a_recording_outside_the_folder_is_not_read(tmp_path: Path) -> None:
    """A run file that points elsewhere is refused."""
    run = replace(finished_run(), recordings={"../secret.npz": "00"})
    with pytest.raises(DocumentError, match="outside the run folder"):
        load_readings(tmp_path, run)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ((b"benchtest-run/1", b"benchtest-run/2"), "format 'benchtest-run/2' is not known"),
        ((b'"outcome":"pass"', b'"outcome":"fine"'), "outcome"),
        ((b"{", b"["), "is not a run file"),
    ],
)
def test_a_run_file_that_cannot_be_read_says_why(tmp_path: Path, change: tuple[bytes, bytes], words: str) -> None:
    """An unknown format, a damaged field and a broken file each give a sentence with the file's name."""
    path = write_run(tmp_path, finished_run())
    path.write_bytes(path.read_bytes().replace(*change))
    with pytest.raises(DocumentError, match=words):
        read_run(tmp_path)


def test_a_folder_without_run_file_is_not_a_run(tmp_path: Path) -> None:
    """An empty folder is answered with a question, not a traceback."""
    with pytest.raises(DocumentError, match="is this a run folder"):
        read_run(tmp_path)


def test_names_of_evidence_cannot_climb(tmp_path: Path) -> None:
    """A name of evidence with slashes becomes a plain file name in `recordings`."""
    (tmp_path / "recordings").mkdir()
    recorded = finished_readings().evidence["codes.D19"]
    assert isinstance(recorded, Recorded)
    relative, _ = save_recorded(tmp_path, "../../etc/x", recorded)
    assert [tmp_path / relative] == list((tmp_path / "recordings").iterdir())
