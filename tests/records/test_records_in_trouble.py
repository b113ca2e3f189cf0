"""Records that are damaged, full, too new, on a share, or from an old copy: nothing is lost, nothing doubled."""

import gzip
import shutil
import sqlite3
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import func, select

from benchtest.errors import RecordsError
from benchtest.records.address import Address
from benchtest.records.database.keeping import keep
from benchtest.records.database.opening import Records, open_file, open_server
from benchtest.records.database.questions import Wanted, history, list_runs
from benchtest.records.database.record import read_record
from benchtest.records.database.shares import share
from benchtest.records.database.storing import Stored, store
from benchtest.records.database.tables import BOARDS
from benchtest.records.folder import write_run
from tests.records.depot import CARWASH, ROOT, Said, count, like, rows
from tests.records.finished import finished_run
from tests.servers.postgresql import Server

# ---------------------------------------------------------------- several at once, and clocks


@pytest.mark.parametrize("shared", [False, True], ids=["sqlite", "postgresql"])
def test_benches_that_write_one_serial_at_once(tmp_path: Path, shared: bool, request: pytest.FixtureRequest) -> None:
    """Four of them, ten runs each, in records that nobody made before: forty runs, one board."""
    server: Server | None = request.getfixturevalue("postgresql") if shared else None
    url = server.new() if server else ""

    def opened() -> Records:
        return open_server(url) if url else open_file(tmp_path / "records.sqlite")

    def write(bench: int) -> None:
        with opened() as records:
            for number in range(10):
                with records.writing() as connection:
                    assert Stored.NEW == store(connection, like(100 * bench + number, bench=f"bench {bench}"))

    with ThreadPoolExecutor(4) as benches:
        list(benches.map(write, range(4)))
    with opened() as records, records.reading() as connection:
        assert 1 == connection.scalar(select(func.count()).select_from(BOARDS))
        assert 40 == len(history(connection, "GZ-000417").runs)


def test_a_clock_that_was_set_back_loses_no_run(bench: Records) -> None:
    """A run that seems to end before it began, and one that seems older than it is, are there like any other."""
    strange = like(50, ended=like(0).started - timedelta(hours=1))
    early = like(51, started=like(0).started - timedelta(days=400))
    with bench.writing() as connection:
        assert [Stored.NEW, Stored.NEW] == [store(connection, strange), store(connection, early)]
    with bench.reading() as connection:
        assert "N-51" == list_runs(connection, Wanted(), limit=99)[-1].number


# ---------------------------------------------------------------- a file that is not as it should be


def test_records_of_a_newer_version_are_refused_and_left_alone(benchtest: Said, runs: Path) -> None:
    """Asking is refused in words; a run is judged all the same, and says that it is not in the records."""
    file = runs / "records.sqlite"
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    before = file.read_bytes()
    code, _, said = benchtest("records", "list", "--runs", runs)
    assert (4, True) == (code, "of a newer benchtest (schema 9999" in said)
    assert 4 == benchtest("records", "rebuild", "--runs", runs)[0]

    code, _, said = benchtest(*CARWASH, "--serial", "C", "--runs", runs)
    assert (0, True) == (code, "NOT in the records" in said)
    assert before == file.read_bytes()


@pytest.mark.parametrize("damage", ["rubbish", "cut", "spoilt"])
def test_damaged_records_are_set_aside_and_made_again(benchtest: Said, runs: Path, damage: str) -> None:
    """`list` says what to do, `rebuild` does it, and the damaged file is kept."""
    file = runs / "records.sqlite"
    content = file.read_bytes()
    middle = len(content) // 2
    spoilt = content[:4096] + b"\x5a" * 8192 + content[4096 + 8192 :]
    file.write_bytes({"rubbish": b"no database at all" * 400, "cut": content[:middle], "spoilt": spoilt}[damage])
    code, _, said = benchtest("records", "list", "--runs", runs)
    assert (4, True) == (code, "records rebuild" in said), said

    code, printed, _ = benchtest("records", "rebuild", "--runs", runs)
    assert (0, True, True) == (code, "the records were damaged" in printed, "3 new" in printed)
    assert 3 == len(rows(benchtest("records", "list", "--runs", runs, "--format", "json")))
    assert list(runs.glob("records.sqlite.damaged-*"))


