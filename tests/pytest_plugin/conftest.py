"""Sessions of pytest inside a test: a copy of the shipped documents, a strict configuration, and the plugin."""

import shutil
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

from benchtest.cli import entry
from benchtest.cli.documents import Prepared

ROOT = Path(__file__).parents[2]
STRICT = "[pytest]\naddopts = --strict-markers --strict-config\nfilterwarnings = error\n"
ALONE = ("-p", "no:hypothesispytest", "-p", "no:cacheprovider")
"""Without plugins that take longer to load than a board to judge."""
Session = Callable[..., pytest.RunResult]


@pytest.fixture(scope="session")
def loaded(bench: Any, greenhouse: Prepared, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Load what a session needs, since one inside a test forgets what it was the first to load."""
    runs, here = tmp_path_factory.mktemp("runs"), ("--fixture", str(ROOT / "fixtures/simulated.yaml"))
    entry(["run", str(ROOT / "profiles/carwash.yaml"), *here, "--serial", "L1", "--runs", str(runs), "--json"])
    bench.performed(greenhouse, "K3 contact welded")
    for name in ("boards", "session", "workers"):
        import_module(f"benchtest.pytest_plugin.{name}")
    import_module("benchtest.studies.known")


@pytest.fixture
def session(pytester: pytest.Pytester, loaded: None) -> Session:
    """Run pytest with the plugin in a copy of the shipped documents."""
    del loaded
    for folder in ("profiles", "fixtures"):
        shutil.copytree(ROOT / folder, pytester.path / folder)
    (pytester.path / "pytest.ini").write_text(STRICT)
    ours = ("-p", "benchtest.pytest_plugin", *ALONE)
    return lambda *words: pytester.runpytest_inprocess(*ours, *words)
