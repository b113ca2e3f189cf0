"""Results for build servers: counted right, readable by any XML reader, whatever a document said."""

import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

from benchtest.records.junit import write_junit
from benchtest.results import Outcome, Verdict
from tests.records.finished import WELDED, finished_run


def test_every_check_is_a_case_in_its_step(tmp_path: Path) -> None:
    """As many test cases as checks, and one for the run itself."""
    run = finished_run()
    root = ET.parse(write_junit(tmp_path, run)).getroot()
    assert [step.title for step in run.procedure.steps] == [suite.get("name") for suite in root][:-1]
    assert str(len(run.results) + 1) == root.get("tests")
    assert ("0", "0", "1", "42.500") == tuple(root.get(name) for name in ("failures", "errors", "skipped", "time"))
    assert {"serial": "GZ-000417", "outcome": "pass"}.items() <= {
        item.get("name"): item.get("value") for item in root.iter("property")
    }.items()


def test_a_failure_says_expected_measured_and_where(tmp_path: Path) -> None:
    """The message names verdict, limits, value and probe terminals."""
    root = ET.parse(write_junit(tmp_path, finished_run(welded=WELDED))).getroot()
    messages = [failure.get("message", "") for failure in root.iter("failure")]
    assert 3 == len(messages)
    assert "fail: K7 release: expected 1 ms to 10 ms, measured nothing, probe X11.13-X11.14" in messages
    assert "fail: K7 open share: expected ≥ 0.9, measured 0.002 ± 0.011, probe X11.13-X11.14" in messages
    assert "fail: K7 contact off: expected broken, measured made, probe X11.13-X11.14" in messages


def test_undecided_does_not_turn_a_build_green(tmp_path: Path) -> None:
    """A conditional pass counts as a failure unless the profile accepts it."""
    run = finished_run()
    undecided = replace(run, results=(replace(run.results[1], verdict=Verdict.CONDITIONAL_PASS), *run.results[2:]))
    assert "1" == ET.parse(write_junit(tmp_path, undecided)).getroot().get("failures")
    rule = replace(run.procedure.decision, accept_conditional=True)
    accepted = replace(undecided, procedure=replace(run.procedure, decision=rule))
    assert "0" == ET.parse(write_junit(tmp_path, accepted)).getroot().get("failures")


def test_a_check_that_was_never_reached_is_skipped(tmp_path: Path) -> None:
    """A run that was stopped has an error of its own and skips the rest."""
    run = replace(finished_run(), results=(), outcome=Outcome.ABORTED, reason="stopped by the operator")
    root = ET.parse(write_junit(tmp_path, run)).getroot()
    checks = sum(len(step.checks) for step in run.procedure.steps)
    assert (str(checks), "1") == (root.get("skipped"), root.get("errors"))
    assert ["stopped by the operator"] == [error.get("message") for error in root.iter("error")]


def test_hostile_text_lands_as_text(tmp_path: Path) -> None:
    """Markup is escaped, and characters that XML 1.0 (2.2) forbids are replaced visibly."""
    run = finished_run(serial="<x>&\x1b\x00\ud800\uffff]]>")
    root = ET.parse(write_junit(tmp_path, run)).getroot()
    assert "GZ-2140 <x>&\ufffd\ufffd\ufffd\ufffd]]>" == root.get("name")
