"""What all tests share: a skipped check fails the suite where everything must run."""

import os

import pytest

EVERYTHING = bool(os.environ.get("CI"))


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """A check that was skipped on the build machine would be skipped everywhere."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    skipped = len(reporter.stats.get("skipped", [])) if reporter is not None else 0
    if EVERYTHING and skipped and exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
        reporter.write_line(f"{skipped} skipped: everything must run here", red=True)
