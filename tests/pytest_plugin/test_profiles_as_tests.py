"""Profiles as tests, as somebody sees it who has pytest, a folder of profiles and a strict configuration of pytest.

Each test starts a session of pytest of its own, in a copy of the shipped documents.
"""

import re
import xml.etree.ElementTree as ET
from collections import Counter
from pathlib import Path

import pytest

from benchtest.cli import entry
from benchtest.fixture import load_fixture
from benchtest.prepared import prepared
from benchtest.procedure import Procedure
from benchtest.profile import load_profile
from benchtest.profile.fitting import fit
from tests.pytest_plugin.conftest import STRICT, Session

pytest_plugins = ["pytester"]

BENCH = ("--fixture", "fixtures/simulated.yaml")
CARWASH = "profiles/carwash.yaml"


def planned(root: Path) -> Procedure:
    """Return the plan of the car-wash board, as `benchtest run` makes it."""
    loaded = load_profile(root / CARWASH)
    return prepared(loaded, load_fixture(root / "fixtures/simulated.yaml"), fit(loaded.profile)).procedure


def line_of(root: Path, text: str) -> int:
    """Return the only line of the car-wash profile that holds a text."""
    lines = (root / CARWASH).read_text(encoding="utf-8").splitlines()
    (found,) = (number for number, line in enumerate(lines, 1) if text in line)
    return found


# ---------------------------------------------------------------- what is collected


def test_there_is_an_item_for_every_check_in_its_step(session: Session, pytester: pytest.Pytester) -> None:
    """Node ids read as profile, board, step, check, in the order of the plan; the run itself comes last."""
    found = session(CARWASH, *BENCH, "--collect-only", "-q")
    wanted = [f"{CARWASH}::CW-0410::{step.id}::{c.title}" for step in planned(pytester.path).steps for c in step.checks]

    assert [*wanted, f"{CARWASH}::CW-0410::run::run complete"] == [line for line in found.outlines if "::" in line]


def test_every_variant_is_collected_bare_and_with_all_options(session: Session) -> None:
    """A profile with two variants and one option has four boards."""
    found = session("profiles/greenhouse.yaml", *BENCH, "--collect-only", "-q")

    assert ["two-bay", "two-bay with dosing", "one-bay", "one-bay with dosing"] == list(
        dict.fromkeys(line.split("::")[1] for line in found.outlines if "::" in line)
    )


def test_words_on_the_command_line_choose_the_board(session: Session) -> None:
    """One variant and one option are one board; a profile without variants is as it is."""
    found = session("profiles", *BENCH, "--variant", "one-bay", "--option", "dosing", "--collect-only", "-q")

    assert ["CW-0410", "one-bay with dosing"] == list(
        dict.fromkeys(line.split("::")[1] for line in found.outlines if "::" in line)
    )


def test_only_files_that_say_that_they_are_profiles_are_collected(session: Session, pytester: pytest.Pytester) -> None:
    """Fixtures, harnesses and other YAML are nobody's tests; a profile that begins with another key is one."""
    (pytester.path / "profiles/other.yaml").write_text("format: benchtest-fixture/1\n")
    (pytester.path / "profiles/late.yml").write_text("board: {}\nformat: benchtest-profile/1\n")
    found = session(".", *BENCH, "--collect-only", "-q", "--variant", "two-bay")

    assert {"profiles/carwash.yaml", "profiles/greenhouse.yaml", "profiles/late.yml"} == {
        line.split("::")[0] for line in found.outlines if "::" in line
    }


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--variant", "two-bya"), "--variant 'two-bya': no collected profile has it"),
        (("--option", "dosign"), "--option 'dosign': no collected profile has it"),
        (("--fault", "K3 contact wolded"), "unknown fault 'K3 contact wolded' (nearest: 'K3 contact welded'"),
        (("--attempts", "0"), "--attempts is 1 or more"),
        (("--port", "io=x"), "--port and --acknowledge are for a real bench"),
        (("--rig", "fixtures/serial.yaml"), "give one of the two"),
        (("--fixture", "fixtures/nix.yaml"), "fixtures/nix.yaml: there is no such file"),
    ],
)
def test_a_word_that_no_board_knows_is_wrong_usage(session: Session, words: tuple[str, ...], said: str) -> None:
    """A slip of the pen turns no build green: pytest ends with its exit code 4 and a sentence."""
    found = session("profiles", *BENCH, *words)

    assert pytest.ExitCode.USAGE_ERROR == found.ret
    assert said in found.stderr.str()
    assert "Traceback" not in found.stderr.str() + found.stdout.str()


