"""The command line as a person or a pipeline uses it: as a process, its words and its exit codes."""

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pexpect
import pytest

ROOT = Path(__file__).parent.parent.parent
Benchtest = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture
def benchtest(tmp_path: Path) -> Benchtest:
    """Run a command in a copy of the shipped documents."""
    for folder in ("profiles", "fixtures"):
        shutil.copytree(ROOT / folder, tmp_path / folder)

    def run(*words: str, **environment: str) -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [sys.executable, "-m", "benchtest", *words],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=60,
            check=False,
            env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
        )

    return run


CARWASH = ("run", "profiles/carwash.yaml", "--fixture", "fixtures/simulated.yaml")
GREENHOUSE = ("run", "profiles/greenhouse.yaml", "--fixture", "fixtures/simulated.yaml")


def test_a_good_board_ends_with_zero_and_its_papers(benchtest: Benchtest, tmp_path: Path) -> None:
    """Exit 0, and the run folder holds journal, run file, certificate in three forms, JUnit, recordings."""
    done = benchtest(*CARWASH, "--serial", "A1", "--technician", "A. Tester", "--json")
    summary = json.loads(done.stdout)
    folder = tmp_path / summary["folder"]

    assert (0, "pass", 0) == (done.returncode, summary["outcome"], summary["exit_code"])
    names = {path.name for path in folder.iterdir()}
    assert {"journal.jsonl", "run.json", "certificate.json", "certificate.pdf", "certificate.html"} <= names
    assert {"junit.xml", "recordings"} <= names


def test_one_seed_prints_the_same_readings_twice(benchtest: Benchtest, tmp_path: Path) -> None:
    """The same command twice with one seed: every result equal."""
    results = []
    for _ in range(2):
        summary = json.loads(benchtest(*CARWASH, "--serial", "A1", "--seed", "9", "--json").stdout)
        results.append(json.loads((tmp_path / summary["folder"] / "run.json").read_text(encoding="utf-8"))["results"])

    assert results[0] == results[1]


def test_a_faulty_board_ends_with_one_and_a_report_not_a_certificate(benchtest: Benchtest, tmp_path: Path) -> None:
    """Exit 1, the first failing line names the relay and where to probe, and no file is called a certificate."""
    done = benchtest(*CARWASH, "--serial", "A1", "--fault", "K2 contact never closes")
    failing = [line for line in done.stdout.splitlines() if line.strip().startswith("FAIL")]

    assert 1 == done.returncode
    assert "K2" in failing[0]
    assert "probe X3.3-X3.4" in failing[0]
    folder = next((tmp_path / "runs").iterdir())
    assert not list(folder.glob("certificate.*"))
    assert (folder / "report.pdf").is_file()


