"""Whose paper it is: name, address and logo, whatever they are; and what is never taken for a pass, at arm's length."""

import io
import json
import re
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from benchtest.certificate import describe, prove, to_html, to_pdf, write_certificate
from benchtest.certificate.glyphs import shown_or_named
from benchtest.errors import DocumentError
from benchtest.language import language
from benchtest.readings import Origin
from benchtest.records.folder import write_run
from benchtest.results import Depot, Run
from tests.certificate.test_pdf import HOSTILE, flat
from tests.certificate.whole import whole_readings, whole_run
from tests.site.test_site import SVG, png

LOGOS = {"svg": SVG.encode(), "png": png(400, 100)}


def with_logo(kind: str, *, passed: bool = True) -> Run:
    """Return a run whose paper has a logo."""
    digests = {"svg": "d6", "png": "a1"}
    return replace(whole_run(passed=passed), stationery={f"logo.{kind}": digests[kind] * 32})


@pytest.mark.parametrize("kind", LOGOS)
def test_a_logo_stands_on_the_first_page(kind: str) -> None:
    """Drawn or as a picture in the PDF, as an image that holds all of itself on the screen; a PNG's pixels arrive."""
    document = describe(with_logo(kind), whole_readings())
    pdf, page = to_pdf(document, b"{}", None, LOGOS[kind]), to_html(document, None, LOGOS[kind])
    first = PdfReader(io.BytesIO(pdf)).pages[0]
    assert "Lock Lane Board Repair" in first.extract_text()
    without = to_pdf(describe(whole_run(passed=True), whole_readings()), b"{}")
    assert len(pdf) != len(without)
    if kind == "png":
        assert (400, 100) in {image.image.size for image in first.images if image.image is not None}
    address = "data:image/png;base64," if kind == "png" else "data:image/svg+xml;base64,"
    assert f'<img src="{address}' in page
    assert "img-src data:;" in page


def test_a_logo_is_tried_out_before_a_run_depends_on_it(tmp_path: Path) -> None:
    """What the typesetter will not have is refused at its line; what it takes passes in silence."""
    for logo in LOGOS.values():
        prove(logo, file=tmp_path / "site.yaml", line=5)
    spoilt = bytearray(LOGOS["png"])
    spoilt[60:70] = bytes(10)
    with pytest.raises(DocumentError, match=r"site.yaml:5:1: depot.logo: the logo cannot be printed.*export it again"):
        prove(bytes(spoilt), file=tmp_path / "site.yaml", line=5)


@pytest.mark.parametrize("name", ["logo.svg", "language.yaml"])
def test_stationery_that_was_changed_is_not_printed(name: str, tmp_path: Path) -> None:
    """A logo or a language file that is not the run's own is refused, changed or gone."""
    run = replace(whole_run(passed=True), stationery={name: "00" * 32})
    write_run(tmp_path, run)
    with pytest.raises(DocumentError, match="cannot be read"):
        write_certificate(run, whole_readings(), tmp_path)
    (tmp_path / name).write_text("another")
    with pytest.raises(DocumentError, match="was changed after the run"):
        write_certificate(run, whole_readings(), tmp_path)


def test_whatever_a_depot_or_a_customer_is_called() -> None:
    """Markup, right-to-left text, emoji, formulas, paths and 10 kB are text on both pages, or named, or cut visibly."""
    texts = (*HOSTILE, "=HYPERLINK(1)", "../../etc/passwd", "C:\\nul\\", "'; DROP TABLE runs; --")
    run = whole_run()
    depot = Depot(name=texts[0], address=texts, terms=tuple(text[:600] for text in texts))
    job = replace(run.job, customer=texts[1], condition=texts[5], straps=texts[4], released_by=texts[6])
    document = describe(replace(run, depot=depot, job=job, next_checks=texts), whole_readings())
    printed = flat("".join(page.extract_text() for page in PdfReader(io.BytesIO(to_pdf(document, b"{}"))).pages))
    for text in texts:
        if not any("\u0590" < character < "\u0700" for character in text):  # extraction turns right-to-left words
            assert printed.count(flat(shown_or_named(text[:60]))) >= 3
    page = to_html(document)
    assert not re.findall("<script|<img|onerror=", page)
    assert "@page {" in page.partition("</style>")[0]


