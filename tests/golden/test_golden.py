"""Files of released formats stay readable: each was written by the program of its day and is never written again."""

import gzip
from pathlib import Path

import pytest

from benchtest.certificate import describe
from benchtest.readings import Readings
from benchtest.records.folder import read_run
from benchtest.results import Outcome, Run, Verdict

HERE = Path(__file__).parent


@pytest.fixture
def first(tmp_path: Path) -> Run:
    """The run of a greenhouse board with a welded K3, in format benchtest-run/1 before budgets were stored."""
    (tmp_path / "run.json").write_bytes(gzip.decompress((HERE / "run-1.json.gz").read_bytes()))
    return read_run(tmp_path)


def test_a_run_of_the_first_format_is_read_whole(first: Run) -> None:
    """Outcome, identity and every result of the old file are there."""
    verdicts = [result.verdict for result in first.results]

    assert ("benchtest-run/1", "GOLD-1", Outcome.FAIL) == (first.format, first.job.serial, first.outcome)
    assert sum(len(step.checks) for step in first.procedure.steps) == len(verdicts)
    assert {Verdict.PASS, Verdict.FAIL, Verdict.NOT_TESTED} >= set(verdicts) >= {Verdict.PASS, Verdict.FAIL}


def test_numbers_of_the_first_format_keep_their_uncertainty(first: Run) -> None:
    """Every stated uncertainty of the old file was at k = 2."""
    stated = [result for result in first.results if result.uncertainty is not None]

    assert len(stated) > 100
    assert {2.0} == {result.coverage for result in stated}


def test_what_the_first_format_did_not_know_has_its_default(first: Run) -> None:
    """No budgets, no risks, the non-binary rule, nothing shared among channels: as it was then."""
    assert all(result.budget is None and result.risk is None for result in first.results)
    assert ("non-binary", 2.0) == (first.procedure.decision.rule, first.procedure.decision.coverage)
    assert () == first.procedure.unresolved
    assert {0.0} == {channel.shared for channel in first.procedure.channels.values()}


def test_a_run_of_the_first_format_is_printed_today(first: Run) -> None:
    """Certificate and terminal still take it: readings, rule, and no budget where there is none."""
    document = describe(first, Readings(origin=first.origin))

    assert "Report of findings" == document.title
    assert any("k = 2" in sentence for sentence in document.rule)
    assert all("k =" not in row.value for section in document.sections for row in section.rows)