def test_a_board_that_cannot_have_the_fault_is_skipped_by_its_reason(session: Session) -> None:
    """Dosing is an option of the greenhouse board: the car-wash board is left out, and says why."""
    found = session("profiles", *BENCH, "--variant", "one-bay", "--fault", "K12 contact welded", "-rs", "-q")

    found.stdout.fnmatch_lines(["SKIPPED*carwash.yaml:0: unknown fault 'K12 contact welded'*"])
    outcomes = found.parseoutcomes()
    assert 2 == outcomes["skipped"]  # and the one-bay board without dosing
    assert 0 < outcomes["failed"]


# ---------------------------------------------------------------- what is told


def test_a_good_board_passes_in_every_item(session: Session, pytester: pytest.Pytester) -> None:
    """As many passes as checks, and one for the run itself."""
    checks = sum(len(step.checks) for step in planned(pytester.path).steps)
    session(CARWASH, *BENCH).assert_outcomes(passed=checks + 1)


def test_a_failure_is_told_in_a_technicians_words(session: Session, pytester: pytest.Pytester) -> None:
    """Expected, measured with its uncertainty, where the limit stands and where to probe; no line of this program."""
    found = session(CARWASH, *BENCH, "--fault", "K3 contact welded")
    limit = line_of(pytester.path, "  open_voltage:")

    found.stdout.re_match_lines_random(
        [
            r"_+ carwash.yaml: CW-0410: K3 open contact when released _+",
            r"K3 open contact when released: fail",
            r"  expected +≥ 90 %",
            r"  measured +0\.\d+ ± 0\.\d+ % \(k = 2\)",
            rf"  limit +profiles/carwash.yaml:{limit}",
            r"  probe +X3.5-X3.6",
            r"  evidence of +CW-R3, CW-R1",
        ]
    )
    assert "pytest_plugin" not in found.stdout.str()


def test_a_failure_has_the_place_of_its_limit(session: Session, pytester: pytest.Pytester) -> None:
    """What an editor jumps to is the line in the profile, for limits of relays, of steps, and expected codes."""
    hurried = (
        (pytester.path / CARWASH).read_text(encoding="utf-8").replace("within: {max: 150 ms}", "within: {max: 2 ms}")
    )
    (pytester.path / CARWASH).write_text(hurried, encoding="utf-8")
    found = session(CARWASH, *BENCH, "--fault", "K2 slow release", "--fault", "D6 lamp dark", "--tb=line")
    places = {
        "K2 release time": line_of(pytester.path, "  release:"),
        "K1 follows the loss of main": line_of(pytester.path, "step: loss"),
        "D6 code, at rest": line_of(pytester.path, "step: code"),
    }

    found.stdout.re_match_lines_random(
        [rf"profiles/carwash.yaml:{line}: fail: {name}: expected" for name, line in places.items()]
    )


def test_what_was_not_reached_is_an_error_and_no_failure(session: Session) -> None:
    """A board whose gate fails has failed there; of the rest nobody knows, and each says why."""
    found = session(CARWASH, *BENCH, "--fault", "main shorted", "-q")
    outcomes = found.parseoutcomes()

    assert 1 <= outcomes["failed"] < 10
    assert 80 < outcomes["errors"]
    assert 0 == outcomes.get("skipped", 0)
    assert re.search(r"^not tested: K1 operate time: .+ failed before it$", found.stdout.str(), re.MULTILINE)


def test_a_broken_profile_is_one_error_and_the_others_still_run(session: Session, pytester: pytest.Pytester) -> None:
    """Every problem of it is told with file, line and column."""
    broken = (pytester.path / CARWASH).read_text(encoding="utf-8").replace("max: 5 ms", "max: 5")
    (pytester.path / "profiles/broken.yaml").write_text(broken.replace("X3.7-X3.8", "X3.7-X3.9"), encoding="utf-8")
    found = session("profiles/broken.yaml", CARWASH, *BENCH)

    found.assert_outcomes(passed=105, errors=1)
    found.stdout.re_match_lines(
        [
            r"profiles/broken.yaml:38:\d+: relay_limits.bounce.max: expected a duration such as '15 ms', got 5 without",
            r"profiles/broken.yaml:47:\d+: .*X3.9",
            r"ERROR profiles/broken.yaml::document - profiles/broken.yaml:38",
        ]
    )