def test_show_reads_a_run_back_and_notices_a_changed_recording(benchtest: Benchtest, tmp_path: Path) -> None:
    """`show` prints the run; after one byte of evidence changes it says which file, and not a word of a verdict.

    A step that the run does not have is wrong usage, not a run of which nothing is to be shown.
    """
    benchtest(*CARWASH, "--serial", "A1")
    folder = next((tmp_path / "runs").iterdir())
    whole = benchtest("show", str(folder))
    unknown = benchtest("show", str(folder), "--step", "K1")
    recording = next((folder / "recordings").iterdir())
    content = bytearray(recording.read_bytes())
    content[len(content) // 2] ^= 1
    recording.write_bytes(content)
    changed = benchtest("show", str(folder))

    assert whole.returncode == 0
    assert "PASS" in whole.stdout
    assert (2, "") == (unknown.returncode, unknown.stdout)
    assert "no step of this run is called 'K1'" in unknown.stderr
    assert "exercise-K1" in unknown.stderr
    assert changed.returncode == 4
    assert recording.name in changed.stderr
    assert "PASS" not in changed.stdout


def test_what_was_cut_off_says_what_it_knows(benchtest: Benchtest, tmp_path: Path) -> None:
    """A bench that could not be opened: `show` says why; nothing else takes the folder for a finished run, or for none.

    What was cut off has no run file, and the folder is a run folder all the same.
    """
    ports = ("--port", "io=/dev/none", "--port", "can=/dev/none")
    words = ("run", "profiles/carwash.yaml", "--fixture", "fixtures/serial.yaml", "--serial", "A1", *ports)
    assert 5 == benchtest(*words).returncode
    folder = str(next((tmp_path / "runs").iterdir()))
    shown, sealed = benchtest("show", folder), benchtest("certificate", "seal", folder)

    assert 5 == shown.returncode
    assert "the bench could not be opened, or not be closed: cannot open '/dev/none'" in shown.stdout
    assert 4 == sealed.returncode
    assert "the run was cut off ('benchtest show' says how far it came)" in sealed.stderr


def test_a_folder_whose_name_is_no_text_is_refused_before_power(benchtest: Benchtest, tmp_path: Path) -> None:
    """A name in an old code page, as on a stick from elsewhere: neither journal nor records could hold it."""
    root = os.fsdecode(os.fsencode(tmp_path) + b"/l\xe4ufe")
    done = benchtest(*CARWASH, "--serial", "A1", "--runs", root)

    assert (2, "") == (done.returncode, done.stdout.partition("\n")[2])
    assert "a name in it is not text in UTF-8" in done.stderr
    assert not Path(root).exists()


WRONG = [
    ("unknown variant", (*GREENHOUSE, "--serial", "A1", "--variant", "three-bay"), 2, "unknown variant 'three-bay'"),
    ("no variant", (*GREENHOUSE, "--serial", "A1"), 2, "which variant?"),
    (
        "unknown option",
        (*CARWASH, "--serial", "A1", "--option", "gold"),
        2,
        "unknown option 'gold' (this profile has none, leave it out)",
    ),
    ("path in the serial", (*CARWASH, "--serial", "../../etc/x"), 2, "'/'"),
    ("control character in the serial", (*CARWASH, "--serial", "A\x1b[31m"), 2, r"\x1b"),
    ("unknown fault", (*CARWASH, "--serial", "A1", "--fault", "K9 sulks"), 2, "K9 sulks"),
    ("unknown revision", (*CARWASH, "--serial", "A1", "--revision", "Z"), 2, "revision 'Z'"),
    ("unknown adapter", (*CARWASH, "--serial", "A1", "--port", "xy=/dev/null"), 2, "adapters of this fixture"),
    ("port of a simulated adapter", (*CARWASH, "--serial", "A1", "--port", "io=/dev/null"), 2, "io is simulated"),
    ("no profile", ("check", "profiles/none.yaml"), 4, "profiles/none.yaml"),
    ("a folder as profile", ("check", "profiles"), 4, "profiles"),
    ("no run", ("show", "runs/none"), 4, "(is this a run folder?)"),
    (
        "port missing",
        ("run", "profiles/carwash.yaml", "--fixture", "fixtures/serial.yaml", "--serial", "A1"),
        4,
        "--port io=",
    ),
    (
        "port not there",
        (
            "run",
            "profiles/carwash.yaml",
            "--fixture",
            "fixtures/serial.yaml",
            "--serial",
            "A1",
            "--port",
            "io=/dev/none",
        ),
        5,
        "/dev/none",
    ),
    (
        "fault on a real bench",
        (
            "run",
            "profiles/carwash.yaml",
            "--fixture",
            "fixtures/serial.yaml",
            "--serial",
            "A1",
            "--fault",
            "K1 contact welded",
        ),
        2,
        "benchtest simulate",
    ),
]


def test_a_reader_that_goes_away_changes_no_verdict(tmp_path: Path) -> None:
    """`run … | head -1` goes on to its end: a faulty board is still 1, never the 0 of a pass, and has its report."""
    words = [*CARWASH, "--serial", "A1", "--fault", "K2 contact never closes", "--runs", str(tmp_path)]
    command = [sys.executable, "-m", "benchtest", *words]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        said = process.stderr.read()

    assert (1, "") == (process.returncode, said)
    assert list(tmp_path.glob("*/report.pdf"))


def test_a_bench_that_cannot_be_opened_judges_nothing(benchtest: Benchtest) -> None:
    """The last sentence says that the board is not judged, as it does after a bench fault in mid-run."""
    done = benchtest(*CARWASH[:-1], "fixtures/serial.yaml", "--serial", "A1", "--port", "io=/dev/none")

    assert 5 == done.returncode
    assert "The board is not judged." == done.stderr.splitlines()[-1]


def test_a_disk_that_takes_no_more_ends_the_run_without_a_verdict(tmp_path: Path) -> None:
    """No file may grow beyond 100 kB, too little for K1: exit code 5, the safe state, what to try, no verdict."""
    code = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000)); "
        "from benchtest.cli import entry; sys.exit(entry(sys.argv[1:]))"
    )
    words = [*CARWASH, "--serial", "A1", "--runs", str(tmp_path / "runs")]
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=False, cwd=ROOT)

    assert 5 == done.returncode
    assert f"{tmp_path / 'runs'}: File too large, so the run cannot be kept" in done.stderr
    assert "another folder with --runs" in done.stderr
    *_, safe, last = done.stderr.splitlines()
    assert ("safe state: everything off, read back from the adapter", "The board is not judged.") == (safe, last)
    assert "PASS" not in done.stdout


