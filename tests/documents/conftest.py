"""Good documents to spoil, and a marker « that says where the complaint must point.

The expected place is counted from the marker in the spoiled text, with nothing of the loader's.
"""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

BOARDS = Path(__file__).parent / "boards"
MARKER = "«"


@dataclass(frozen=True, kw_only=True)
class Spoiled:
    """A document with mistakes, and where they are."""

    path: Path
    places: tuple[tuple[int, int], ...]
    """Line and column of every marker, from 1."""


Spoil = Callable[..., Spoiled]


def spoil_text(text: str, edits: tuple[tuple[str, str], ...]) -> tuple[str, tuple[tuple[int, int], ...]]:
    """Return the text with every (old, new) edit made, and the places of the markers."""
    for old, new in edits:
        assert text.count(old) == 1, f"{old!r} is in the good document {text.count(old)} times"
        text = text.replace(old, new)
    places = []
    for number, line in enumerate(text.split("\n"), start=1):
        parts = line.split(MARKER)[:-1]
        places += [(number, sum(map(len, parts[: n + 1])) + 1) for n in range(len(parts))]
    return text.replace(MARKER, ""), tuple(places)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with the good documents of the tests."""
    return Path(shutil.copytree(BOARDS, tmp_path / "boards"))


@pytest.fixture
def spoil(folder: Path) -> Spoil:
    """Return a function that spoils one of the good documents: `spoil("tank.yaml", (old, new), …)`."""

    def spoil_document(name: str, *edits: tuple[str, str]) -> Spoiled:
        path = folder / name
        text, places = spoil_text(path.read_text(encoding="utf-8"), edits)
        path.write_text(text, encoding="utf-8")
        return Spoiled(path=path, places=places)

    return spoil_document
