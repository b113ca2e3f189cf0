"""A session of pytest in which a bench is named: profiles are collected, failures say where their limit stands.

The checks of a board stay on one worker of pytest-xdist, so that a board meets the bench once; those of a real bench
all do. Without that (`--dist worksteal` and the like) each worker puts a simulated board through for itself, with the
same seed and so with the same results.
"""

import re
from collections.abc import Generator, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest

from benchtest.errors import PlanError
from benchtest.pytest_plugin.asked import Asked
from benchtest.pytest_plugin.nodes import Placed, ProfileFile, Unasked, Unfit

if TYPE_CHECKING:
    from xdist.remote import Producer
    from xdist.scheduler import Scheduling

ENDINGS: Final = frozenset({".yaml", ".yml"})
HEAD: Final = 65536
"""Characters of a file in which its format is looked for; it should be the first key, and is found all the same."""
_FORMAT: Final = re.compile(r"^\ufeff?format\s*:\s*['\"]?benchtest-profile/", re.MULTILINE)


class Profiles:
    """The part of the plugin that works where a bench is named."""

    def __init__(self, asked: Asked) -> None:
        self.asked = asked

    def pytest_report_header(self) -> str:
        """Say which bench it is."""
        fixture = self.asked.fixture
        kind = "real" if self.asked.real else f"simulated, seed {self.asked.seed}"
        faults = f", faults: {'; '.join(self.asked.faults)}" if self.asked.faults else ""
        return f"bench: {fixture.fixture.bench.name}, {fixture.path} ({kind}{faults})"

    def pytest_collect_file(self, file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
        """Collect a file that says it is a profile; one that cannot be read may be one, and says so itself."""
        if file_path.suffix not in ENDINGS or not _is_profile(file_path):
            return None
        return ProfileFile.of(parent, file_path, self.asked)

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection_modifyitems(self, config: pytest.Config, items: list[pytest.Item]) -> None:
        """Refuse words that no profile knows, before anything is deselected."""
        if unknown := _unknown(self.asked, items):
            if not hasattr(config, "workerinput"):
                raise pytest.UsageError(unknown)
            items[:] = [Unfit.of(items[0].session, "asked", PlanError([unknown]))]  # a worker may not refuse usage

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_makereport(self, item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
        """Give a failure the place of its limit in the profile instead of a line of this program; so with a skip."""
        report = yield
        if not isinstance(item, Placed):
            return report
        crash = getattr(report.longrepr, "reprcrash", None)
        if crash is not None:
            crash.path, crash.lineno, crash.message = item.file, item.line, item.sentence
        elif isinstance(report.longrepr, tuple):
            report.longrepr = (item.file, item.line, report.longrepr[2])
        return report

    @pytest.hookimpl(optionalhook=True)
    def pytest_xdist_make_scheduler(self, config: pytest.Config, log: "Producer") -> "Scheduling | None":
        """Keep the checks of a board on one worker where nothing else was asked for."""
        if config.getvalue("dist") != "load":
            return None
        from benchtest.pytest_plugin.workers import BoardScheduling

        return BoardScheduling(config, log, real=self.asked.real)


def _is_profile(path: Path) -> bool:
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            return _FORMAT.search(file.read(HEAD)) is not None
    except OSError:
        return True


def _unknown(asked: Asked, items: Iterable[pytest.Item]) -> str:
    """Return the sentence for a word that no collected board has, or nothing."""
    placed = [item for item in items if isinstance(item, Placed)]
    boards = [item.board for item in placed if item.board is not None]
    unasked = [item for item in placed if isinstance(item, Unasked)]
    if not boards and len(unasked) < len(placed):
        return ""  # nobody knows what is in a document that cannot be read
    had = {board.choice.variant for board in boards} | {name for board in boards for name in board.choice.options}
    for word, names in (("variant", asked.variants), ("option", asked.options)):
        if missing := [name for name in names if placed and name not in had]:
            return f"--{word} {missing[0]!r}: no collected profile has it"
    return unasked[0].reason if unasked and len(unasked) == len(placed) else ""
