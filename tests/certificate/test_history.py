"""What came before a run: attempts at the same board, and the board as it was found."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from benchtest.certificate import describe
from benchtest.errors import DocumentError, PlanError
from benchtest.readings import Origin
from benchtest.records.attempts import LISTED, as_found, attempts
from benchtest.records.folder import write_run
from benchtest.results import Attempt, Outcome, Verdict
from tests.certificate.whole import whole_readings, whole_run
from tests.records.finished import WELDED, finished_readings, finished_run


def journal(root: Path, name: str, *, serial: str = "S-1", phase: str = "", outcome: str | None = "pass") -> Path:
    """Write the journal of an earlier run, as far as a list of attempts looks at it."""
    folder = root / name
    folder.mkdir()
    begun = {"serial": serial, "started": "2026-03-01T08:00:00+01:00", "job": {"phase": phase}}
    lines = [{"kind": "begins", "facts": begun}, {"kind": "opened", "facts": {"origin": "measured"}}]
    lines += [] if outcome is None else [{"kind": "ended", "facts": {"outcome": outcome}}]
    text = "".join(json.dumps(line, separators=(",", ":")) + "\n" for line in lines)
    (folder / "journal.jsonl").write_text(text)
    return folder


def test_every_attempt_is_told_however_it_ended(tmp_path: Path) -> None:
    """Passed, cut off and unreadable, oldest first; not this run, and no board whose serial only looks alike."""
    journal(tmp_path, "20260301T080000-P1-S-1-aa", phase="as found", outcome="fail")
    journal(tmp_path, "20260302T080000-P1-S-1-bb", outcome=None)
    (journal(tmp_path, "20260303T080000-P1-S-1-cc") / "journal.jsonl").write_text('{"kind":"begins","facts":[]}\n')
    journal(tmp_path, "20260304T080000-P1-S-1-dd", serial="S/1")
    this = journal(tmp_path, "20260305T080000-P1-S-1-ee")
    found, more = attempts(tmp_path, part="P1", serial="S-1", but=this)
    assert [("fail", "as found"), ("cut off", ""), ("unreadable", "")] == [(one.outcome, one.phase) for one in found]
    assert 0 == more


def test_many_attempts_are_counted(tmp_path: Path) -> None:
    """The latest are listed, those before them are counted, and the paper says so."""
    for day in range(1, LISTED + 4):
        journal(tmp_path, f"202603{day:02}T080000-P1-S-1-{day:02}")
    found, more = attempts(tmp_path, part="P1", serial="S-1", but=tmp_path)
    assert (LISTED, 3) == (len(found), more)
    run = replace(finished_run(), attempts=found, attempts_left_out=more)
    document = describe(run, finished_readings())
    assert LISTED == len(document.attempts)
    assert "3 still earlier ones are not listed." in document.attempts_said


def test_an_attempt_is_printed_with_how_it_ended() -> None:
    """When, outcome, phase, folder; a board that was never here before says so too."""
    one = Attempt(folder="f-1", started="2026-03-13T09:00:00+01:00", outcome="bench fault", phase="as found")
    document = describe(replace(finished_run(), attempts=(one,)), finished_readings())
    assert ("2026-03-13 09:00:00+01:00", "BENCH FAULT, as found, run f-1") == (
        document.attempts[0].label,
        document.attempts[0].value,
    )
    assert any("No earlier run" in line for line in describe(finished_run(), finished_readings()).attempts_said)


def test_a_repair_shows_by_what_changed() -> None:
    """Failed then and passed now, side by side; what passed both times is a number."""
    document = describe(whole_run(passed=True), whole_readings())
    assert document.comparison is not None
    changes = {one.check: (one.found, one.left) for one in document.comparison.changes}
    assert ("✗ –, fail", "✓ 5.40 ± 0.12 ms, pass") == changes["K7 release"]
    assert {"K7 release", "K7 open share", "K7 contact off", "probe_supply ripple"} == set(changes)
    assert document.comparison.unchanged.startswith("15 further checks passed as found and as left.")
    sides = {one.label: (one.found, one.left) for one in document.comparison.sides}
    assert ("FAIL", "PASS") == sides["Outcome"]
    assert ("X10 3-4", "X10 1-2") == sides["Jumper plugs, as stated"]
    assert ("two-bay", "two-bay") == sides["Variant"]


def test_a_paper_rests_on_the_run_as_found_too() -> None:
    """A measured run that is compared with a simulated one is not called real."""
    run = whole_run(passed=True, origin=Origin.MEASURED)
    results = tuple(replace(one, origin=Origin.MEASURED) for one in run.results)
    assert "SIMULATED" == describe(replace(run, results=results), whole_readings()).watermark
    assert "" == describe(replace(run, results=results, before=None), whole_readings()).watermark


def test_a_board_as_left_without_its_run_as_found_says_so() -> None:
    """The paper does not pass over in silence that there is nothing to compare with."""
    document = describe(finished_run(), finished_readings())
    assert document.comparison is None
    assert "no run as found was named" in document.no_comparison


def test_the_run_as_found_is_of_the_same_board_before_its_repair(tmp_path: Path) -> None:
    """Another board, a run as left, or a folder that is none is refused with what to name."""
    run = finished_run(welded=WELDED)
    found = replace(run, job=replace(run.job, phase="as found"))
    write_run(tmp_path, found)
    before = as_found(tmp_path, part="GZ-2140", serial="GZ-000417")
    assert (Outcome.FAIL, Verdict.FAIL) == (before.outcome, before.results[f"exercise.K{WELDED}.release"].verdict)
    with pytest.raises(PlanError, match=r"is of board GZ-2140 GZ-000417, not of GZ-2140 GZ-9 \(name the run as found"):
        as_found(tmp_path, part="GZ-2140", serial="GZ-9")
    write_run(tmp_path, run)
    with pytest.raises(PlanError, match="of the board as left"):
        as_found(tmp_path, part="GZ-2140", serial="GZ-000417")
    with pytest.raises(DocumentError, match="is this a run folder"):
        as_found(tmp_path / "nowhere", part="GZ-2140", serial="GZ-000417")
