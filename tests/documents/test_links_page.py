"""The example of the page about links is a link, and the keys that the page names are those that there are."""

import re
from pathlib import Path

import pytest

from benchtest.profile import load_profile
from benchtest.profile.serial_link import BytesLink, BytesSignal, Message, TextLink, TextSignal
from tests.links.misting import written

PAGE = (Path(__file__).parents[2] / "docs/links.md").read_text(encoding="utf-8")
(EXAMPLE,) = re.findall(r"```yaml\n(.*?)```", PAGE, re.DOTALL)


def test_the_example_is_a_link(tmp_path: Path) -> None:
    """In the place of the misting board's own."""
    profile, _ = written(tmp_path, fixture="serial")
    text = profile.read_text(encoding="utf-8")
    profile.write_text(text[: text.index("link:\n  kind")] + EXAMPLE + text[text.index("steps:") :], encoding="utf-8")

    assert isinstance(load_profile(profile).profile.link, TextLink)


def test_a_line_of_the_example_has_the_checksum_that_it_shows() -> None:
    """The exclusive or of what stands between `$` and `*`, counted here once more."""
    line = next(found for found in re.findall(r"`(\$S,[^`]*)`", PAGE))
    covered, digits = line[1:].split("*")
    found = 0
    for byte in covered.encode("ascii"):
        found ^= byte

    assert f"{found:02X}" == digits


@pytest.mark.parametrize("model", [BytesLink, TextLink, BytesSignal, TextSignal, Message])
def test_every_key_of_a_serial_line_is_on_the_page(model: type[BytesLink | TextLink | BytesSignal | Message]) -> None:
    """Whoever adds a key adds it to the page."""
    shared = {
        "kind",
        "terminals",
        "variant",
        "option",
        "requirement",
        "controller",
        "board",
        "command",
        "status",
        "answer",
        "lost_after",
        "back_within",
    }

    assert not [key for key in model.model_fields if key not in shared and f"`{key}`" not in PAGE]
