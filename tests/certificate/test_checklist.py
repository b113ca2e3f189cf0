"""What a paper must show, walked through clause by clause, on the page that is printed and the one on the screen.

Source: ISO/IEC 17025:2017, 7.8.2.1 a to p, 7.8.3.1 a to e and 7.8.6, from memory, as a checklist; the rest is the
trade's practice, no source. No accreditation is implied, and the paper says so.
"""

import io
import re
from dataclasses import replace

import pytest
from pypdf import PdfReader

from benchtest.certificate import describe, to_html, to_pdf
from benchtest.language import language
from benchtest.procedure import Timing
from benchtest.results import BenchCheck, Outcome
from tests.certificate.whole import PARTS, whole_readings, whole_run

CHECKLIST = {
    "7.8.2.1 a, a title": "Report of findings",
    "7.8.2.1 b, name and address of the depot": "Lock Lane Board Repair 4 Lock Lane",
    "7.8.2.1 c, where it was tested": "inside this computer",
    "7.8.2.1 d, a unique number": "BT-20260314-3f9a12c4",
    "7.8.2.1 d, the end": "– End of report of findings BT-20260314-3f9a12c4 –",
    "7.8.2.1 e, the customer": "Nursery at the Lock",
    "7.8.2.1 f, the method": "profile greenhouse.yaml",
    "7.8.2.1 f, its version": "Version of the profile 7",
    "7.8.2.1 f, its digest": "ab" * 32,
    "7.8.2.1 g, the item": "GZ-000417",
    "7.8.2.1 g, its revision and variant": "two-bay",
    "7.8.2.1 g, its condition": "Condition on receipt dusty",
    "7.8.2.1 h, the day of receipt": "Received 2026-03-10",
    "7.8.2.1 i, when it was tested": "Test begun 2026-03-14 10:15:00+01:00",
    "7.8.2.1 j, the day of issue": "Issued 2026-03-14",
    "7.8.2.1 l, only the item tested": "The results relate only to the item tested",
    "7.8.2.1, note, not in part": "not to be reproduced except in full",
    "7.8.2.1 m, a result with its unit and U": "7.40 ± 0.12 ms",
    "7.8.2.1 m, what was permitted": "1 ms to 12 ms",
    "7.8.2.1 n, departures": "CALIBRATION OVERRIDDEN by C. Head: urgent",
    "7.8.2.1 o, who tested": "Tested by A. Sample",
    "7.8.2.1 o, who released": "Released by nobody yet",
    "7.8.2.2, what was stated and not verified": "as stated to the bench and were not verified",
    "7.8.3.1 a, the environment": "23 °C, as declared for the bench, not measured",
    "7.8.3.1 b, a statement of conformity": "✗ FAIL",
    "7.8.3.1 c, expanded uncertainty and k": "Its coverage factor is k = 2",
    "7.8.6.1, the decision rule": "Conditional pass: inside by less than w.",
    "7.8.6.1, its level of risk": "below 2.5 %, for normally distributed errors",
    "7.8.6.2, what the statement is of": "Every check is decided for itself",
    "equipment with its calibration": "D-0001 none, invented 2026-03-02 2027-03-02",
    "the rig and its software": "benchtest 0.1.0",
    "the rig's check of itself": "Check of the bench itself, before the board had power",
    "the first actuation": "first actuation",
    "all attempts": "2026-03-13 09:00:00+01:00 FAIL, as found, run a",
    "as found": "BT-20260313-00000001",
    "jumper plugs as found and as left": "X10 3-4 X10 1-2",
    "variant as found and as left": "Variant two-bay two-bay",
    "what was not tested, by name": "probe_supply ripple",
    "why it was not": "no channel of this bench reaches TP.19",
    "what is claimed": "Except for what is listed as not tested, the item named here was tested by the method",
    "what is not claimed": "No accreditation, approval or certification of the test place is implied.",
    "cautions": "isolated, secured and verified dead by a qualified person",
    "terms of the depot": "Warranty: twelve months.",
    "suspects": "87 % K7 contact welded: It welded. To mend it: replace relay K7.",
    "the next check": "measure ohms across K7",
    "that it is simulated": "No real board was tested",
}


@pytest.fixture(scope="module")
def pages() -> tuple[list[str], str]:
    """The printed pages, and the words of the page for the screen."""
    timing = Timing(clock=0.0, stamp=0.0, link_stamp=0.0)
    bench = BenchCheck(outcome=Outcome.PASS, reason="", results=(), left_out=(), timing=timing)
    run = replace(whole_run(parts=PARTS | {"probe_supply"}), profile_version="7", bench_check=bench)
    document = describe(run, whole_readings())
    printed = [flat(page.extract_text()) for page in PdfReader(io.BytesIO(to_pdf(document, b"{}"))).pages]
    return printed, flat(re.sub(r"<[^>]*>", " ", to_html(document).partition("</style>")[2]))


def flat(text: str) -> str:
    return re.sub(r"\s+", "", text.replace("\u200b", "").replace("&#39;", "'").replace("&lt;", "<"))


@pytest.mark.parametrize("clause", CHECKLIST)
def test_the_paper_shows_it(pages: tuple[list[str], str], clause: str) -> None:
    """Each thing on the checklist stands on the printed pages and on the page for the screen."""
    printed, screen = pages
    words = flat(CHECKLIST[clause])
    assert words in "".join(printed)
    assert words in screen


def test_number_page_and_outcome_are_on_every_page(pages: tuple[list[str], str]) -> None:
    """7.8.2.1 d: every page is known as a part of the whole; and none of a report can be taken for a certificate."""
    printed, _ = pages
    for place, page in enumerate(printed, 1):
        assert flat(f"BT-20260314-3f9a12c4, page {place} of {len(printed)}") in page
        assert flat("FAIL: no certificate") in page
        assert flat("Lock Lane Board Repair") in page


def test_a_pass_that_waits_for_a_second_person_says_so() -> None:
    """In a box with room for a signature; a board that failed is not to be released, and says nothing of it."""
    passed, failed = (describe(whole_run(passed=passed), whole_readings()) for passed in (True, False))
    assert passed.not_released.startswith("NOT YET RELEASED: this method asks that a second person, not the tester")
    first = flat(PdfReader(io.BytesIO(to_pdf(passed, b"{}"))).pages[0].extract_text())
    assert flat("NOT YET RELEASED") in first
    assert flat("Date, signature") in first
    assert "" == failed.not_released
    run = whole_run(passed=True)
    released = describe(replace(run, job=replace(run.job, released_by="C. Head")), whole_readings())
    assert "" == released.not_released
    assert "C. Head" in {fact.value for fact in released.job}


def test_a_paper_in_german_says_the_same_things() -> None:
    """Title, page, outcome and rule in German, numbers with a comma, days with the day first."""
    document = describe(whole_run(), whole_readings(), language("de"))
    printed = [flat(page.extract_text()) for page in PdfReader(io.BytesIO(to_pdf(document, b"{}"))).pages]
    for words in ("Befundbericht", "✗ DURCHGEFALLEN", "7,40 ± 0,12 ms", "Eingegangen 10.03.2026", "k = 2", "95,45 %"):
        assert flat(words) in "".join(printed)
    assert all(flat(f"Seite {place} von {len(printed)}") in page for place, page in enumerate(printed, 1))
    assert all(flat("DURCHGEFALLEN: kein Prüfschein") in page for page in printed)