@pytest.mark.parametrize(("words", "code", "said"), [row[1:] for row in WRONG], ids=[row[0] for row in WRONG])
def test_wrong_input_ends_with_its_sentence_and_code(
    benchtest: Benchtest, words: tuple[str, ...], code: int, said: str
) -> None:
    """Every wrong word is answered by what was found and what to try, never by a traceback."""
    done = benchtest(*words)

    assert code == done.returncode
    assert said in done.stderr
    assert "Traceback" not in done.stdout + done.stderr


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("load: water valve", "lode: water valve", "lode"),
        ("nominal: 24 V", "nominal: 24", "without a unit"),
        ("nominal: 24 V", "nominal: 24 A", "'A' is not a unit of voltage"),
        ("make: X3.3-X3.4", "make: X3.1-X3.2", "X3.1"),
        ("lamp: D4}", "lamp: D44}", "D44"),
        ("{min: 1 ms, max: 45 ms}", "{min: 50 ms, max: 45 ms}", "lies above upper limit"),
        ("nominal: 24 V", "nominal: 60 V", "this bench gives at most 30 V"),
        ("  K2: {load: foam pump", "  K1: {load: foam pump", "K1"),
        ("    lamp: D5", "\tlamp: D5", "tab"),
    ],
)
def test_a_wrong_profile_is_refused_with_its_place_and_nothing_is_energised(
    benchtest: Benchtest, tmp_path: Path, old: str, new: str, said: str
) -> None:
    """Exit 4, file:line:column, what was found, and no run folder."""
    profile = tmp_path / "profiles/carwash.yaml"
    text = profile.read_text(encoding="utf-8")
    assert old in text
    profile.write_text(text.replace(old, new, 1), encoding="utf-8")
    done = benchtest(*CARWASH, "--serial", "A1")

    assert 4 == done.returncode
    assert said in done.stderr
    assert "Nothing was energised." in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "runs").exists()


def test_a_missing_signal_database_is_named(benchtest: Benchtest, tmp_path: Path) -> None:
    """The DBC is looked for beside the profile."""
    (tmp_path / "profiles/greenhouse.dbc").unlink()
    done = benchtest(*GREENHOUSE, "--serial", "A1", "--variant", "two-bay")

    assert 4 == done.returncode
    assert "greenhouse.dbc" in done.stderr


