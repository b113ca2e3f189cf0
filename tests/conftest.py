"""What all tests share: a skipped check fails the suite where everything must run."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchtest.cli.documents import Prepared, prepare
from benchtest.faults import parse
from benchtest.perform import Performed, Watcher, perform
from benchtest.rig import Virtual, open_rig
from tests.servers.postgresql import Absent, Server, served

EVERYTHING = bool(os.environ.get("CI"))
os.environ.setdefault("BENCHTEST_RECORDS", "none")
"""Only the tests of the records keep any: a database in every folder of every other test would cost a minute."""


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """A check that was skipped on the build machine would be skipped everywhere."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    skipped = len(reporter.stats.get("skipped", [])) if reporter is not None else 0
    if EVERYTHING and reporter is not None and skipped and exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
        reporter.write_line(f"{skipped} skipped: everything must run here", red=True)


ROOT = Path(__file__).parent.parent


MARKED = {"benchmark": {"benchmarks"}, "waits": {"adapters", "conformance", "rig", "server", "wires"}}
"""Folders of tests by the mark that all their tests get: measures speed; waits for real time more than it computes."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What measures speed, and what waits, is marked, so that each can run in the company that it bears."""
    for item in items:
        folder = item.path.relative_to(ROOT / "tests").parts[0]
        for mark, folders in MARKED.items():
            if folder in folders:
                item.add_marker(getattr(pytest.mark, mark))


@pytest.fixture(scope="session", autouse=True)
def station(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The station that seals in these tests, in a folder of its own: nobody's own key is touched."""
    folder = tmp_path_factory.mktemp("station")
    os.environ["BENCHTEST_STATION"] = str(folder)
    return folder


class Bench:
    """The shipped boards on the embedded bench, in virtual time."""

    @staticmethod
    def prepared(
        profile: str, *, variant: str | None = None, options: tuple[str, ...] = (), fixture: str = "simulated"
    ) -> Prepared:
        """Load, fit and plan a shipped board."""
        return prepare(ROOT / f"profiles/{profile}.yaml", ROOT / f"fixtures/{fixture}.yaml", variant, options)

    @staticmethod
    def performed(prepared: Prepared, *faults: str, seed: int = 1, watcher: Watcher | None = None) -> Performed:
        """Perform a prepared procedure with a simulated board that has these faults."""
        virtual = Virtual(seed=seed, faults=tuple(parse(text, prepared.fitted) for text in faults))
        rig = open_rig(
            prepared.procedure,
            prepared.fitted,
            fixture=prepared.fixture.fixture,
            harness=prepared.harness,
            ports={},
            virtual=virtual,
        )
        with rig as opened:
            return perform(prepared.procedure, opened, watcher or Watcher())


@pytest.fixture(scope="session")
def bench() -> Bench:
    """The shipped boards on the embedded bench."""
    return Bench()


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Server]:
    """A PostgreSQL server that all tests share; each takes a database of its own from it."""
    try:
        with served() as running:
            yield running
    except Absent as problem:
        if EVERYTHING:
            raise
        pytest.skip(str(problem))


@pytest.fixture(scope="session")
def greenhouse(bench: Bench) -> Prepared:
    """The greenhouse board with everything fitted, planned for the embedded bench."""
    return bench.prepared("greenhouse", variant="two-bay", options=("dosing",))


@pytest.fixture(scope="session")
def carwash(bench: Bench) -> Prepared:
    """The car-wash board, planned for the embedded bench."""
    return bench.prepared("carwash")
