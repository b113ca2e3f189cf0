"""The languages of the papers: whole, read with care, and true to what a run says."""

import re
from pathlib import Path

import pytest

from benchtest.cautions import ON_PAPER
from benchtest.certificate import describe, to_html
from benchtest.cli.documents import Prepared
from benchtest.diagnose.next_check import HAND, UNFORETOLD
from benchtest.errors import DocumentError
from benchtest.faults import possible
from benchtest.language import SHIPPED, english, gaps_of, language, shipped
from tests.certificate.whole import whole_readings, whole_run
from tests.conftest import Bench

OTHERS = [tag for tag in SHIPPED if tag != "en"]


@pytest.mark.parametrize("tag", OTHERS)
def test_a_shipped_language_lacks_no_text(tag: str) -> None:
    """Every text of the English catalogue is there, with the same gaps; none is only copied where it has words."""
    found, whole = shipped(tag).value.texts, english().texts
    assert set(whole) == set(found)
    assert {key: gaps_of(text) for key, text in whole.items()} == {key: gaps_of(text) for key, text in found.items()}
    alike = {key for key, text in found.items() if text == whole[key] and re.search(r"[a-z]{3}.* ", text)}
    assert alike <= {"adapter", "plot_strip"}


def said_of(prepared: Prepared, bench: Bench, *faults: str) -> set[str]:
    """Return everything that a run says of its checks, in words."""
    performed = bench.performed(prepared, *faults)
    checks = [check for step in prepared.procedure.steps for check in step.checks]
    texts = {step.title for step in prepared.procedure.steps} | {check.title for check in checks}
    texts |= {result.note for result in performed.results} | {performed.reason, performed.safe.note}
    texts |= {str(check.permitted) for check in checks if isinstance(check.permitted, str)}
    texts |= {result.value for result in performed.results if isinstance(result.value, str)}
    return {text for text in texts if re.search(r"[a-z]{4}", text)}


@pytest.mark.parametrize("tag", OTHERS)
def test_what_a_run_says_is_turned_over(tag: str, bench: Bench, greenhouse: Prepared, carwash: Prepared) -> None:
    """Steps, checks, readings, notes and reasons of both boards, good and with one fault of every kind."""
    words = language(tag)
    said = said_of(greenhouse, bench) | said_of(carwash, bench)
    kinds = {fault.text.partition(" ")[2]: fault.text for fault in possible(carwash.fitted)}
    for text in list(kinds.values())[::2]:
        said |= said_of(carwash, bench, text)
    assert [] == sorted(text for text in said if not words.knows(text))
    assert len(said) > 400


@pytest.mark.parametrize("tag", OTHERS)
def test_every_fault_and_its_repair_is_turned_over(tag: str, greenhouse: Prepared, carwash: Prepared) -> None:
    """What a suspect means, what mends it, and the cautions of every paper."""
    words = language(tag)
    faults = [fault for prepared in (greenhouse, carwash) for fault in possible(prepared.fitted)]
    said = {text for fault in faults for text in (fault.sentence, fault.repair)} | set(ON_PAPER)
    assert [] == sorted(text for text in said if not words.knows(text))


@pytest.mark.parametrize("tag", OTHERS)
def test_what_to_measure_next_is_turned_over(tag: str) -> None:
    """Every measurement by hand that a diagnosis can ask for, and what it may give."""
    words = language(tag)
    asked = {one.instruction.format(part="K3", at="between X1.1 and X1.2") for one in HAND}
    given = {value for one in HAND for value in (one.usual, *one.kinds.values())} | {UNFORETOLD}
    assert [] == sorted(text for text in asked | given if not words.knows(text))


