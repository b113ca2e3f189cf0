"""Labels: their size, their code read back by another program, and what stands on them."""

import io
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from pypdf import PdfReader

from benchtest.certificate.label import Label, label_of, to_label
from benchtest.language import language
from benchtest.readings import Origin
from benchtest.results import Run
from benchtest.seal.statement import Statement
from tests.certificate.test_pdf import HOSTILE
from tests.records.finished import WELDED, finished_run

TEXT = "BT1/20260314-3F9A12C4/PASS/GZ-000417/2026-03-14/" + "AB23" * 13 + "/" + "CD45" * 13 + "/" + "EF67" * 26
MILLIMETRE = 72 / 25.4


def sealed(outcome: str = "pass") -> Statement:
    return Statement(
        number="20260314-3F9A12C4", outcome=outcome, serial="GZ-000417", issued="2026-03-14", digest="", key=""
    )


def label(run: Run, outcome: str = "pass", tag: str = "en") -> Label:
    return label_of(run, sealed(outcome), TEXT, language(tag))


def picture(pdf: bytes, folder: Path, dots: int) -> Image.Image:
    (folder / "label.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", str(dots), "-gray", "label.pdf", "label"], cwd=folder, check=True, timeout=60)
    return Image.open(next(folder.glob("label-*.pgm")))


@pytest.mark.parametrize(("layout", "wide", "high"), [("roll", 62, 36), ("sheet", 210, 297)])
def test_a_label_has_the_size_of_its_paper(layout: str, wide: int, high: int) -> None:
    """One page, 62 mm wide for the roll, A4 for the sheet (ISO 216)."""
    pages = PdfReader(io.BytesIO(to_label(label(finished_run()), layout))).pages  # type: ignore[arg-type]
    assert 1 == len(pages)
    size = (float(pages[0].mediabox.width) / MILLIMETRE, float(pages[0].mediabox.height) / MILLIMETRE)
    assert (wide, high) == pytest.approx(size, abs=0.1)


def test_the_code_is_read_from_the_printed_label(tmp_path: Path) -> None:
    """At 203 dots an inch, as a label printer sets them, another program reads exactly the text that was sealed."""
    for layout, position in (("roll", 1), ("sheet", 11)):
        folder = tmp_path / layout
        folder.mkdir()
        shown = picture(to_label(label(finished_run()), layout, position), folder, 203)  # type: ignore[arg-type]
        codes = zxingcpp.read_barcodes(shown)
        assert [TEXT] == [code.text for code in codes]
        if layout == "sheet":  # the eleventh: second of its row, fourth row
            corner = codes[0].position.top_left
            assert 70 < corner.x / 203 * 25.4 < 140
            assert 111 < corner.y / 203 * 25.4 < 148


def test_what_stands_on_it_names_the_board_and_nobody() -> None:
    """Part, serial, revision, work order, day and number; neither customer nor technician."""
    run = finished_run(origin=Origin.MEASURED)
    words = PdfReader(io.BytesIO(to_label(label(run), "roll"))).pages[0].extract_text()
    for said in (
        "✓ PASS",
        "GZ-2140 GZ-000417",
        "Revision C",
        "Work order WO-1182",
        "tested 2026-03-14",
        "20260314-3F9A",
    ):
        assert said in words
    assert "Nursery" not in words
    assert "Sample" not in words


@pytest.mark.parametrize(
    ("origin", "outcome", "tag", "band"),
    [
        (Origin.MEASURED, "fail", "en", "NOT A PASS"),
        (Origin.MEASURED, "inconclusive", "de", "KEIN PRÜFSCHEIN"),
        (Origin.SIMULATED, "pass", "en", "SIMULATED"),
        (Origin.SIMULATED, "fail", "de", "KEIN PRÜFSCHEIN · SIMULIERT"),
        (Origin.BY_HAND, "pass", "en", ""),
    ],
)
def test_only_a_real_pass_looks_like_one(tmp_path: Path, origin: Origin, outcome: str, tag: str, band: str) -> None:
    """Everything else has its outcome in a black band, so dark that it shows without reading."""
    run = finished_run(origin=origin, welded=None if outcome == "pass" else WELDED)
    made = label(run, outcome, tag)
    assert band == made.band
    right = np.asarray(picture(to_label(made, "roll"), tmp_path, 50))[:28, 62:116]
    assert (float((right < 100).mean()) > 0.4) == bool(band)


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_stays_on_the_label(text: str) -> None:
    """Whatever a serial number or a work order holds, one page comes out, and long text is cut with a sign."""
    run = finished_run()
    run = replace(run, job=replace(run.job, serial=text, work_order=text, revision=text))
    made = label(run)
    assert all(len(line) <= 40 for line in made.lines)
    assert 1 == len(PdfReader(io.BytesIO(to_label(made, "roll"))).pages)
    assert to_label(made, "roll") == to_label(made, "roll")
