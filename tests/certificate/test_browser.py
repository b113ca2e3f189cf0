"""The page in a real browser: on a telephone, by keyboard, on paper, and judged by WCAG 2.2 (axe-core)."""

import base64
import io
import re
import shutil
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader
from selenium import webdriver
from selenium.webdriver.common.keys import Keys

from benchtest.certificate import describe, to_html
from benchtest.language import language
from tests.certificate.whole import whole_readings, whole_run
from tests.site.test_site import SVG

pytestmark = pytest.mark.browser
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture(scope="module")
def browser() -> Iterator[webdriver.Chrome]:
    chromium, driver_path = shutil.which("chromium"), shutil.which("chromedriver")
    if chromium is None or driver_path is None:
        pytest.skip("needs Chromium and its driver (apt-get install chromium chromium-driver); .ci/run has them")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    service = webdriver.ChromeService(driver_path)
    driver = webdriver.Chrome(options=options, service=service)
    yield driver
    driver.quit()


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A certificate in English and a report in German, each with all that a paper can have, logo included."""
    folder = tmp_path_factory.mktemp("pages")
    for passed, tag in ((True, "en"), (False, "de")):
        page = to_html(describe(whole_run(passed=passed), whole_readings(), language(tag)), None, SVG.encode())
        (folder / f"{tag}.html").write_text(page, encoding="utf-8")
    return folder


def sized(browser: webdriver.Chrome, width: int, *, dark: bool = False) -> None:
    metrics = {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": width < 500}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})


def opened(browser: webdriver.Chrome, page: Path) -> None:
    browser.get("about:blank")
    browser.get(page.as_uri())


def test_a_telephone_shows_the_whole_width(passed: Path, pages: Path, browser: webdriver.Chrome) -> None:
    """At 320 pixels nothing is cut or scrolled sideways, nothing is fetched, and nothing is blocked or wrong."""
    sized(browser, 320)
    for page in (passed / "certificate.html", pages / "en.html", pages / "de.html"):
        opened(browser, page)
        assert 320 == browser.execute_script("return document.documentElement.scrollWidth")
        wide = "return [...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > 321"
        assert 0 == browser.execute_script(f"{wide} && !e.closest('.watermark')).length")
        fetched = browser.execute_script("return performance.getEntriesByType('resource').map(e => e.name)")
        assert [] == [name for name in fetched if not name.startswith("data:image/svg+xml;base64,")]
        assert [] == browser.execute("getLog", {"type": "browser"})["value"]
    assert "DURCHGEFALLEN" in browser.find_element("tag name", "header").text


@pytest.mark.parametrize(("page", "width", "dark"), [("en", 320, False), ("de", 1200, True)])
def test_axe_finds_nothing_to_mend(page: str, width: int, dark: bool, pages: Path, browser: webdriver.Chrome) -> None:
    """WCAG 2.2 A and AA by axe-core, light and dark, small and wide; undecided only where drawings carry the words."""
    sized(browser, width, dark=dark)
    opened(browser, pages / f"{page}.html")
    browser.execute_script(files("selenium_axe_python").joinpath("axe-core/axe.min.js").read_text(encoding="utf-8"))
    run = f"axe.run({{runOnly: {{type: 'tag', values: {RULES}}}}}).then(arguments[0])"
    found: dict[str, Any] = browser.execute_async_script(run)
    assert [] == [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]]
    judged = {one["id"] for one in found["passes"]}
    assert {"color-contrast", "html-has-lang", "image-alt", "link-name", "role-img-alt", "target-size"} <= judged
    undecided = [node["html"] for one in found["incomplete"] for node in one["nodes"]]
    assert [] == [html for html in undecided if not re.match(r"<text |<span aria-hidden=\"true\">.</span>", html)]


def luminance(colour: str) -> float:
    """Return the relative luminance of `#rgb` or `#rrggbb` (WCAG 2.2, definition)."""
    digits = colour.lstrip("#")
    digits = "".join(2 * digit for digit in digits) if len(digits) == 3 else digits
    parts = [int(digits[place : place + 2], 16) / 255 for place in (0, 2, 4)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_the_ink_of_drawings_stands_out(pages: Path) -> None:
    """What axe cannot decide in a drawing: ink, accent and faint text have 4.5:1 on light, dark and printed paper."""
    style = (pages / "en.html").read_text(encoding="utf-8").partition("</style>")[0]
    schemes = [dict(re.findall(r"--(\w+): (#\w+);", scheme)) for scheme in re.findall(r":root \{([^}]*)\}", style)]
    assert 3 == len(schemes)
    for scheme in schemes:
        paper = luminance(scheme["paper"])
        for ink in ("ink", "faint", "accent"):
            lighter, darker = sorted((paper, luminance(scheme[ink])), reverse=True)
            assert (lighter + 0.05) / (darker + 0.05) >= 4.5, (ink, scheme)


def test_a_drawing_grows_and_shrinks_by_keyboard_alone(pages: Path, browser: webdriver.Chrome) -> None:
    """Enter on its link makes it wider than the screen, the next link leads back to the same place; no script."""
    sized(browser, 320)
    opened(browser, pages / "en.html")
    link = browser.find_element("css selector", ".larger")
    drawing = browser.find_element("css selector", ".panel svg")
    small = drawing.size["width"]
    browser.execute_script("arguments[0].focus()", link)
    before = browser.execute_script("return scrollY")
    browser.switch_to.active_element.send_keys(Keys.ENTER)
    assert small < 320
    assert drawing.size["width"] > 1000
    browser.switch_to.active_element.send_keys(Keys.TAB)
    back = browser.switch_to.active_element
    assert "Back to the page" == back.text
    back.send_keys(Keys.ENTER)
    assert small == drawing.size["width"]
    assert before == browser.execute_script("return scrollY")


def test_every_number_of_a_drawing_is_reached_by_keyboard(pages: Path, browser: webdriver.Chrome) -> None:
    """Tab comes to the words of each drawing, and a key opens them; they hold what its measured times are."""
    sized(browser, 1200)
    opened(browser, pages / "en.html")
    summaries = browser.find_elements("css selector", ".panel summary")
    assert len(summaries) == len(browser.find_elements("css selector", ".panel svg")) > 2
    browser.execute_script("arguments[0].focus()", browser.find_element("css selector", ".panel .larger"))
    browser.switch_to.active_element.send_keys(Keys.TAB)
    assert "SUMMARY" == browser.switch_to.active_element.tag_name.upper()
    words = browser.find_element("css selector", ".panel details p")
    assert not words.is_displayed()
    browser.switch_to.active_element.send_keys(Keys.ENTER)
    assert words.is_displayed()
    assert "K7 operate 7.40 ± 0.12 ms" in words.text


def printed(browser: webdriver.Chrome) -> list[str]:
    """Return the words of the pages as they would be printed, without colours of backgrounds."""
    wanted = {"printBackground": False, "preferCSSPageSize": True, "paperWidth": 8.27, "paperHeight": 11.69}
    pdf = browser.execute_cdp_cmd("Page.printToPDF", wanted)["data"]
    return [page.extract_text() for page in PdfReader(io.BytesIO(base64.b64decode(pdf))).pages]


@pytest.mark.parametrize(
    ("page", "foot", "head"),
    [
        ("en", "BT-20260314-3f9a12c4, page {n} of {all}", "SIMULATED"),
        ("de", "BT-20260314-3f9a12c4, Seite {n} von {all}", "DURCHGEFALLEN: kein Prüfschein"),
    ],
)
def test_the_page_is_fit_to_print(page: str, foot: str, head: str, pages: Path, browser: webdriver.Chrome) -> None:
    """Number, page x of y and what it is not stand on every printed sheet; links of drawings do not."""
    sized(browser, 1200)
    opened(browser, pages / f"{page}.html")
    sheets = printed(browser)
    assert len(sheets) > 2
    for place, words in enumerate(sheets, 1):
        assert foot.format(n=place, all=len(sheets)) in words
        assert head in words
    assert "Back to the page" not in "".join(sheets)
    assert "Zurück zur Seite" not in "".join(sheets)
