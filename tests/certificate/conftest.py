"""Finished papers to look at: one that passed on a simulated bench, one of a welded relay on a real one."""

from pathlib import Path

import pytest

from benchtest.certificate import write_certificate
from benchtest.readings import Origin
from benchtest.records.folder import write_run
from tests.records.finished import WELDED, finished_readings, finished_run


@pytest.fixture(scope="session")
def passed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a simulated run that passed."""
    folder = tmp_path_factory.mktemp("passed")
    run = finished_run()
    write_run(folder, run)
    write_certificate(run, finished_readings(), folder)
    return folder


@pytest.fixture(scope="session")
def failed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a measured run that failed."""
    folder = tmp_path_factory.mktemp("failed")
    run = finished_run(welded=WELDED, origin=Origin.MEASURED)
    write_run(folder, run)
    write_certificate(run, finished_readings(welded=WELDED), folder)
    return folder
