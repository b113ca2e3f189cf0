"""Commands in this process, and run folders as `benchtest run` leaves them."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchtest.cli import entry
from benchtest.records.database.opening import Records, open_file
from benchtest.records.database.storing import store
from tests.records.depot import CARWASH, Said, like
from tests.servers.postgresql import Server


@pytest.fixture
def benchtest(capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Said:
    """Give a command and hear its exit code, what it printed and what it said beside."""
    monkeypatch.delenv("BENCHTEST_RECORDS", raising=False)

    def said(*words: str | Path) -> tuple[int, str, str]:
        capfd.readouterr()
        code = entry([str(word) for word in words])
        heard = capfd.readouterr()
        return code, heard.out, heard.err

    return said


@pytest.fixture(scope="session")
def pattern(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three runs of two boards: one passed twice, with other readings; one has a relay that never closes."""
    place = tmp_path_factory.mktemp("pattern") / "runs"
    boards = [("A-1", "1", ()), ("A-1", "2", ()), ("B-2", "3", ("--fault", "K2 contact never closes"))]
    for serial, seed, faults in boards:
        words = ["--serial", serial, "--seed", seed, *faults, "--customer", "=1+1", "--work-order", "WO-7"]
        entry([*CARWASH, *words, "--runs", str(place), "--records", "none", "--json"])
    entry(["records", "rebuild", "--runs", str(place), "--records", str(place / "records.sqlite")])
    for paper in place.glob("*/*.pdf"):
        paper.unlink()  # the largest file, of which the records know nothing
    return place


@pytest.fixture
def runs(pattern: Path, tmp_path: Path) -> Path:
    """The same runs with their records, to be changed."""
    return Path(shutil.copytree(pattern, tmp_path / "runs"))


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def asked(request: pytest.FixtureRequest, pattern: Path) -> tuple[str, ...]:
    """The words that name records on each kind of database; they are only asked."""
    place = str(pattern / "records.sqlite")
    if request.param == "postgresql":
        server: Server = request.getfixturevalue("postgresql")
        place = server.new()
    words = ("--runs", str(pattern), "--records", place)
    if request.param == "sqlite":
        return words
    assert 0 == entry(["records", "sync", *words, "--all"])
    return words


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Records]:
    """A bench's own records with ten runs that wait for a server."""
    with open_file(tmp_path / "bench.sqlite") as records:
        with records.writing() as connection:
            for number in range(10):
                store(connection, like(number), queue=True)
        yield records
