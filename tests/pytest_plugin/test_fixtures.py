"""The fixtures for checks that somebody writes in Python."""

import pytest

from tests.pytest_plugin.conftest import Session

pytest_plugins = ["pytester"]

BENCH = ("--fixture", "fixtures/simulated.yaml")


OWN = """
import pytest

CARWASH = "profiles/carwash.yaml"


@pytest.mark.board(CARWASH)
def test_a_good_board_passes(virtual_board):
    assert {} == virtual_board.not_passed()


@pytest.mark.board(CARWASH, faults=["K3 contact welded"], seed=3)
def test_a_welded_contact_is_noticed(virtual_board):
    assert "fail" == virtual_board.not_passed()["exercise.K3.open-contact-when-released"]


@pytest.mark.board(CARWASH)
def test_the_rig_is_opened_with_everything_off(opened_rig):
    assert not opened_rig.bench.energised()


LEFT = []


@pytest.mark.board(CARWASH)
def test_power_that_is_left_on(opened_rig):
    opened_rig.source(201, volts=6.0, amps=0.1)
    assert opened_rig.bench.energised()
    LEFT.append(opened_rig.bench)


def test_is_taken_off():
    assert not LEFT[0].energised()


@pytest.mark.board(CARWASH)
def test_the_clock_is_the_boards(virtual_board, virtual_clock):
    before = virtual_clock.now()
    virtual_board.rig.wait_until(before + 600)
    assert before + 600 == virtual_clock.now()


def test_a_clock_alone_waits_for_nobody(virtual_clock):
    virtual_clock.sleep_until(3600)
    assert 3600 == virtual_clock.now()


@pytest.mark.rig
@pytest.mark.board(CARWASH)
def test_what_needs_a_real_bench_waits_for_one(opened_rig):
    raise AssertionError
"""


def test_own_checks_have_a_board_a_rig_and_a_clock(session: Session, pytester: pytest.Pytester) -> None:
    """They pass beside the profiles, and what is marked `rig` is skipped without one."""
    pytester.makepyfile(test_own=OWN)
    found = session("test_own.py", *BENCH, "-rs")

    found.assert_outcomes(passed=7, skipped=1)
    found.stdout.fnmatch_lines(["SKIPPED*needs a real bench (name it with --rig)"])


def test_a_mark_may_bring_its_own_bench(session: Session, pytester: pytest.Pytester) -> None:
    """Without any word on the command line."""
    text = OWN.replace("CARWASH = ", "BENCH = 'fixtures/simulated.yaml'\nCARWASH = ")
    pytester.makepyfile(test_own=text.replace("board(CARWASH", "board(CARWASH, fixture=BENCH"))

    session("test_own.py").assert_outcomes(passed=7, skipped=1)


@pytest.mark.parametrize(
    ("mark", "said"),
    [
        ("", "which board? (mark the test: *"),
        ("@pytest.mark.board('profiles/nix.yaml')", "mark board: profiles/nix.yaml: there is no such file*"),
        ("@pytest.mark.board('profiles/greenhouse.yaml')", "mark board: which variant? (this profile has: two-bay*"),
        ("@pytest.mark.board('profiles/carwash.yaml', faults=['x'])", "mark board: unknown fault 'x'*"),
        ("@pytest.mark.board('profiles/carwash.yaml', color=1)", "mark board: *color*"),
    ],
)
def test_a_wrong_mark_is_told_in_a_sentence(session: Session, pytester: pytest.Pytester, mark: str, said: str) -> None:
    """An error of the test with what to try, and no lines of this program."""
    pytester.makepyfile(test_own=f"import pytest\n\n{mark}\ndef test_own(virtual_board):\n    pass\n")
    found = session("test_own.py", *BENCH)

    found.assert_outcomes(errors=1)
    found.stdout.fnmatch_lines([said])
