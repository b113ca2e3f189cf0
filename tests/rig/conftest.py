"""A bench with an emergency stop and a lid, and the car-wash board with a script of a few seconds on it."""

from collections.abc import Callable
from pathlib import Path

import pytest

from benchtest.cli.documents import Prepared, prepare

ROOT = Path(__file__).parent.parent.parent
SHORT = """steps:
  - {step: unpowered}
  - {step: power up, supplies: [main]}
  - {step: exercise, relays: [K1, K2, K3, K4]}
  - {step: safe off}
"""
GUARDS = """
guards:
  emergency stop: {channel: 190, safe: high, threshold: 12 V}
  lid: {channel: 191, safe: low, threshold: 5 V}
"""
Documents = Callable[..., tuple[Path, Path]]


def write_documents(folder: Path, fixture: str, *edits: tuple[str, str]) -> tuple[Path, Path]:
    """Write a short profile and a fixture with guards into a folder, with texts of the fixture replaced."""
    for path in (ROOT / "fixtures").iterdir():
        (folder / path.name).write_bytes(path.read_bytes())
    text = (ROOT / f"fixtures/{fixture}.yaml").read_text(encoding="utf-8") + GUARDS
    for old, new in edits:
        assert old in text
        text = text.replace(old, new)
    (folder / f"{fixture}.yaml").write_text(text, encoding="utf-8")
    board = (ROOT / "profiles/carwash.yaml").read_text(encoding="utf-8")
    profile = folder / "carwash.yaml"
    profile.write_text(board[: board.index("steps:")] + SHORT, encoding="utf-8")
    return profile, folder / f"{fixture}.yaml"


@pytest.fixture
def documents(tmp_path: Path) -> Documents:
    """Write a short profile and a fixture with guards into the test's folder; texts of the fixture may be replaced."""

    def write(fixture: str = "simulated", *edits: tuple[str, str]) -> tuple[Path, Path]:
        return write_documents(tmp_path, fixture, *edits)

    return write


@pytest.fixture(scope="session")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Prepared:
    """The short script on the embedded bench with guards."""
    return prepare(*write_documents(tmp_path_factory.mktemp("guarded"), "simulated"), None, ())
