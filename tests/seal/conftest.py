"""A station of its own for each test, and papers under its seal."""

from dataclasses import replace
from pathlib import Path

import pytest

from benchtest.certificate.document import describe
from benchtest.certificate.sealed import seal_document
from benchtest.readings import Readings
from benchtest.seal import Sealed, Station, Stations, open_station, read_stations, seal, stations_file
from tests.records.finished import finished_run

PAPER = {
    "format": "example/1",
    "title": "Test certificate",
    "passed": True,
    "job": [{"label": "Customer", "value": "Nursery at the Lock"}, {"label": "Tested by", "value": "A. Sample"}],
    "sections": [{"title": "Supply", "rows": ["24,0 V ± 0,1 V"]}, {"title": "Lamps", "rows": []}],
    "bench": {"summary": "fit", "facts": []},
    "overrides": [],
    "suspects": None,
}


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """Folder of a new station."""
    return tmp_path / "own"


def sealed_by(station: Station, number: str = "20260314-3F9A12C4") -> Sealed:
    """Return the small paper under a station's seal."""
    return seal(PAPER, number=number, outcome="pass", serial="GZ-000417", issued="2026-03-14", station=station)


def trusting(folder: Path) -> Stations:
    """Return the list in a station's folder."""
    return read_stations(stations_file(folder))


def small_certificate(station: Station) -> Sealed:
    """Return a whole certificate of a run with one step of two checks, under a station's seal."""
    run = finished_run()
    step = replace(run.procedure.steps[0], checks=tuple(one.check for one in run.results[:2]))
    run = replace(run, results=run.results[:2], procedure=replace(run.procedure, steps=(step,)))
    document = describe(run, Readings(origin=run.origin, evidence={}))
    return seal_document(document, run, run_file="ab" * 32, station=station)


__all__ = ["PAPER", "open_station", "sealed_by", "small_certificate", "trusting"]
