"""What the fixtures give to people who write their own checks in Python: a board on its bench, opened, all off."""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from benchtest.clock import VirtualClock
from benchtest.errors import BenchtestError
from benchtest.faults import parse
from benchtest.fixture import load_fixture
from benchtest.perform import Performed, Watcher, perform
from benchtest.prepared import Prepared, prepared
from benchtest.profile import load_profile
from benchtest.profile.fitting import fit
from benchtest.pytest_plugin.asked import Asked, asked, shortest
from benchtest.pytest_plugin.held import opened
from benchtest.results import Verdict
from benchtest.rig import Rig, Virtual


@dataclass(frozen=True, kw_only=True, slots=True)
class VirtualBoard:
    """A simulated board on its simulated bench, opened, with everything off."""

    prepared: Prepared
    rig: Rig
    clock: VirtualClock

    def perform(self) -> Performed:
        """Put the board through its profile and return what came of it; off again afterwards."""
        return perform(self.prepared.procedure, self.rig, Watcher())

    def not_passed(self) -> dict[str, Verdict]:
        """Put the board through its profile and return every check that did not pass, by its identifier."""
        results = self.perform().results
        return {result.check.id: result.verdict for result in results if result.verdict is not Verdict.PASS}


@contextmanager
def virtual_board_of(item: pytest.Item) -> Iterator[VirtualBoard]:
    """Open the board of an item's mark on its simulated bench."""
    board, wanted = _prepared(item)
    if board.driver != "simulated":
        pytest.fail(f"{board.fixture.path}: its bench is not simulated, so it has no virtual board", pytrace=False)
    with opened(board, Asked(fixture=board.fixture), wanted) as rig:
        assert isinstance(rig.clock, VirtualClock)
        yield VirtualBoard(prepared=board, rig=rig, clock=rig.clock)


def clock_of(request: pytest.FixtureRequest) -> VirtualClock:
    """Return the clock of the test's virtual board, or one of its own."""
    if request.node.get_closest_marker("board") is None:
        return VirtualClock()
    board: VirtualBoard = request.getfixturevalue("virtual_board")
    return board.clock


@contextmanager
def rig_of(request: pytest.FixtureRequest) -> Iterator[Rig]:
    """Give the real bench of `--rig` when it is this process's turn, else that of the virtual board."""
    if not request.config.option.bench_rig:
        if request.node.get_closest_marker("rig") is not None:
            pytest.skip("needs a real bench (name it with --rig)")
        board: VirtualBoard = request.getfixturevalue("virtual_board")
        yield board.rig
        return
    wanted = asked(request.config)
    found, virtual = _prepared(request.node)
    try:
        with _ended_like_ctrl_c(), opened(found, wanted, virtual) as rig:
            yield rig
    except BenchtestError as problem:
        pytest.fail(str(problem), pytrace=False)


@contextmanager
def _ended_like_ctrl_c() -> Iterator[None]:
    """Let SIGTERM interrupt a test as Ctrl-C does, so that the bench is taken to safety; at once, whatever it does."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _prepared(item: pytest.Item) -> tuple[Prepared, Virtual]:
    """Return the board of an item's mark, planned, and what makes it this one."""
    mark = item.get_closest_marker("board")
    if mark is None:
        pytest.fail(
            "which board? (mark the test: @pytest.mark.board('profiles/greenhouse.yaml', variant='two-bay'))",
            pytrace=False,
        )
    try:
        return _marked(item.config, *mark.args, **mark.kwargs)
    except (BenchtestError, ValueError, TypeError) as problem:
        pytest.fail(f"mark board: {problem}", pytrace=False)


def _marked(
    config: pytest.Config,
    profile: str,
    *,
    variant: str | None = None,
    options: tuple[str, ...] = (),
    faults: tuple[str, ...] = (),
    seed: int = 1,
    fixture: str | None = None,
) -> tuple[Prepared, Virtual]:
    loaded = load_profile(shortest(config.rootpath / profile, config))
    fitted = fit(loaded.profile, variant=variant, options=tuple(options))
    found = prepared(loaded, load_fixture(_bench(config, fixture)), fitted)
    return found, Virtual(seed=seed, faults=tuple(parse(text, fitted) for text in faults))


def _bench(config: pytest.Config, fixture: str | None) -> Path:
    """Return the fixture of a mark, else the one that pytest was told of."""
    if fixture is not None and not config.option.bench_rig:
        return shortest(config.rootpath / fixture, config)
    named: Any = config.option.bench_rig or config.option.bench_fixture
    if named:
        return Path(named)
    if configured := config.getini("bench_fixture"):
        return shortest((config.inipath.parent if config.inipath else config.rootpath) / configured, config)
    raise ValueError("no bench (name one: --fixture FILE, bench_fixture in pytest's configuration, or fixture= here)")