@pytest.mark.parametrize(
    ("text", "turned"),
    [
        ("K3 operate time", "K3 Ansprechzeit"),
        (
            "K3 operate time failed (6.60 ± 0.12 ms); 2 more",
            "K3 Ansprechzeit durchgefallen (6,60 ± 0,12 ms); 2 weitere",
        ),
        (
            "X11.5-X11.6 made at 1.5 ms, lamp D3 lit at 2.25 ms",
            "X11.5-X11.6 geschlossen bei 1,5 ms, Lampe D3 an bei 2,25 ms",
        ),
        ("Exercise K5, open at 1.5 m", "K5 betätigen, open at 1.5 m"),
        ("benchtest 0.1.0 of X1.1", "benchtest 0.1.0 of X1.1"),
        ("12.034 V", "12,034 V"),
        ("TP.1-X1.2", "TP.1-X1.2"),
        ("", ""),
    ],
)
def test_phrases_are_turned_over_part_by_part(text: str, turned: str) -> None:
    """Numbers get a comma, names of terminals and versions do not, a profile's own words stay, the unknown stays."""
    assert turned == language("de").phrase(text)


def test_days_and_moments_are_written_as_the_language_does() -> None:
    """Day first in German, ISO 8601 in English; what is no day stays."""
    assert "14.03.2026" == language("de").day("2026-03-14")
    assert "14.03.2026 10:15:42+01:00" == language("de").moment("2026-03-14T10:15:42.5+01:00")
    assert "2026-03-14 10:15:42+01:00" == english().moment("2026-03-14T10:15:42.5+01:00")
    assert "never" == language("de").day("never")


OWN = """format: benchtest-language/1
tag: nl
name: Nederlands
decimal: ","
texts:
  title_pass: Testrapport
  number_issued: "Nummer {number}"
phrases:
  "{part} operate time": "{part} inschakeltijd"
"""


def written(folder: Path, text: str = OWN) -> str:
    path = folder / "nl.yaml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_anybody_can_add_a_language(tmp_path: Path) -> None:
    """A file of a few lines is enough: what it says is used, the rest of the paper is in English."""
    page = to_html(describe(whole_run(passed=True), whole_readings(), language(written(tmp_path))))
    assert '<html lang="nl">' in page
    assert "<h1>Testrapport</h1>" in page
    assert "Nummer BT-20260314-3f9a12c4<" in page
    assert "K7 inschakeltijd" not in page
    assert "Item tested" in page
    assert "7,40 ± 0,12 ms" in page


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("title_pass", "titel_pass", ":6:3: texts.titel_pass: the paper has no text 'titel_pass' (nearest title_pass"),
        ("{number}", "{nummer}", "gap {nummer} is not one of this text's (its gaps: day, number)"),
        ('"{part} insch', '"{deel} insch', "gap {deel} is not in the English phrase"),
        ('decimal: ","', 'decimal: ";"', ":4:10: decimal: ';' is not possible here"),
        ("tag: nl", "tag: Dutch!", ":2:6: tag: 'Dutch!' cannot be written here (a language tag"),
        ("language/1", "language/2", "format 'benchtest-language/2' is not understood here"),
    ],
)
def test_a_mistake_in_a_language_file_is_told_at_its_place(tmp_path: Path, old: str, new: str, said: str) -> None:
    """File, line and column, and what to try."""
    with pytest.raises(DocumentError) as caught:
        language(written(tmp_path, OWN.replace(old, new)))
    assert said in str(caught.value)


def test_an_unknown_language_is_refused_with_what_there_is() -> None:
    """A tag that is not shipped says which are, and that a file will do."""
    with pytest.raises(DocumentError, match=r"no such language \(.*shipped: en, de; or give the path"):
        language("fr")


def test_nothing_in_a_text_is_evaluated(tmp_path: Path) -> None:
    """What looks like an expression is text: only the names of gaps are filled."""
    text = OWN.replace("Testrapport", '"{number.__class__} {0.x} %s ${} {{"')
    words = language(written(tmp_path, text))
    assert "{number.__class__} {0.x} %s ${} {{" == words.say("title_pass", number=1)
