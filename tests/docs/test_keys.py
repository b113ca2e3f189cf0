"""The pages of keys are those of the program, and each key says what it is."""

from pathlib import Path

import pytest

from benchtest.documents import schema
from tests.docs.keys import DOCS, PAGES, page
from tests.docs.pictures import PICTURE, make


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_what_the_schema_says(name: str) -> None:
    """`python -m tests.docs.keys` was run after the last change of a key."""
    assert (DOCS / name).read_text(encoding="utf-8") == page(name)


@pytest.mark.parametrize("name", PAGES)
def test_every_key_says_what_it_is(name: str) -> None:
    """No key is left to guessing, in the pages and in an editor."""
    documents = [schema(model) for model in PAGES[name][2].values()]
    silent = [
        f"{part['title']}.{key}"
        for whole in documents
        for part in (whole, *whole.get("$defs", {}).values())
        for key, value in part.get("properties", {}).items()
        if "const" not in value and ("description" not in value or "for example" in value["description"])
    ]

    assert silent == []


def test_the_picture_is_a_page_of_today(tmp_path: Path) -> None:
    """`python -m tests.docs.pictures` makes a picture of the size of the one that is shown."""
    make(tmp_path / "page.png")

    assert size(tmp_path / "page.png") == size(PICTURE)


def size(picture: Path) -> bytes:
    """Width and height as a PNG's header has them (PNG third edition, 11.2.1)."""
    return picture.read_bytes()[16:24]