def test_a_number_cannot_leave_the_style_of_the_page() -> None:
    """The number stands in the style sheet of the printed margins, letter by letter where it is not plain."""
    number = '"}</style><script>alert(1)</script>\\'
    page = to_html(describe(replace(whole_run(), number=number), whole_readings()))
    style = page.partition("<style>")[2].partition("</style>")[0]
    assert "\\000022\\00007d\\00003c" in style
    assert page.count("</style>") == 1
    assert "<script" not in page


def seen(pdf: bytes, folder: Path, dots: int = 20) -> list[np.ndarray[tuple[int, int], np.dtype[np.uint8]]]:
    """Return the pages in grey, so coarse that nobody could read them."""
    (folder / "paper.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", str(dots), "-gray", "paper.pdf", "page"], cwd=folder, check=True, timeout=60)
    return [np.asarray(Image.open(path)) for path in sorted(folder.glob("page-*.pgm"))]


@pytest.mark.parametrize("tag", ["en", "de"])
def test_no_page_of_a_report_looks_like_a_certificate_from_afar(tag: str, tmp_path: Path) -> None:
    """In grey and at 20 dots an inch, a black edge runs down every page of a report, and none of a certificate."""
    edges = {}
    for passed in (True, False):
        folder = tmp_path / str(passed)
        folder.mkdir()
        run = whole_run(passed=passed, origin=Origin.MEASURED)
        pages = seen(to_pdf(describe(run, whole_readings(), language(tag)), b"{}"), folder)
        edges[passed] = [float(page[:, -5:-1].mean()) for page in pages]
        dark = float((pages[0][:60] < 100).mean())
        assert dark < 0.05 if passed else dark > 0.1
    assert min(edges[True]) > 240
    assert max(edges[False]) < 20


def test_other_programs_find_nothing_wrong_with_the_file(tmp_path: Path) -> None:
    """Pdfinfo calls it tagged, PDF/A-3A and PDF/UA-1; qpdf finds its structure whole; every figure has a text."""
    document = describe(with_logo("svg", passed=False), whole_readings())
    path = tmp_path / "report.pdf"
    path.write_bytes(to_pdf(document, json.dumps({}).encode(), None, LOGOS["svg"]))
    info = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True, timeout=60).stdout
    assert re.search(r"Tagged: +yes", info)
    assert re.search(r"Title: +Report of findings BT-20260314-3f9a12c4", info)
    assert subprocess.run(["qpdf", "--check", path], capture_output=True, check=False, timeout=60).returncode == 0
    xmp = PdfReader(path).root_object["/Metadata"].get_object().get_data().decode()  # type: ignore[union-attr]
    assert all(mark in xmp for mark in ("<pdfaid:part>3", "<pdfaid:conformance>A", "<pdfuaid:part>1"))
    tree = subprocess.run(["pdfinfo", "-struct", path], capture_output=True, text=True, check=True, timeout=60).stdout
    assert tree.count("Figure") == len([panel for one in document.figures for panel in one.panels]) + 1
    assert {"H1", "H2", "H3", "Table", "TH", "TD", "L", "LI"} <= set(re.findall(r"[A-Z][A-Za-z0-9]*", tree))


def test_the_same_paper_has_the_same_bytes_in_every_language() -> None:
    """Twice the same in English and in German, and the two differ."""
    run, readings = with_logo("png"), whole_readings()
    made = {
        tag: [to_pdf(describe(run, readings, language(tag)), b"{}", None, LOGOS["png"]) for _ in range(2)]
        for tag in ("en", "de")
    }
    assert all(first == second for first, second in made.values())
    assert made["en"][0] != made["de"][0]
