"""Overdue calibrations are refused or answered for by name; the cautions are one list, on bench and paper."""

import json
from datetime import date
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader

from benchtest.cautions import CAUTIONS, ON_PAPER, before_power
from benchtest.certificate import describe, to_html, to_pdf
from benchtest.cli import group
from benchtest.cli.consent import calibration, read_override
from benchtest.cli.documents import Prepared
from benchtest.errors import DocumentError, PlanError
from benchtest.fixture import load_fixture
from benchtest.fixture.calibration import overdue
from benchtest.readings import Readings
from benchtest.records.folder import read_run
from benchtest.records.journal import read_journal
from tests.rig.conftest import Documents

LATE = ('due: "2036-03-02"}\n  ohmmeter', 'due: "2026-04-01"}\n  ohmmeter')


def ran(tmp_path: Path, documents: tuple[Path, Path], *more: str) -> Result:
    """Run the short script on a bench, with further options."""
    profile, fixture = documents
    words = ["run", str(profile), "--fixture", str(fixture), "--serial", "A1", "--runs", str(tmp_path / "runs"), *more]
    return CliRunner().invoke(group, words, standalone_mode=False)


@pytest.mark.parametrize(
    ("today", "late"),
    [(date(2026, 4, 1), ()), (date(2026, 4, 2), ("daq",)), (date(2036, 3, 3), ("daq", "ohmmeter"))],
)
def test_calibration_is_valid_up_to_its_due_date(documents: Documents, today: date, late: tuple[str, ...]) -> None:
    """The day itself is still good; the day after is not."""
    fixture = load_fixture(documents("simulated", LATE)[1], today=today).fixture

    assert late == tuple(one.name for one in overdue(fixture, today))


def test_an_overdue_instrument_ends_the_run_before_power(documents: Documents, tmp_path: Path) -> None:
    """Named, with what to try; nothing was opened, and no run folder says otherwise."""
    done = ran(tmp_path, documents("simulated", LATE))

    assert isinstance(done.exception, PlanError)
    assert 4 == done.exception.exit_code
    assert "instrument daq (data acquisition and multiplexer, serial D-0001)" in str(done.exception)
    assert "calibration was due on 2026-04-01" in str(done.exception)
    assert "--override-calibration" in str(done.exception)
    assert not (tmp_path / "runs").exists()


def test_an_override_is_on_every_paper(documents: Documents, tmp_path: Path) -> None:
    """Person and reason in run file, journal, JSON, HTML and PDF, on the first page; `show` repeats it."""
    words = ("--override-calibration", "B. Chief, back from the laboratory on Friday <b>", "--json")
    done = ran(tmp_path, documents("simulated", LATE), *words)
    folder = Path(json.loads(done.output)["folder"])
    run = read_run(folder)
    paper = json.loads((folder / "certificate.json").read_bytes())
    shown = CliRunner().invoke(group, ["show", str(folder)], standalone_mode=False).output
    (one,) = run.overrides

    assert 0 == done.return_value
    assert ("B. Chief", "back from the laboratory on Friday <b>") == (one.by, one.reason)
    assert "calibration overridden" in {entry.kind for entry in read_journal(folder / "journal.jsonl").entries}
    first, second = paper["overrides"]
    assert "CALIBRATION OVERRIDDEN by B. Chief: back from the laboratory on Friday <b>" == first
    assert "instrument daq" in second
    assert "CALIBRATION OVERRIDDEN by B. Chief: back from the laboratory on Friday &lt;b&gt;" in (
        folder / "certificate.html"
    ).read_text(encoding="utf-8")
    assert first.removesuffix(" <b>") in " ".join(_first_page(folder / "certificate.pdf").split())
    assert "CALIBRATION OVERRIDDEN by B. Chief" in shown
    assert "B. Chief: back from the laboratory" in (folder / "junit.xml").read_text(encoding="utf-8")
    assert "verified by reading back" in shown


def _first_page(path: Path) -> str:
    return PdfReader(path).pages[0].extract_text()


def test_a_paper_without_override_says_nothing_of_one(documents: Documents, tmp_path: Path) -> None:
    """An override of nothing is not kept either."""
    done = ran(tmp_path, documents(), "--override-calibration", "B. Chief, to be safe", "--json")
    folder = Path(json.loads(done.output)["folder"])
    document = describe(read_run(folder), Readings(origin=read_run(folder).origin))

    assert () == read_run(folder).overrides
    assert "OVERRIDDEN" not in to_html(document)
    assert to_pdf(document, b"{}").startswith(b"%PDF")


@pytest.mark.parametrize("text", ["", "B. Chief", "B. Chief,", ", because", " , "])
def test_an_override_has_a_name_and_a_reason(text: str) -> None:
    """Anything less is wrong usage."""
    with pytest.raises(click.UsageError, match="NAME, reason"):
        read_override(text)


def test_nobody_overrides_where_nothing_is_late(carwash: Prepared) -> None:
    """A bench in order needs nobody's name."""
    assert () == calibration(carwash.fixture.fixture, date(2027, 1, 1), None)


def test_a_calibration_that_is_still_to_come_is_a_problem_of_the_document(documents: Documents) -> None:
    """With its place: the year is wrong, or the calendar."""
    _, fixture = documents()
    with pytest.raises(
        DocumentError, match=r"simulated.yaml:\d+:\d+: .*calibrated on 2026-03-02, which is still to come"
    ):
        load_fixture(fixture, today=date(2026, 3, 1))


def test_check_warns_of_what_a_run_would_refuse(documents: Documents) -> None:
    """In words and for machines; the check itself is no run, and ends with 0."""
    profile, fixture = documents("simulated", LATE)
    words = ["check", str(profile), "--fixture", str(fixture)]
    said = CliRunner().invoke(group, words, standalone_mode=False)
    told = CliRunner().invoke(group, [*words, "--json"], standalone_mode=False)

    assert "warning: instrument daq" in said.output
    assert ["instrument daq (data acquisition and multiplexer, serial D-0001): calibration was due on 2026-04-01"] == (
        json.loads(told.output)["overdue"]
    )


def test_the_cautions_are_one_list() -> None:
    """What must be said is said before power, and the paper says its part; no key comes twice."""
    said = " ".join(before_power())
    keys = [caution.key for caution in CAUTIONS]

    assert len(set(keys)) == len(keys)
    for words in ("Extra-low voltage", "No mains", "Current limit before voltage", "discharged", "static"):
        assert words in said
    assert "not a release to run the machine" in said
    assert "Local codes and licensed practice" in said
    assert "no emergency stop that the program sees" in said
    assert "Watched all through the run on this bench: lid." in before_power(["lid"])
    assert 4 == len(ON_PAPER)


def test_a_simulated_bench_asks_for_no_acknowledgement(documents: Documents, tmp_path: Path) -> None:
    """It hurts nobody: no name is asked for, and none is kept."""
    done = ran(tmp_path, documents(), "--json")

    assert 0 == done.return_value
    assert "" == read_run(Path(json.loads(done.output)["folder"])).acknowledged