def test_a_bench_that_cannot_do_it_is_one_error(session: Session, pytester: pytest.Pytester) -> None:
    """A fixture without a harness for the board says so once."""
    fixture = pytester.path / "fixtures/simulated.yaml"
    fixture.write_text(fixture.read_text(encoding="utf-8").replace("greenhouse.harness.yaml, ", ""), encoding="utf-8")
    found = session("profiles", *BENCH, "--variant", "one-bay", "--option", "dosing", "-q")

    found.assert_outcomes(passed=105, errors=1)
    found.stdout.fnmatch_lines(["*no harness for GZ-2140*"])


def test_a_bench_fault_is_an_error_of_every_item_and_the_bench_is_tried_once(session: Session) -> None:
    """A port that is not there says nothing of the board, which has neither passed nor failed."""
    found = session(CARWASH, "--rig", "fixtures/serial.yaml", "--port", "io=/dev/nix", "--port", "can=/dev/nix", "-q")

    found.assert_outcomes(errors=105)
    found.stdout.fnmatch_lines(["bench fault: cannot open '/dev/nix'*the board is not judged"])


def test_a_real_bench_is_named_as_one(session: Session) -> None:
    """With --fixture nothing real is ever opened, and one real bench holds one board."""
    unasked = session(CARWASH, "--fixture", "fixtures/serial.yaml", "-q")
    several = session("profiles", "--rig", "fixtures/serial.yaml", "-q")

    assert {"errors": 105} == unasked.parseoutcomes()
    unasked.stdout.fnmatch_lines(["*its bench is real or a person (name a real one*", "Nothing was energised."])
    several.stdout.fnmatch_lines(["3 boards were collected and one is on the bench*", "Nothing was energised."])


def test_checks_on_a_real_bench_are_marked(session: Session) -> None:
    """`-m "not rig"` keeps them out of an unattended build; on the simulated bench nothing has the mark."""
    real = session(CARWASH, "--rig", "fixtures/serial.yaml", "-m", "not rig", "--collect-only", "-q")
    simulated = session(CARWASH, *BENCH, "-m", "rig", "--collect-only", "-q")

    for found in (real, simulated):
        assert pytest.ExitCode.NO_TESTS_COLLECTED == found.ret
        found.stdout.fnmatch_lines(["*105 deselected*"])


# ---------------------------------------------------------------- once, and never again in secret


def test_attempts_are_listed_and_each_is_another_run(session: Session) -> None:
    """A repeat is a new attempt with items of its own."""
    found = session(CARWASH, *BENCH, "--attempts", "2", "--collect-only", "-q")

    assert Counter({"CW-0410, attempt 1": 105, "CW-0410, attempt 2": 105}) == Counter(
        line.split("::")[1] for line in found.outlines if "::" in line
    )


def test_whoever_repeats_an_item_meets_what_the_board_did_at_first(session: Session, pytester: pytest.Pytester) -> None:
    """A conftest that runs failed items again gets the same failure, from the same run of the board."""
    pytester.makeconftest(
        """
        from _pytest.runner import runtestprotocol

        seen = set()

        def pytest_runtest_protocol(item, nextitem):
            for attempt in range(2):
                for report in runtestprotocol(item, nextitem=nextitem, log=False):
                    if attempt:
                        item.ihook.pytest_runtest_logreport(report=report)
            seen.add(id(item.board.held()))
            return True

        def pytest_sessionfinish():
            print(f"boards put through: {len(seen)}")
        """
    )
    found = session(CARWASH, *BENCH, "--fault", "K3 contact welded", "-q", "-s")
    once = session(CARWASH, *BENCH, "--fault", "K3 contact welded", "-q", "--noconftest")

    assert "boards put through: 1" in found.stdout.str()
    assert found.parseoutcomes() == once.parseoutcomes()


def test_a_seed_makes_the_board_that_the_command_line_makes(session: Session) -> None:
    """The same readings for the same seed, others for another."""

    def measured(seed: str) -> list[str]:
        found = session(CARWASH, *BENCH, "--fault", "K3 contact welded", "--seed", seed, "-q")
        return [line for line in found.outlines if line.startswith("  measured")]

    assert measured("3") == measured("3") != measured("4")


def test_two_workers_share_the_boards_and_agree_with_one(session: Session, pytester: pytest.Pytester) -> None:
    """With `-n 2` each board is on one worker, and what comes of its checks is what one process finds."""
    words = ("profiles", *BENCH, "--variant", "one-bay", "--option", "dosing", "--fault", "K3 contact welded")
    session(*words, "--junitxml", "one.xml", "-q")
    shared = session(*words, "--junitxml", "two.xml", "-n", "2", "-v")
    lines = [found for line in shared.outlines if (found := re.match(r"\[(gw\d)\] \[.*\] \w+ (.+?)::(.+?)::", line))]
    boards = {(found[2], found[3], found[1]) for found in lines}

    assert 2 == len(boards) == len({board[:2] for board in boards})
    assert {"gw0", "gw1"} == {found[1] for found in lines}
    one, two = (counted(pytester.path / name, whole=True) for name in ("one.xml", "two.xml"))
    assert 480 == len(one)
    assert one == two


