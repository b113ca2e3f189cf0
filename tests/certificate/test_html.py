"""The page for the screen, parsed; `test_browser` opens it in a real browser."""

from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from benchtest.certificate import describe, to_html
from tests.certificate.test_pdf import HOSTILE
from tests.records.finished import finished_readings, finished_run

VOID = {"meta", "link", "br", "img", "hr", "input"}


class Page(HTMLParser):
    """Collects elements, attributes and text of a page, and checks that what is opened is closed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words = ""
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert not self._open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words += data


def test_the_page_asks_for_nothing_and_runs_nothing(passed: Path) -> None:
    """No script, no handler, no address but places on the page itself; the policy forbids them as well."""
    page = Page((passed / "certificate.html").read_text())
    assert not {"script", "link", "img", "iframe", "object", "embed", "form"} & {tag for tag, _ in page.elements}
    names = {name for _, attributes in page.elements for name in attributes}
    assert not {name for name in names if name.startswith("on")} | (names & {"src", "style", "action"})
    places = {attributes["href"] for _, attributes in page.elements if "href" in attributes}
    assert places <= {f"#{attributes['id']}" for _, attributes in page.elements if "id" in attributes}
    policies = [attributes.get("content") for tag, attributes in page.elements if "http-equiv" in attributes]
    assert ["default-src 'none'"] == [str(policy).split("; ")[0] for policy in policies]
    assert "url(" not in page.words
    assert "@import" not in page.words


def test_the_page_can_be_heard(passed: Path) -> None:
    """Language, landmarks, captions, header scopes, and a text for every drawing (WCAG 2.2, 1.1.1 and 1.3.1)."""
    page = Page((passed / "certificate.html").read_text())
    tags = [tag for tag, _ in page.elements]
    assert {"header", "main", "footer"} <= set(tags)
    assert "en" == page.elements[0][1]["lang"]
    assert tags.count("table") == tags.count("caption") > 5
    assert all(attributes.get("scope") in {"col", "row"} for tag, attributes in page.elements if tag == "th")
    drawings = [attributes for _, attributes in page.elements if attributes.get("role") == "img"]
    assert tags.count("svg") == len(drawings) == 30 + 1  # recordings, and the code of the seal
    assert all(attributes["aria-label"] for attributes in drawings)


def test_verdicts_are_words_with_shapes(failed: Path) -> None:
    """Fail is written and drawn, not only coloured."""
    words = Page((failed / "report.html").read_text()).words
    assert "✗ FAIL" in words
    assert "✗ fail" in words
    assert "✓ pass" in words


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_stays_text(text: str) -> None:
    """Markup in any field adds no element to the page."""
    run = finished_run()
    plain = Page(to_html(describe(run, finished_readings())))
    results = (replace(run.results[0], note=text, value=text), *run.results[1:])
    job = replace(run.job, serial=text, customer=text)
    changed = replace(run, job=job, reason=text, results=results, number=text)
    page = Page(to_html(describe(changed, finished_readings())))
    assert text[:200].strip() in page.words
    count = [tag for tag, _ in plain.elements].count
    assert {tag: count(tag) for tag in ("script", "svg", "table", "p", "meta")} == {
        tag: [found for found, _ in page.elements].count(tag) for tag in ("script", "svg", "table", "p", "meta")
    }
