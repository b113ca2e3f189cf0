"""The printed page, read back by another program's eyes (pypdf)."""

import json
import re
import unicodedata
from dataclasses import replace
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from pypdf import PdfReader

import benchtest.certificate
from benchtest.certificate import write_certificate
from benchtest.certificate.glyphs import covered, shown_or_named
from benchtest.records.folder import write_run
from benchtest.results import Job
from tests.records.finished import finished_readings, finished_run

FONTS = Path(benchtest.certificate.__file__).parent / "fonts"
HOSTILE = (
    '#panic("x")',
    "<script>alert(1)</script>",
    "$a$ *b* _c_ @d <e>",
    '"]) #import "@preview/x:1.0.0"',
    "\u202eשלום عربي",
    "🙂 漢字 \u0007\ue000",
    "n" * 10_000,
    "\\u{41} // /* ` = - + ~",
)


def text_of(path: Path) -> list[str]:
    return [page.extract_text() for page in PdfReader(path).pages]


def flat(text: str) -> str:
    """Leave out what line breaking adds."""
    return re.sub(r"[\s\u200b]+", "", text)


def test_the_file_says_that_it_is_archivable_and_accessible(passed: Path) -> None:
    """XMP names PDF/A-3 level A (ISO 19005-3) and PDF/UA-1 (ISO 14289-1); the file is tagged and has a language."""
    reader = PdfReader(passed / "certificate.pdf")
    xmp = reader.root_object["/Metadata"].get_object().get_data().decode()  # type: ignore[union-attr]
    assert all(mark in xmp for mark in ("<pdfaid:part>3", "<pdfaid:conformance>A", "<pdfuaid:part>1"))
    assert reader.root_object["/MarkInfo"]["/Marked"]  # type: ignore[index]
    assert "/StructTreeRoot" in reader.root_object
    assert "en" == str(reader.root_object["/Lang"])


def test_every_font_is_embedded(passed: Path) -> None:
    """Each font on each page carries its font file."""
    fonts = [
        descendant.get_object()["/FontDescriptor"]
        for page in PdfReader(passed / "certificate.pdf").pages
        for font in page["/Resources"]["/Font"].values()  # type: ignore[index]
        for descendant in font.get_object()["/DescendantFonts"]
    ]
    assert fonts
    assert all({"/FontFile2", "/FontFile3"} & set(font) for font in fonts)
    assert {"DejaVuSansCondensed", "DejaVuSansCondensed-Bold"} == {font["/FontName"].split("+")[1] for font in fonts}


def test_number_and_count_are_on_every_page(passed: Path) -> None:
    """Number, `page x of y` and the word SIMULATED stand on each page, and the end is marked."""
    pages = text_of(passed / "certificate.pdf")
    assert len(pages) > 3
    for number, page in enumerate(pages, 1):
        assert f"BT-20260314-3f9a12c4, page {number} of {len(pages)}" in page
        assert page.count("SIMULATED") >= 2
    assert "End of test certificate BT-20260314-3f9a12c4" in pages[-1]


def test_a_measured_report_is_not_marked_simulated(failed: Path) -> None:
    """A report of real readings carries its outcome in large words, no watermark, and never the word certificate."""
    whole = "".join(text_of(failed / "report.pdf"))
    assert "SIMULATED" not in whole
    assert "✗ FAIL" in whole
    assert "Test certificate" not in whole


def test_the_first_page_says_what_matters(failed: Path) -> None:
    """Outcome, board, serial number, customer, person, day and the failures are on page one."""
    first = text_of(failed / "report.pdf")[0]
    for words in ("FAIL", "GZ-2140", "GZ-000417", "Nursery at the Lock", "A. Sample", "2026-03-14", "K7 release"):
        assert words in first


def test_the_run_is_attached_as_it_is_on_disk(passed: Path) -> None:
    """The attachment equals run.json, byte for byte."""
    attached = PdfReader(passed / "certificate.pdf").attachments["run.json"]
    assert (passed / "run.json").read_bytes() == attached[0]


def test_same_run_same_bytes(passed: Path, tmp_path: Path) -> None:
    """Setting the same run again gives identical files."""
    write_run(tmp_path, finished_run())
    for path in write_certificate(finished_run(), finished_readings(), tmp_path):
        assert (passed / path.name).read_bytes() == path.read_bytes(), path.name


def test_coverage_is_what_the_fonts_have() -> None:
    """Every character called covered has a glyph in both weights or in the fallback, and nothing else is called so."""

    def known(name: str) -> set[int]:
        return set(TTFont(FONTS / name).getBestCmap())

    shown = known("DejaVuSansCondensed.ttf") & known("DejaVuSansCondensed-Bold.ttf")
    shown |= known("DroidSansFallbackFull.ttf")
    unfit = {"Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp"}
    assert {c for c in shown if unicodedata.category(chr(c)) not in unfit} == {
        c for c in range(0x20, 0x30000) if covered(chr(c))
    }
    assert all(covered(sign) for sign in "Ωµμ°≤≥±–−∞·…✓✗◐◓○■")
    assert all(covered(sign) for sign in "ŠěßéğİøχЖשعՀგ漢かカỗ")  # names of customers
    assert not any(covered(character) for character in "\x07\u202e\ue000🙂한")


def test_strange_characters_are_named() -> None:
    """What cannot be shown is replaced by its code point, never dropped."""
    assert "a[U+1F642]b[U+202E]Ω" == shown_or_named("a🙂b\u202eΩ")


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_lands_as_text(text: str, tmp_path: Path) -> None:
    """Whatever is typed into any field is printed (or named, or cut visibly), and the pages still come out."""
    run = finished_run()
    job = Job(serial=text, technician=text, work_order=text, customer=text, revision=text, phase=text)
    results = tuple(replace(r, note=text, check=replace(r.check, title=text, probe=text)) for r in run.results[:3])
    step = replace(run.procedure.steps[0], title=text, checks=tuple(r.check for r in results))
    procedure = replace(run.procedure, board=text, steps=(step,), options=(text,))
    run = replace(run, job=job, results=results, procedure=procedure, reason=text, number=text, profile=text)
    run = replace(run, identities={text: text}, bench=text, place=text, software=text)
    write_run(tmp_path, run)
    paths = {path.suffix: path for path in write_certificate(run, finished_readings(), tmp_path)}
    fact = next(f for f in json.loads(paths[".json"].read_bytes())["item"] if f["label"] == "Serial number")
    assert fact["value"].startswith(text[:200])
    if not any("\u0590" < character < "\u0700" for character in text):  # extraction turns right-to-left words
        assert flat(shown_or_named(text[:200])) in flat("".join(text_of(paths[".pdf"])))