def test_a_worker_refuses_a_word_that_no_board_knows(session: Session) -> None:
    """A worker cannot end with wrong usage, so there is one error that says it."""
    found = session(CARWASH, *BENCH, "--variant", "two-bya", "-n", "1", "-q")

    found.assert_outcomes(errors=1)
    found.stdout.fnmatch_lines(["--variant 'two-bya': no collected profile has it"])


# ---------------------------------------------------------------- build servers


def ours(root: Path) -> dict[tuple[str, str], tuple[str, tuple[str, ...]]]:
    """Return the outcome and requirements of every case of the only run folder, by step and name."""
    (path,) = root.glob("runs/*/junit.xml")
    return counted(path)


def counted(path: Path, *, whole: bool = False) -> dict[tuple[str, str], tuple[str, tuple[str, ...]]]:
    """Return outcome and requirements of every case in a JUnit file, by step (or `whole` class name) and name."""
    found = {}
    for case in ET.parse(path).getroot().iter("testcase"):
        outcome = next((word for word in ("failure", "error", "skipped") if case.find(word) is not None), "passed")
        required = tuple(p.get("value", "") for p in case.iter("property") if p.get("name") == "requirement")
        place = case.get("classname", "")
        found[place if whole else place.rpartition(".")[2], case.get("name", "")] = (outcome, required)
    return found


@pytest.mark.parametrize("fault", ["", "K3 contact welded", "main shorted"])
def test_pytests_junit_and_our_own_agree(session: Session, pytester: pytest.Pytester, fault: str) -> None:
    """Names, counts, outcomes and requirements are the same in both, for a good board and for bad ones.

    The requirements stand in the run file and in the paper as JSON too.
    """
    words = ("--fault", fault) if fault else ()
    entry(["run", CARWASH, *BENCH, "--serial", "J1", *words, "--json"])
    session(CARWASH, *BENCH, *words, "--junitxml", "theirs.xml", "-q")
    theirs, own = counted(pytester.path / "theirs.xml"), ours(pytester.path)

    assert 105 == len(own)
    assert own == theirs
    totals = [
        tuple(int(suite.get(name, "0")) for name in ("tests", "failures", "errors", "skipped"))
        for path in (pytester.path / "theirs.xml", *pytester.path.glob("runs/*/junit.xml"))
        for suite in [next(element for element in ET.parse(path).getroot().iter() if element.get("failures"))]
    ]
    assert totals[0] == totals[1]
    for name in ("run.json", "certificate.json" if not fault else "report.json"):
        (written,) = pytester.path.glob(f"runs/*/{name}")
        assert '"requirement":["CW-R4"]' in written.read_text(encoding="utf-8")


# ---------------------------------------------------------------- who does not use it


def test_without_a_bench_nothing_is_collected_and_common_options_are_free(
    session: Session, pytester: pytest.Pytester
) -> None:
    """A project of its own has `--seed` and a folder of YAML, and never hears of us."""
    pytester.makeconftest("def pytest_addoption(parser):\n    parser.addoption('--seed', type=int)\n")
    pytester.makepyfile(test_own="def test_own(request):\n    assert request.config.option.seed == 5\n")

    session(".", "--seed", "5").assert_outcomes(passed=1)


def test_the_configuration_of_pytest_may_name_the_bench(session: Session, pytester: pytest.Pytester) -> None:
    """With `bench_fixture` in it, profiles are tests without a word on the command line; its path starts there."""
    (pytester.path / "pytest.ini").write_text(f"{STRICT}bench_fixture = fixtures/simulated.yaml\n")
    found = session(CARWASH, "--seed", "7")

    found.assert_outcomes(passed=105)
    found.stdout.fnmatch_lines(["bench: Simulated bench, fixtures/simulated.yaml (simulated, seed 7)"])


def test_a_conftest_may_name_the_bench(session: Session, pytester: pytest.Pytester) -> None:
    """A conftest sets the option before collection."""
    pytester.makeconftest(
        "def pytest_configure(config):\n    config.option.bench_fixture = 'fixtures/simulated.yaml'\n"
    )

    session(CARWASH).assert_outcomes(passed=105)