def test_a_database_of_another_program_is_left_alone(tmp_path: Path) -> None:
    """Nothing is made in it."""
    file = tmp_path / "theirs.sqlite"
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    with pytest.raises(RecordsError, match="database of another program, with recipes in it"):
        open_file(file)
    with closing(sqlite3.connect(file)) as connection:
        assert [("recipes",)] == connection.execute("SELECT name FROM sqlite_master").fetchall()


def test_a_file_that_is_no_database_is_not_set_aside(benchtest: Said, runs: Path) -> None:
    """Somebody's letter, named by mistake, stays where it is."""
    letter = runs.parent / "letter.txt"
    letter.write_text("Dear customer, " * 500, encoding="utf-8")
    code, _, said = benchtest("records", "rebuild", "--runs", runs, "--records", letter)

    assert (4, True) == (code, "is no database, and is left where it is" in said)
    assert [letter] == list(runs.parent.glob("letter*"))


@pytest.mark.parametrize("place", ["", "nowhere/at/all/records.sqlite"])
def test_a_place_that_cannot_be_is_said_so(benchtest: Said, tmp_path: Path, place: str) -> None:
    """A folder, and a path below a file."""
    (tmp_path / "nowhere").write_text("a file", encoding="utf-8")
    code, _, said = benchtest(*CARWASH, "--serial", "A", "--runs", tmp_path / "runs", "--records", tmp_path / place)

    assert 0 == code
    assert "NOT in the records" in said
    assert "cannot be" in said


def test_a_full_disk_loses_no_run(benchtest: Said, runs: Path) -> None:
    """No file may grow any more: the run is whole, the records say why they lack it, and get it from its folder."""
    (runs / "records.sqlite").unlink()
    folder = next(runs.glob("*A-1*"))
    code = (
        "import resource, sys; from pathlib import Path; from benchtest.records.address import Address; "
        "from benchtest.records.database.keeping import keep; from benchtest.records.folder import read_run; "
        "folder = Path(sys.argv[1]); run = read_run(folder); address = Address.parse('', root=folder.parent); "
        "resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000)); print(keep(run, folder, address).problem)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=True, cwd=ROOT
    )

    assert "the disk" in done.stdout
    assert not list(runs.glob("records.sqlite*"))
    assert "3 new" in benchtest("records", "rebuild", "--runs", runs)[1]


def test_a_file_that_may_grow_no_more_keeps_what_it_has(bench: Records) -> None:
    """SQLite's own limit of pages stands for the disk: runs that do not fit are not there, none of them."""
    with pytest.raises(RecordsError, match="the disk is full"):
        store_without_room(bench)
    assert 10 == count(bench)


def store_without_room(bench: Records) -> None:
    """Store many runs at once where the file may be as large as it is, and no larger."""
    with bench.writing() as connection:
        connection.exec_driver_sql("PRAGMA max_page_count = 1")
        for number in range(100, 400):
            store(connection, like(number))


# ---------------------------------------------------------------- rebuilding, backing up


