"""The records of a depot are a source like the folders that they come from, on both databases."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchtest.errors import StudyError
from benchtest.records.database.opening import Records, open_file, open_server
from benchtest.records.database.packed import pack_readings, unpack_readings
from benchtest.records.database.record import read_record
from benchtest.records.database.storing import store
from benchtest.studies.reading import read
from benchtest.studies.reading_records import unpacked
from benchtest.studies.readings import Choice, Readings
from tests.servers.postgresql import Server
from tests.studies.tables import runs

PART = "GZ-2140"


@pytest.fixture(params=["sqlite", "postgresql"])
def kept(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[str, Path]:
    """Six boards, the last one failed, in the records of each kind; the first board ran twice."""
    root = runs(tmp_path / "runs", 6, fail=1)
    source = str(tmp_path / "records.sqlite")
    opened: Records
    if request.param == "sqlite":
        opened = open_file(Path(source))
    else:
        server: Server = request.getfixturevalue("postgresql")
        source = server.new()
        opened = open_server(source)
    with opened, opened.writing() as connection:
        for folder in sorted(root.iterdir()):
            store(connection, read_record(folder))
    return source, root


def as_rows(found: Readings) -> dict[str, list[tuple[str, float]]]:
    """Board and value of each reading, by quantity."""
    return {
        one.quantity.id: [
            (one.factors["board"].names[code], value)
            for code, value in zip(one.factors["board"].codes.tolist(), one.values.tolist(), strict=True)
        ]
        for one in found
    }


def test_records_and_folders_say_the_same(kept: tuple[str, Path]) -> None:
    """Every number of every run, with its limits, in the order of time."""
    source, root = kept
    there, here = read([source]), read([root])

    assert as_rows(here) == as_rows(there)
    assert limits(here) == limits(there)
    assert here.expanded[np.isfinite(here.expanded)].sum() == pytest.approx(
        there.expanded[np.isfinite(there.expanded)].sum()
    )


def test_the_database_chooses_the_runs(kept: tuple[str, Path]) -> None:
    """Those that passed, one board, one bench, the last of each; what is not there is named."""
    source, _ = kept
    some = [{"passed_only": True}, {"board": "GB-2"}, {"last_of_each": True}, {"part": "GZ-9"}, {"bench": "none"}]
    passed, one, last, *wrong = (Choice(**chosen) for chosen in some)  # type: ignore[arg-type]

    assert {"GB-0", "GB-1", "GB-2", "GB-3", "GB-4"} == boards(read([source], choice=passed))
    assert {"GB-2"} == boards(read([source], choice=one))
    assert 6 == next(iter(read([source], choice=last))).count
    for choice, words in zip(wrong, ("no run of 'GZ-9'", "no run to study"), strict=True):
        with pytest.raises(StudyError, match=words):
            read([source], choice=choice)


def limits(found: Readings) -> dict[str, tuple[float, float, str]]:
    return {one.id: (one.low, one.high, one.unit) for one in found.quantities}


def boards(found: Readings) -> set[str]:
    return set(next(iter(found)).factors["board"].names)


def test_several_parts_must_be_told_apart(kept: tuple[str, Path]) -> None:
    """In records as in folders: the same word means something else on another board."""
    source, root = kept
    folder = min(root.iterdir())
    record = replace(read_record(folder), part="CW-0410", identity="ab" * 16, run_digest="cd" * 32)
    opened = open_server(source) if source.startswith("postgresql") else open_file(Path(source))
    with opened, opened.writing() as connection:
        store(connection, record)

    with pytest.raises(StudyError, match=r"runs of 2 parts \(CW-0410, .*choose one with --part"):
        read([source])
    assert {"GB-0"} == boards(read([source], choice=Choice(part="CW-0410")))


def test_packed_readings_are_unpacked_alike() -> None:
    """The same numbers as the records' own way gives; spoilt bytes are told of."""
    content = pack_readings([])
    assert 0 == unpacked(content).size
    assert () == unpack_readings(content)
    with pytest.raises(StudyError, match="are damaged"):
        unpacked(b"nonsense")
    with pytest.raises(StudyError, match="are damaged"):
        unpacked(content[:-4])
