"""A paper in every form in which it travels: PDF, page for the screen, printed code."""

import io
import re
import subprocess
import zlib
from dataclasses import replace
from pathlib import Path

import pytest
import zxingcpp
from PIL import Image
from pypdf import PdfReader, PdfWriter

from benchtest.certificate import describe, reissue, seal_later, to_html, to_pdf, write_certificate
from benchtest.certificate.sealed import seal_document
from benchtest.errors import DocumentError
from benchtest.readings import Readings
from benchtest.records.folder import write_run
from benchtest.seal import Sealed, State, Stations, examine_json, open_station
from benchtest.seal.attached import attachments
from benchtest.seal.code import QUIET, to_svg
from benchtest.seal.paper import examine
from tests.records.finished import WELDED, finished_readings, finished_run
from tests.seal.conftest import sealed_by, trusting


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of one station for all of these tests."""
    folder = tmp_path_factory.mktemp("kept")
    open_station(folder)
    return folder


@pytest.fixture(scope="module")
def stations(kept: Path) -> Stations:
    return trusting(kept)


@pytest.fixture(scope="module")
def passed(kept: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with the papers of a run that passed, short, so that it is set quickly."""
    folder = tmp_path_factory.mktemp("passed")
    run = finished_run()
    step = replace(run.procedure.steps[0], checks=tuple(one.check for one in run.results[:2]))
    run = replace(run, results=run.results[:2], procedure=replace(run.procedure, steps=(step,)))
    write_run(folder, run)
    write_certificate(run, Readings(origin=run.origin, evidence={}), folder, open_station(kept))
    return folder


def state_of(content: bytes, stations: Stations) -> State | None:
    found = examine(content, stations)
    return None if found is None else found.state


def scanned(pdf: Path, *, dots: int, into: Path) -> list[zxingcpp.Barcode]:
    """Return the codes that a reader finds on page one, in grey, at so many dots an inch."""
    words = ["-r", str(dots), "-gray", "-png", "-f", "1", "-l", "1", "-singlefile", str(pdf), str(into / "page")]
    subprocess.run(["pdftoppm", *words], check=True)
    return list(zxingcpp.read_barcodes(Image.open(into / "page.png")))


@pytest.mark.parametrize("ending", ["json", "pdf", "html"])
def test_each_form_is_known_and_genuine(passed: Path, stations: Stations, ending: str) -> None:
    """JSON, PDF and page of one paper say the same statement."""
    found = examine((passed / f"certificate.{ending}").read_bytes(), stations)

    assert found is not None
    assert State.GENUINE == found.state
    assert found.statement is not None
    assert ("BT-20260314-3f9a12c4", "pass", "GZ-000417") == (
        found.statement.number,
        found.statement.outcome,
        found.statement.serial,
    )


@pytest.mark.parametrize("dots", [100, 200, 300])
def test_the_printed_code_is_read_back(passed: Path, stations: Stations, tmp_path: Path, dots: int) -> None:
    """A reader of codes (zxing) finds exactly one on page one, of level M, and what it reads is genuine."""
    (code,) = scanned(passed / "certificate.pdf", dots=dots, into=tmp_path)

    assert "QRCode" == code.format.name
    assert "M" == code.ec_level
    assert State.GENUINE == state_of(code.text.encode(), stations)


def test_a_report_is_sealed_like_a_certificate(kept: Path, stations: Stations, tmp_path: Path) -> None:
    """The code of a failing board's report says fail, and its JSON is genuine."""
    run = finished_run(welded=WELDED)
    write_run(tmp_path, run)
    write_certificate(run, finished_readings(welded=WELDED), tmp_path, open_station(kept))
    (code,) = scanned(tmp_path / "report.pdf", dots=150, into=tmp_path)

    assert "/FAIL/GZ-000417/" in code.text
    assert State.GENUINE == state_of(code.text.encode(), stations)
    assert State.GENUINE == state_of((tmp_path / "report.json").read_bytes(), stations)


def test_the_longest_serial_number_still_fits(kept: Path, stations: Stations, tmp_path: Path) -> None:
    """64 letters of four bytes each, as large as a code gets: read back at the resolution of an old printer."""
    run = finished_run(serial="\U00010400" * 64)
    run = replace(run, results=run.results[:1])
    document = describe(run, Readings(origin=run.origin, evidence={}))
    sealed = seal_document(document, run, run_file="ab" * 32, station=open_station(kept))
    (tmp_path / "long.pdf").write_bytes(to_pdf(document, b"{}", sealed))
    (code,) = scanned(tmp_path / "long.pdf", dots=300, into=tmp_path)

    assert sealed.text == code.text
    assert State.GENUINE == state_of(code.text.encode(), stations)


