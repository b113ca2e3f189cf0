"""What the paper says, before it is set."""

import itertools
import json
import math
import re
import time
from dataclasses import replace
from pathlib import Path

import pytest

from benchtest.certificate import describe, to_html, write_certificate
from benchtest.certificate.plots import _Axis, _ticks
from benchtest.language import english, language
from benchtest.readings import Origin, Readings
from benchtest.records.folder import write_run
from benchtest.results import Outcome, Suspected, Verdict
from tests.certificate.whole import whole_readings, whole_run
from tests.records.finished import WELDED, finished_readings, finished_run


def test_only_a_pass_is_called_a_certificate(passed: Path, failed: Path) -> None:
    """File names and titles differ, so that one cannot be handed over as the other."""
    assert {"certificate.json", "certificate.pdf", "certificate.html", "run.json"} == {p.name for p in passed.iterdir()}
    assert {"report.json", "report.pdf", "report.html", "run.json"} == {p.name for p in failed.iterdir()}
    assert "Test certificate" == json.loads((passed / "certificate.json").read_bytes())["title"]
    assert "Report of findings" == json.loads((failed / "report.json").read_bytes())["title"]


@pytest.mark.parametrize("outcome", [outcome for outcome in Outcome if outcome is not Outcome.PASS])
def test_every_other_outcome_is_a_report(outcome: Outcome) -> None:
    """Inconclusive, bench fault and aborted are reports in large words too."""
    document = describe(replace(finished_run(), outcome=outcome), finished_readings())
    assert ("Report of findings", str(outcome).upper()) == (document.title, document.outcome)
    unjudged = outcome in {Outcome.BENCH_FAULT, Outcome.ABORTED}
    assert unjudged == document.reason.endswith("; the board is not judged")


@pytest.mark.parametrize("verdict", [Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.CONDITIONAL_PASS])
def test_a_pass_that_its_results_contradict_is_not_certified(verdict: Verdict) -> None:
    """A run that calls itself passed with a result that did not is reported as inconclusive."""
    run = finished_run()
    document = describe(replace(run, results=(replace(run.results[5], verdict=verdict),)), finished_readings())
    assert ("Report of findings", "INCONCLUSIVE") == (document.title, document.outcome)
    assert [str(verdict)] == [row.verdict for row in document.not_passed]


@pytest.mark.parametrize(("tag", "said"), [("en", "Passed conditionally"), ("de", "Bedingt bestanden")])
def test_a_certificate_does_not_say_that_something_did_not_pass(tag: str, said: str) -> None:
    """Conditional passes that the method accepts are listed as what they are, not under what did not pass."""
    run = finished_run()
    decision = replace(run.procedure.decision, accept_conditional=True)
    first, *others = run.results
    results = (replace(first, verdict=Verdict.CONDITIONAL_PASS), *others)
    accepted = replace(run, procedure=replace(run.procedure, decision=decision), results=results)
    page = to_html(describe(accepted, finished_readings(), language(tag)))

    assert said in page
    assert "What did not pass" not in page
    assert "Was nicht bestanden hat" not in page
    assert "Failures first" not in page


@pytest.mark.parametrize("outcome", [Outcome.ABORTED, Outcome.BENCH_FAULT, Outcome.INCONCLUSIVE])
def test_no_more_is_claimed_than_was_tested(outcome: Outcome) -> None:
    """Where checks were not reached, the claim that the item was tested leaves them out; else it is whole."""
    run = finished_run()
    cut = describe(replace(run, results=(), outcome=outcome), finished_readings())
    whole = describe(whole_run(passed=True), whole_readings())

    assert cut.claimed[0].startswith("Except for what is listed as not tested, the item named here was tested")
    assert whole.claimed[0].startswith("The item named here was tested")
    assert cut.claimed[1:] == whole.claimed[1:]


def test_a_run_without_results_is_not_certified() -> None:
    """Nothing looked at is not a pass, and every check is listed as not tested."""
    run = finished_run()
    document = describe(replace(run, results=()), Readings(origin=Origin.MEASURED))
    assert not document.passed
    assert len(run.results) == len(document.not_tested)
    assert {"never reached"} == {row.note for row in document.not_tested}


def test_a_step_that_was_never_reached_is_named_once() -> None:
    """The page names the step, how many checks it has and why; its rows stay in the document for machines."""
    run = finished_run()
    power = {check.id for check in run.procedure.steps[0].checks}
    stopped = replace(run, results=tuple(r for r in run.results if r.check.id in power), outcome=Outcome.ABORTED)
    document = describe(stopped, finished_readings())
    rest = run.procedure.steps[1:]
    named = [(fact.label, fact.value) for fact in document.not_reached]
    assert [(step.title, f"{len(step.checks)} checks") for step in rest] == named
    assert "never reached" == document.not_reached_why
    assert () == document.left_out
    assert sum(len(s.checks) for s in rest) == len(document.not_tested)
    page = to_html(document)
    assert "Every relay in turn" in page
    assert rest[1].checks[0].title not in page


def test_a_check_left_out_of_a_step_is_listed_by_itself() -> None:
    """One check of many without a result: it is a row of its own, and no step counts as not reached."""
    run = finished_run()
    first, *others = run.results
    document = describe(replace(run, results=tuple(others)), finished_readings())
    assert first.check.title in {row.check for row in document.left_out}
    assert () == document.not_reached


def test_failures_come_first_with_the_place_to_look() -> None:
    """The box of a welded relay names check, value, limits and terminals."""
    document = describe(finished_run(welded=WELDED), finished_readings(welded=WELDED))
    first, *_ = document.not_passed
    assert ("K7 release", "–", "1 ms to 10 ms", "X11.13-X11.14") == (
        first.check,
        first.value,
        first.permitted,
        first.probe,
    )
    assert 3 == len(document.not_passed)
    assert "245 pass, 3 fail, 1 not tested" == document.counts


