"""Results for build servers: counted right, readable by any XML reader, whatever a document said."""

import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest

from benchtest.records.junit import write_junit
from benchtest.results import Outcome, Verdict
from tests.records.finished import WELDED, finished_run


def test_every_check_is_a_case_in_its_step(tmp_path: Path) -> None:
    """As many test cases as checks, and one for the run itself."""
    run = finished_run()
    root = ET.parse(write_junit(tmp_path, run)).getroot()
    assert [step.title for step in run.procedure.steps] == [suite.get("name") for suite in root][:-1]
    assert str(len(run.results) + 1) == root.get("tests")
    assert ("0", "1", "0", "42.500") == tuple(root.get(name) for name in ("failures", "errors", "skipped", "time"))
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


def test_what_was_not_tested_is_an_error_and_never_green(tmp_path: Path) -> None:
    """A check that nobody could look at is neither passed nor failed; its reason is the message."""
    root = ET.parse(write_junit(tmp_path, finished_run())).getroot()
    assert [("not tested", "not tested: probe_supply ripple: no channel of this bench reaches TP.19")] == [
        (error.get("type"), error.get("message")) for error in root.iter("error")
    ]


def test_what_was_read_and_not_decided_was_reached(tmp_path: Path) -> None:
    """An older run says nothing of why; that it was never reached is said only where there is no result."""
    run = finished_run()
    undecided = replace(run, results=(replace(run.results[0], verdict=Verdict.NOT_TESTED, note=""), *run.results[2:]))
    found = [error.get("message", "") for error in ET.parse(write_junit(tmp_path, undecided)).getroot().iter("error")]
    told = [message.rpartition(": ")[2] for message in found]

    assert ["nothing was decided", "never reached"] == told[:2]


@pytest.mark.parametrize("outcome", [Outcome.ABORTED, Outcome.BENCH_FAULT])
def test_a_board_that_is_not_judged_has_neither_passed_nor_failed(tmp_path: Path, outcome: Outcome) -> None:
    """When a run was stopped or its bench failed, every check is an error, those that were read before too."""
    run = replace(finished_run(welded=WELDED), outcome=outcome, reason="the lid was opened")
    root = ET.parse(write_junit(tmp_path, run)).getroot()
    checks = sum(len(step.checks) for step in run.procedure.steps)
    assert (str(checks + 1), "0", "0") == tuple(root.get(name) for name in ("errors", "failures", "skipped"))
    assert {f"{outcome}: the lid was opened; the board is not judged", "the lid was opened"} == {
        error.get("message") for error in root.iter("error")
    }


def test_a_run_that_is_inconclusive_for_no_reading_says_so_itself(tmp_path: Path) -> None:
    """Where every reading passed and the run did not, the run's own case fails."""
    run = finished_run()
    passed = tuple(result for result in run.results if result.verdict is Verdict.PASS)
    kept = {result.check.id for result in passed}
    steps = tuple(
        replace(step, checks=tuple(check for check in step.checks if check.id in kept)) for step in run.procedure.steps
    )
    open_ended = replace(
        run,
        procedure=replace(run.procedure, steps=steps),
        results=passed,
        outcome=Outcome.INCONCLUSIVE,
        reason="the run ended before its last step",
    )
    root = ET.parse(write_junit(tmp_path, open_ended)).getroot()
    assert ["run complete"] == [case.get("name") for case in root.iter("testcase") if case.find("failure") is not None]


def test_requirements_are_properties_of_their_cases(tmp_path: Path) -> None:
    """Each requirement of a check is a property of its case."""
    run = finished_run()
    first, *others = run.procedure.steps
    checks = (replace(first.checks[0], requirement=("REQ-12", "REQ-13")), *first.checks[1:])
    traced = replace(run, procedure=replace(run.procedure, steps=(replace(first, checks=checks), *others)))
    case = next(ET.parse(write_junit(tmp_path, traced)).getroot().iter("testcase"))
    assert ["REQ-12", "REQ-13"] == [
        item.get("value") for item in case.iter("property") if item.get("name") == "requirement"
    ]


def test_hostile_text_lands_as_text(tmp_path: Path) -> None:
    """Markup is escaped, and characters that XML 1.0 (2.2) forbids are replaced visibly."""
    run = finished_run(serial="<x>&\x1b\x00\ud800\uffff]]>")
    root = ET.parse(write_junit(tmp_path, run)).getroot()
    assert "GZ-2140 <x>&\ufffd\ufffd\ufffd\ufffd]]>" == root.get("name")