def test_the_code_has_its_quiet_zone(kept: Path) -> None:
    """Four modules of white on each side, as ISO/IEC 18004 asks (from memory)."""
    svg = to_svg(sealed_by(open_station(kept)).text)
    box = re.search(r'viewBox="0 0 (\d+) (\d+)"', svg)

    assert box is not None
    assert box[1] == box[2]
    assert 4 == QUIET
    assert 'fill="#fff"' in svg
    assert "M4 4.5h7" in svg  # the first finder pattern begins behind four modules
    assert 0 == (int(box[1]) - 2 * QUIET - 17) % 4  # 17 and four for each version


def test_the_attachments_are_the_files(passed: Path) -> None:
    """Another program (pypdf) takes out of the PDF the sealed JSON and the run file, byte for byte."""
    attached = PdfReader(passed / "certificate.pdf").attachments

    assert {"certificate.json", "run.json"} == set(attached)
    for name, contents in attached.items():
        assert [(passed / name).read_bytes()] == contents
    ours = [one.content for one in attachments((passed / "certificate.pdf").read_bytes())]
    assert [(passed / name).read_bytes() for name in ("certificate.json", "run.json")] == ours


def test_the_bytes_of_the_attachment_count(passed: Path, stations: Stations) -> None:
    """Each byte before the packed JSON and every third of it, changed: altered, or it still holds the same bytes."""
    pdf = (passed / "certificate.pdf").read_bytes()
    sealed = (passed / "certificate.json").read_bytes()
    begins = attachments(pdf)[0].place - 1
    first, last = pdf.rfind(b" obj", 0, begins), pdf.index(b"endstream", begins)
    unnoticed = []
    for place in (*range(first, begins), *range(begins, last, 3)):
        changed = bytearray(pdf)
        changed[place] ^= 1 << place % 8
        if state_of(bytes(changed), stations) is not State.ALTERED:
            unnoticed.append(place)
            assert sealed in [one.content for one in attachments(bytes(changed))], place

    assert last - first > 4000
    assert len(unnoticed) < 250  # the object's number, size, day and media type, bits that fill a byte


def test_a_pdf_cut_short_is_altered_or_no_paper(passed: Path, stations: Stations) -> None:
    """Cut anywhere before the end of the attachments it is never genuine."""
    pdf = (passed / "certificate.pdf").read_bytes()
    end = attachments(pdf)[0].place + 1000

    for length in range(5, end, 997):
        assert state_of(pdf[:length], stations) in {State.ALTERED, State.UNSEALED}
    assert State.ALTERED == state_of(pdf[:end], stations)


def test_another_run_file_beside_the_paper_shows(kept: Path, stations: Stations) -> None:
    """The attached run file must be the one that the paper is bound to."""
    run = finished_run()
    run = replace(run, results=run.results[:1])
    document = describe(run, Readings(origin=run.origin, evidence={}))
    sealed = seal_document(document, run, run_file="ab" * 32, station=open_station(kept))
    found = examine(to_pdf(document, b'{"outcome":"pass"}', sealed), stations)

    assert found is not None
    assert State.ALTERED == found.state
    assert "what is attached beside the paper is not what it is bound to" == found.why


def rewritten(pdf: Path, *attached: tuple[str, bytes]) -> bytes:
    """Return a PDF as another program (pypdf) writes it, with more attachments."""
    writer = PdfWriter(clone_from=pdf)
    for name, content in attached:
        writer.add_attachment(name, content)
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def test_a_second_sealed_paper_in_one_pdf_is_refused(passed: Path, kept: Path, stations: Stations) -> None:
    """Nobody can hide a genuine paper beside another one."""
    other = sealed_by(open_station(kept)).content
    found = examine(rewritten(passed / "certificate.pdf", ("certificate.json", other)), stations)

    assert found is not None
    assert (State.ALTERED, "it carries more than one sealed paper") == (found.state, found.why)


def test_a_pdf_that_another_program_has_written_anew_is_still_read(passed: Path, stations: Stations) -> None:
    """Its attachments are the same, so the paper is."""
    assert State.GENUINE == state_of(rewritten(passed / "certificate.pdf"), stations)


def test_a_bomb_is_not_unpacked(stations: Stations) -> None:
    """An attachment of 64 MiB of blanks in 64 kB is given up, not read."""
    packed = zlib.compress(b" " * (64 << 20), 9)
    head = b"%%PDF-1.7\n1 0 obj\n<</Length %d/Type/EmbeddedFile/Filter/FlateDecode>>\nstream\n" % len(packed)

    assert State.ALTERED == state_of(head + packed + b"\nendstream\nendobj\n", stations)