def test_a_terminal_without_special_characters_is_understood(benchtest: Benchtest) -> None:
    """Where the encoding is ASCII, plain spellings stand in for ± and Ω."""
    done = benchtest(*CARWASH, "--serial", "A1", "--fault", "K1 contact welded", PYTHONIOENCODING="ascii")

    assert 1 == done.returncode
    assert "+/-" in done.stdout


def test_help_imports_click_and_little_else() -> None:
    """Nothing heavy is loaded for `--help`."""
    code = (
        "import sys; from benchtest.cli import entry; entry(['--help']); "
        "heavy = {'numpy', 'pydantic', 'yaml', 'can', 'cantools', 'typst', 'rich', 'jinja2', 'serial', "
        "'sqlalchemy', 'alembic', 'psycopg'}; "
        "print('loaded:', sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)

    assert "loaded: []" in done.stdout


@pytest.mark.parametrize("document", ["profile", "fixture", "harness"])
def test_schemas_are_json_schema(benchtest: Benchtest, document: str) -> None:
    """What editors get is a JSON Schema with descriptions of quantities."""
    schema = json.loads(benchtest("schema", document).stdout)

    assert "format" in schema["properties"]
    assert schema["additionalProperties"] is False


def test_faults_lists_what_run_takes(benchtest: Benchtest) -> None:
    """Each line begins with a text that --fault takes and says what it means."""
    lines = benchtest("faults", "profiles/greenhouse.yaml").stdout.splitlines()

    welded = next(line for line in lines if line.startswith("K3 contact welded "))
    assert "The contact of K3 has welded" in welded
    assert "{" not in "".join(lines)
    assert len(lines) > 100


def test_a_terminal_gets_no_line_that_is_wider_than_itself(tmp_path: Path) -> None:
    """At 80 columns nothing is cut inside a word, and a failing line says where to probe."""
    words = [*CARWASH, "--serial", "A1", "--fault", "K2 contact never closes", "--runs", str(tmp_path)]
    environment = {**os.environ, "COLUMNS": "80", "TERM": "xterm"}
    child = pexpect.spawn(
        sys.executable, ["-m", "benchtest", *words], cwd=ROOT, env=environment, dimensions=(24, 80), encoding="utf-8"
    )
    said = child.read()
    child.wait()
    plain = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "\r\n", said)
    lines = [line for line in re.split(r"[\r\n]+", plain) if str(tmp_path) not in line]

    assert 1 == child.exitstatus
    assert max(len(line) for line in lines) <= 80
    assert "probe X3.3-X3.4" in " ".join(plain.split())


def test_a_poor_bench_is_refused_with_every_reason_unless_asked_to_go_as_far_as_it_can(benchtest: Benchtest) -> None:
    """Exit 4 and each reading by name without the flag; with it the same list, and exit 0 of the check."""
    words = ("check", "profiles/carwash.yaml", "--fixture", "fixtures/relaybox.yaml")
    refused, possible = benchtest(*words), benchtest(*words, "--as-far-as-possible")

    assert (4, 0) == (refused.returncode, possible.returncode)
    assert "K1 operate time: a tolerance of 44 ms needs" in refused.stderr
    assert "11 problems. Nothing was energised." in refused.stderr
    assert "11 of the readings are not possible on this bench:" in possible.stdout
    assert "bench channels left on: what adapter box does cannot be read back" in possible.stdout


def test_check_says_what_a_bench_without_dead_man_needs(benchtest: Benchtest) -> None:
    """A relay board on frames: a watchdog relay outside it, a meter for the safe state; a whole bench needs none."""
    words = ("check", "profiles/carwash.yaml", "--as-far-as-possible", "--fixture")
    box, whole = benchtest(*words, "fixtures/relaybox.yaml"), benchtest(*words, "fixtures/serial.yaml")

    assert "Caution: adapter box has no dead-man" in box.stdout
    assert "a watchdog relay outside it must cut the supply of the bench" in box.stdout
    assert "cannot be read back: verify the safe state with a meter" in box.stdout
    assert "Caution" not in whole.stdout