def test_what_was_changed_in_a_folder_is_left_out_and_named(benchtest: Said, runs: Path) -> None:
    """Evidence, journal, run file: each is found out; what is missing is remarked; the rest is brought in."""
    (runs / "records.sqlite").unlink()
    good, spoilt = runs.glob("*-A-1-*")
    (bad,) = runs.glob("*-B-2-*")
    recording = next((spoilt / "recordings").iterdir())
    content = bytearray(recording.read_bytes())
    content[len(content) // 2] ^= 1
    recording.write_bytes(content)
    next((good / "recordings").iterdir()).unlink()
    journal = (bad / "journal.jsonl").read_bytes()
    (bad / "journal.jsonl").write_bytes(journal.replace(b"B-2", b"B-3", 1))
    (runs / "holiday pictures").mkdir()
    cut_off = runs / "20260101T000000-X-Y-00000000"
    cut_off.mkdir()
    shutil.copy(good / "journal.jsonl", cut_off)
    code, printed, said = benchtest("records", "rebuild", "--runs", runs)

    assert (4, True) == (code, "1 runs (1 new), 4 folders left out" in printed), printed
    assert f"{good.name}: 1 files of evidence are not there any more" in said
    assert "was changed after the run" in said
    assert "the chain is broken" in said
    assert "holiday pictures: is not a run folder" in said
    assert "was cut off: it has no run.json" in said


def test_a_run_of_the_first_format_is_indexed(tmp_path: Path) -> None:
    """The golden run file of the first release, which has no journal beside it."""
    (tmp_path / "run.json").write_bytes(gzip.decompress((ROOT / "tests/golden/run-1.json.gz").read_bytes()))
    record = read_record(tmp_path)
    with open_file(tmp_path / "records.sqlite") as records:
        with records.writing() as connection:
            assert Stored.NEW == store(connection, record)
        with records.reading() as connection:
            (run,) = history(connection, "GOLD-1").runs
    assert ("fail", len(record.lines)) == (run.outcome, run.checks)


def test_an_old_backup_says_what_it_lacks_and_rebuild_brings_it_back(
    benchtest: Said, runs: Path, tmp_path: Path
) -> None:
    """Backed up, one more run, restored: it lacks one; after a rebuild it is there, once."""
    copy = tmp_path / "copy.sqlite"
    assert "whole, 3 runs" in benchtest("records", "backup", copy, "--runs", runs)[1]
    assert 4 == benchtest("records", "backup", copy, "--runs", runs)[0]
    benchtest(*CARWASH, "--serial", "D-4", "--runs", runs, "--json")
    _, printed, _ = benchtest("records", "restore", copy, "--runs", runs)
    assert "it lacks 1 runs ('benchtest records rebuild' brings them back)" in printed
    assert 3 == len(rows(benchtest("records", "list", "--runs", runs, "--format", "json")))
    assert "4 runs (3 there already, 1 new)" in benchtest("records", "rebuild", "--runs", runs)[1]


def test_a_backup_that_is_not_sound_replaces_nothing(benchtest: Said, runs: Path, tmp_path: Path) -> None:
    """Cut off, spoilt, rubbish, of another program, or not there: refused, and the records are as they were."""
    copy = tmp_path / "copy.sqlite"
    benchtest("records", "backup", copy, "--runs", runs)
    content = copy.read_bytes()
    for bad in (content[:-5000], content[:4096] + b"\x5a" * 8192 + content[12288:], b"rubbish" * 999):
        copy.write_bytes(bad)
        code, _, said = benchtest("records", "restore", copy, "--runs", runs)
        assert (4, True) == (code, "try another backup" in said), said
    assert 4 == benchtest("records", "restore", tmp_path / "nothing", "--runs", runs)[0]
    assert 3 == len(rows(benchtest("records", "list", "--runs", runs, "--format", "json")))
    assert {"records.sqlite"} == {path.name for path in runs.glob("records*")}


# ---------------------------------------------------------------- network shares

MOUNTS = """\
22 1 254:1 / / rw,relatime shared:1 - ext4 /dev/vda1 rw
30 22 0:26 / /mnt/depot rw,relatime shared:2 - nfs4 depot:/export rw,vers=4.2
31 22 0:27 / /mnt/with\\040blank rw - cifs //depot/share rw
32 22 0:28 / /mnt/far rw - fuse.sshfs far: rw
33 30 0:29 / /mnt/depot/here rw - tmpfs tmpfs rw
34 22 0:30 / /mnt/stick rw - vfat /dev/sdb1 rw
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/home/bench/runs/records.sqlite", ""),
        ("/mnt/depot/runs/records.sqlite", "nfs4"),
        ("/mnt/with blank/records.sqlite", "cifs"),
        ("/mnt/far/records.sqlite", "fuse.sshfs"),
        ("/mnt/depot/here/records.sqlite", ""),
        ("/mnt/depots/records.sqlite", ""),
        ("/mnt/stick/records.sqlite", ""),
    ],
)
def test_a_network_share_is_known_by_its_mount(tmp_path: Path, path: str, kind: str) -> None:
    """The nearest mount above a path decides; the table is that of proc(5)."""
    (tmp_path / "mountinfo").write_text(MOUNTS, encoding="utf-8")
    assert kind == share(Path(path), tmp_path / "mountinfo")


def test_records_on_a_share_are_refused_with_what_to_try(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The run is judged and kept in its folder; the records say why not."""
    mounts = tmp_path / "mountinfo"
    mounts.write_text(f"30 22 0:26 / {tmp_path} rw - nfs4 depot:/export rw\n", encoding="utf-8")
    monkeypatch.setattr("benchtest.records.database.shares.MOUNTS", mounts)
    write_run(tmp_path, finished_run())
    kept = keep(finished_run(), tmp_path, Address.parse("", root=tmp_path))

    assert "lies on a network share (nfs4)" in kept.problem
    assert "postgresql://" in kept.problem
    assert not (tmp_path / "records.sqlite").exists()
