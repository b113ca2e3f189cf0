"""Profiles as tests: `pytest profiles/ --fixture fixtures/simulated.yaml`. A door beside the command line.

Every start of pytest in an environment with Benchtest loads this module, so it loads nothing but pytest itself, and
does nothing until a bench is named: by `--fixture`, `--rig`, or `bench_fixture` in pytest's own configuration. The
options that say which board it shall be have common names; they are there only then, and a project may have its own.

PYTEST_DONT_REWRITE: its assertions are about itself and need no telling.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from benchtest.clock import VirtualClock
    from benchtest.pytest_plugin.boards import VirtualBoard
    from benchtest.rig import Rig

BOARD = (
    "board(profile, variant=None, options=(), faults=(), seed=1, fixture=None): the board of the fixtures "
    "`virtual_board` and `opened_rig`; its paths start at the root of the tests."
)
RIG = "rig: needs the real bench of --rig; every check of a profile has it there."


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add what names a bench."""
    group = parser.getgroup("benchtest", "boards on a bench")
    group.addoption(
        "--fixture",
        dest="bench_fixture",
        metavar="FILE",
        help="Collect profiles as tests, on the simulated bench of this fixture. It brings more options: see "
        "'pytest --fixture FILE --help'.",
    )
    group.addoption("--rig", dest="bench_rig", metavar="FILE", help="The same on the real bench of this fixture.")
    parser.addini("bench_fixture", "Fixture of --fixture where that is not given; its path starts here.", default="")


@pytest.hookimpl(tryfirst=True)
def pytest_load_initial_conftests(early_config: pytest.Config, parser: pytest.Parser) -> None:
    """Add what says which board, once a bench is named."""
    known = early_config.known_args_namespace
    if known.bench_fixture or known.bench_rig or early_config.getini("bench_fixture"):
        from benchtest.pytest_plugin.asked import add_options

        add_options(parser)


@pytest.hookimpl(trylast=True)
def pytest_configure(config: pytest.Config) -> None:
    """Make the marks known; where a bench is named, also by somebody's conftest, take part in this session."""
    for mark in (BOARD, RIG):
        config.addinivalue_line("markers", mark)
    if config.option.bench_fixture or config.option.bench_rig or config.getini("bench_fixture"):
        from benchtest.pytest_plugin.asked import asked
        from benchtest.pytest_plugin.session import Profiles

        config.pluginmanager.register(Profiles(asked(config)), "benchtest profiles")


@pytest.fixture
def virtual_board(request: pytest.FixtureRequest) -> Iterator["VirtualBoard"]:
    """Give the board of the test's mark `board` on its simulated bench, opened, with everything off."""
    from benchtest.pytest_plugin.boards import virtual_board_of

    with virtual_board_of(request.node) as board:
        yield board


@pytest.fixture
def virtual_clock(request: pytest.FixtureRequest) -> "VirtualClock":
    """Give a clock that waits for nobody: the virtual board's where the test has one, else one of its own."""
    from benchtest.pytest_plugin.boards import clock_of

    return clock_of(request)


@pytest.fixture
def opened_rig(request: pytest.FixtureRequest) -> Iterator["Rig"]:
    """Give the opened bench with everything off, and take it back to that: with `--rig` the real one."""
    from benchtest.pytest_plugin.boards import rig_of

    with rig_of(request) as rig:
        yield rig