def test_values_have_units_and_uncertainty() -> None:
    """Value and uncertainty share a unit and end in the same place (JCGM 100:2008, 7.2.6)."""
    rows = {row.check: row for s in describe(finished_run(), finished_readings()).sections for row in s.rows}
    assert "6.20 ± 0.12 ms" == rows["K1 operate"].value
    assert "44 ± 12 mΩ" == rows["K1 resistance"].value
    assert "∞ Ω" == rows["main unpowered"].value


def test_the_paper_is_as_real_as_its_least_real_reading() -> None:
    """One replayed or simulated result among measured ones marks the whole paper."""
    run = finished_run(origin=Origin.MEASURED)
    for origin, word in ((Origin.MEASURED, ""), (Origin.REPLAYED, "REPLAYED"), (Origin.SIMULATED, "SIMULATED")):
        mixed = replace(run, results=(*run.results[1:], replace(run.results[0], origin=origin)))
        assert word == describe(mixed, finished_readings()).watermark


def test_overdue_equipment_is_named() -> None:
    """An instrument that was due before the day of test says so."""
    run = finished_run()
    overdue = replace(run, instruments=(replace(run.instruments[0], due="2026-03-13"), run.instruments[1]))
    dues = [each.due for each in describe(overdue, finished_readings()).equipment]
    assert ["2026-03-13 – OVERDUE on the day of test", "2027-03-02"] == dues


def test_every_relay_and_every_code_has_a_drawing() -> None:
    """14 relays with two panels each and two strips; each says in words what it shows."""
    drawn = {f.title: f for f in describe(finished_run(), finished_readings()).figures}
    assert {f"K{n}" for n in range(1, 15)} | {"D19", "D20"} == set(drawn)
    assert ["exercise.K3.on: order at 20 ms", "exercise.K3.off: order at 20 ms"] == [
        panel.title for panel in drawn["K3"].panels
    ]
    assert "Every relay in turn: order at 20 ms" == drawn["K1"].panels[0].title
    assert "K3 operate 6.60 ± 0.12 ms" in drawn["K3"].panels[0].alternative
    assert "read as: 12" in drawn["D20"].panels[0].alternative
    assert "lit 600 ms at 2 s" in drawn["D20"].panels[0].alternative


@pytest.mark.parametrize("span", [0.02, 0.078, 0.0999, 0.1, 0.3, 6.9, 19.9])
def test_numbers_of_an_axis_keep_apart(span: float) -> None:
    """Whatever the stretch that is drawn, two numbers are at least 36 units apart, room for `-10 ms`."""
    drawn = _ticks(_Axis(start=0.0, end=span, zero=0.3 * span), 0.0, english())
    at = [float(x) for x in re.findall(r'<text x="([0-9.]+)"', drawn)]
    assert len(at) >= 3
    assert min(right - left for left, right in itertools.pairwise(at)) >= 36


def test_drawings_are_thin() -> None:
    """No trace has more than 1000 points, so that the page stays light."""
    for figure in describe(finished_run(), finished_readings()).figures:
        for panel in figure.panels:
            assert max(path.count("L") for path in panel.svg.split("<path")) < 1000


def test_missing_recordings_leave_out_the_drawing_only() -> None:
    """Without evidence on disk the results are still printed."""
    document = describe(finished_run(), Readings(origin=Origin.SIMULATED))
    assert ((), 5) == (document.figures, len(document.sections))


def test_not_a_number_is_printed_as_such() -> None:
    """A value that is not a number is named, in value and in drawing."""
    run = finished_run()
    strange = [
        replace(r, value=math.nan, verdict=Verdict.FAIL) if isinstance(r.value, float) else r for r in run.results
    ]
    document = describe(replace(run, results=tuple(strange), outcome=Outcome.FAIL), finished_readings())
    assert "not a number" == document.not_passed[0].value


def test_the_paper_is_ready_in_time(tmp_path: Path) -> None:
    """250 results and 16 drawings as three files within 0.6 s of processor time, five times that on a busy machine."""
    run, readings = finished_run(), finished_readings()
    write_run(tmp_path, run)
    begun = time.process_time()
    write_certificate(run, readings, tmp_path)
    assert time.process_time() - begun < 5 * 0.6


def test_what_the_bench_had_to_bear_stands_on_the_paper() -> None:
    """A CAN controller that was opened anew during the run is told to whoever reads the paper, and all else."""
    run = replace(finished_run(), remarks=("link can0: the bus was off and was opened anew", "3 error frames"))
    page = to_html(describe(run, finished_readings()))

    assert "link can0: the bus was off and was opened anew; 3 error frames" in page


def test_suspects_stand_on_a_report_with_what_mends_them() -> None:
    """Probability, names, sentence and repair; one that has no name says so; none is called a finding."""
    known = Suspected(
        faults=("K3 contact welded", "K3 driver shorted"),
        probability=0.87,
        sentence="The contact of K3 has welded.",
        repair="replace relay K3",
    )
    unknown = Suspected(faults=(), probability=0.1, sentence="none of these", repair="")
    run = replace(finished_run(welded=WELDED), suspects=(known, unknown))
    document = describe(run, finished_readings(welded=WELDED))
    page = to_html(document)

    assert ["87 %", "10 %"] == [fact.label for fact in document.suspects]
    assert "K3 contact welded or K3 driver shorted: The contact of K3 has welded. To mend it: replace relay K3." in page
    assert "none of these." in page
    assert "No finding, and no part of the result." in page
