"""The manager's page: parsed, and opened in a real browser."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium import webdriver

from benchtest.depot.charts import Bar, bars, columns
from benchtest.depot.questions import Period
from benchtest.depot.report import report, to_html
from benchtest.records.database.opening import open_file
from tests.certificate.test_html import Page
from tests.depot.stock import BEGIN, fill, make


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of a depot of some years, with every section filled."""
    folder = tmp_path_factory.mktemp("page")
    with open_file(folder / "records.sqlite") as records:
        with records.writing() as connection:
            fill(connection, make(boards=40, cases=300), boards=40)
        content = to_html(report(records, Period(since=BEGIN)))
    (folder / "depot.html").write_text(content, encoding="utf-8")
    return folder / "depot.html"


def test_the_page_asks_for_nothing_and_runs_nothing(page: Path) -> None:
    """No script, no handler, no link, no external address; the policy forbids them as well."""
    found = Page(page.read_text(encoding="utf-8"))
    assert not {"script", "link", "img", "iframe", "object", "embed", "form", "a"} & {tag for tag, _ in found.elements}
    names = {name for _, attributes in found.elements for name in attributes}
    assert not {name for name in names if name.startswith("on")} | (names & {"src", "href", "style", "action"})
    assert "default-src 'none'" in page.read_text(encoding="utf-8")


def test_the_page_can_be_heard(page: Path) -> None:
    """Language, landmarks, captions, header scopes, a text for every drawing, no id twice (WCAG 2.2, 1.1.1, 1.3.1)."""
    found = Page(page.read_text(encoding="utf-8"))
    tags = [tag for tag, _ in found.elements]
    assert {"header", "main", "footer"} <= set(tags)
    assert ("html", "en") == (found.elements[0][0], found.elements[0][1]["lang"])
    assert tags.count("table") == tags.count("caption") == 10
    assert all(attributes.get("scope") in {"col", "row"} for tag, attributes in found.elements if tag == "th")
    drawings = [attributes for tag, attributes in found.elements if tag == "svg"]
    assert 6 == len(drawings)
    assert all(attributes["role"] == "img" and attributes["aria-label"] for attributes in drawings)
    ids = [attributes["id"] for _, attributes in found.elements if "id" in attributes]
    assert len(ids) == len(set(ids))


def test_what_is_drawn_is_what_is_written() -> None:
    """The words of a drawing hold every number of it; a name with markup stays a name."""
    chart = bars("Parts", [Bar(name="<b>K1", share=0.75, text="3", running=0.75), Bar(name="K2", share=0.25, text="1")])
    assert "Parts. <b>K1: 3; K2: 1." == chart.alternative
    assert "<b>" not in chart.svg
    widths = [float(width) for width in re.findall(r'<rect x="0" y="[\d.]+" width="([\d.]+)"', chart.svg)]
    assert 3 == pytest.approx(widths[0] / widths[1])
    stacked = columns("Runs", ["Jan", "Feb"], [[2, 1, 0], [0, 0, 4]], ("pass", "fail", "neither"))
    assert "Runs. Jan: 2 pass, 1 fail, 0 neither; Feb: 0 pass, 0 fail, 4 neither." == stacked.alternative


@pytest.fixture
def browser() -> Iterator[webdriver.Chrome]:
    chromium, driver_path = shutil.which("chromium"), shutil.which("chromedriver")
    if chromium is None or driver_path is None:
        pytest.skip("needs Chromium and its driver (apt-get install chromium chromium-driver); .ci/run has them")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver_path))
    yield driver
    driver.quit()


CONTRAST = """
const luminance = text => {
  const parts = text.match(/[\\d.]+/g).slice(0, 3).map(v => v / 255)
    .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2];
};
const paper = luminance(getComputedStyle(document.body).backgroundColor);
return Math.min(...[...document.querySelectorAll('h1, h2, p, th, td, caption, dt, dd, figcaption')]
  .map(e => luminance(getComputedStyle(e).color))
  .map(ink => (Math.max(ink, paper) + 0.05) / (Math.min(ink, paper) + 0.05)));
"""
"""Least contrast of text to paper, after WCAG 2.2, 1.4.3."""


@pytest.mark.browser
def test_a_telephone_shows_the_whole_width(page: Path, browser: webdriver.Chrome) -> None:
    """At 320 pixels nothing is cut or scrolled sideways, nothing is fetched, nothing is blocked, all can be read.

    Nor is a figure of a wide table cut off at any width up to a desk's, such as that of a printed page.
    """
    metrics = {"width": 320, "height": 800, "deviceScaleFactor": 1, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    for scheme in ("light", "dark"):
        feature = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", feature)
        browser.get(page.as_uri())
        assert 320 == browser.execute_script("return document.documentElement.scrollWidth")
        wide = "return [...document.querySelectorAll('main *')].filter(e => !e.closest('thead') &&"
        assert 0 == browser.execute_script(wide + " e.getBoundingClientRect().right > 321).length")
        assert browser.execute_script(CONTRAST) >= 4.5
    assert [] == browser.execute_script("return performance.getEntriesByType('resource').map(e => e.name)")
    assert [] == browser.execute("getLog", {"type": "browser"})["value"]
    for width in (700, 800, 900, 1000, 1200):
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {**metrics, "width": width, "mobile": False})
        beyond = "const edge = document.querySelector('main').getBoundingClientRect().right + 1;"
        beyond += "return [...document.querySelectorAll('main td')].map(e => e.getBoundingClientRect().right)"
        assert [] == browser.execute_script(beyond + ".filter(right => right > edge)"), width