@pytest.mark.parametrize(
    "content",
    [b"", b" ", b"hello", b"\x89PNG", b"BT2/X", b"%PDX-", b"[1]", bytes(range(256)), b"<svg></svg>", b"B" * 99],
)
def test_other_files_are_no_papers(content: bytes, stations: Stations) -> None:
    """What is none of the forms is not examined at all."""
    assert state_of(content, stations) is None


@pytest.mark.parametrize(
    ("content", "state"),
    [
        (b"%PDF-1.7\n%%EOF", State.UNSEALED),
        (b"%PDF-1.7 /EmbeddedFile", State.ALTERED),
        (b"%PDF-1.7 (certificate.json)", State.ALTERED),
        (b"%PDF-1.7\n<</Type/EmbeddedFile/Length 9 0 R>>stream\n{}", State.ALTERED),
        (b"%PDF-1.7 /EmbeddedFile stream\n" * 999, State.ALTERED),
        (b"<!doctype html><title>x</title>", State.UNSEALED),
        (b'<html data-seal="BT1/A"><p data-seal="BT1/B">', State.UNSEALED),
        (b'<html data-seal="BT1/A">', State.ALTERED),
        (b"{", State.ALTERED),
        (b"\xef\xbb\xbf{}", State.UNSEALED),
        (b"\xff\xfe{\x00}\x00", State.UNSEALED),
        (b"{}", State.UNSEALED),
        (b"BT1", State.ALTERED),
        (b"BT1///////", State.ALTERED),
        (b"BT1/\xff/\xff", State.ALTERED),
        (b"BT1/%FF/PASS/A/2026-01-01/AA/AA/AA", State.ALTERED),
    ],
)
def test_poor_papers_have_their_state(content: bytes, state: State, stations: Stations) -> None:
    """Empty shells and rubbish in each form end in a state, never in a fault of the program."""
    assert state == state_of(content, stations)


def test_a_page_of_hostile_text_has_one_code(kept: Path, stations: Stations) -> None:
    """Text that looks like a seal stays text; the page's own seal counts."""
    run = finished_run()
    hostile = replace(run, reason='"><div data-seal="BT1/X/PASS/A/2026-01-01/A/A/A">', results=run.results[:1])
    document = describe(hostile, Readings(origin=run.origin, evidence={}))
    sealed: Sealed = seal_document(document, hostile, run_file="ab" * 32, station=open_station(kept))

    assert State.GENUINE == state_of(to_html(document, sealed).encode(), stations)


def test_papers_that_are_there_are_not_replaced_silently(tmp_path: Path) -> None:
    """Sealing later gives the same bytes; where others lie already it refuses and says what to do."""
    run = finished_run()
    run = replace(run, results=run.results[:1])
    readings = Readings(origin=run.origin, evidence={})
    write_run(tmp_path, run)
    before = {path.name: path.read_bytes() for path in write_certificate(run, readings, tmp_path)}
    (tmp_path / "report.pdf").unlink(missing_ok=True)
    assert before == {path.name: path.read_bytes() for path in seal_later(run, readings, tmp_path)}

    write_certificate(replace(run, reason="other"), readings, tmp_path)
    with pytest.raises(DocumentError, match=r"is there already.*reissue"):
        seal_later(run, readings, tmp_path)


def test_a_new_issue_names_the_old_one_and_leaves_it(tmp_path: Path, station: Path) -> None:
    """It has a number of its own, the new customer, the reason; the old files and the run file stay."""
    run = finished_run()
    run = replace(run, results=run.results[:1])
    readings = Readings(origin=run.origin, evidence={})
    write_run(tmp_path, run)
    write_certificate(run, readings, tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    job = replace(run.job, customer="Nursery at the Weir")
    path, sealed = reissue(run, readings, tmp_path, job, replaces=run.number, reason="misspelt", day="2026-04-01")

    assert before == {name: (tmp_path / name).read_bytes() for name in before}
    assert f"{run.number}-2" == sealed.statement.number
    found = examine_json(path.read_bytes(), trusting(station))
    assert State.GENUINE == found.state
    assert f"Replaces {run.number}: misspelt" == found.paper["replaces"]
    assert "Nursery at the Weir" in "".join(page.extract_text() for page in PdfReader(path.with_suffix(".pdf")).pages)
    second, _ = reissue(run, readings, tmp_path, job, replaces=run.number, reason="again", day="2026-04-02")
    assert path.stem.replace("-2", "-3") == second.stem
