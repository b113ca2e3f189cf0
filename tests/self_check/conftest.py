"""The car-wash board with a short script, on benches whose fixtures are edited."""

from pathlib import Path

import pytest

from benchtest.cli.documents import Prepared, prepare
from benchtest.fixture import Fixture, Harness, load_fixture

ROOT = Path(__file__).parents[2]
SHORT = """steps:
  - {step: unpowered}
  - {step: power up, supplies: [main]}
  - {step: exercise, relays: [K1, K2, K3, K4]}
  - {step: safe off}
"""


class Short:
    """A short script on the embedded bench."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def prepared(self, *edits: tuple[str, str]) -> Prepared:
        """Load and plan, with texts of the fixture replaced."""
        for path in (ROOT / "fixtures").iterdir():
            (self._folder / path.name).write_bytes(path.read_bytes())
        text = (ROOT / "fixtures/simulated.yaml").read_text(encoding="utf-8")
        for old, new in edits:
            assert old in text
            text = text.replace(old, new)
        (self._folder / "simulated.yaml").write_text(text, encoding="utf-8")
        board = (ROOT / "profiles/carwash.yaml").read_text(encoding="utf-8")
        (self._folder / "carwash.yaml").write_text(board[: board.index("steps:")] + SHORT, encoding="utf-8")
        return prepare(self._folder / "carwash.yaml", self._folder / "simulated.yaml", None, ())


@pytest.fixture
def short(tmp_path: Path) -> Short:
    """A short script on the embedded bench, whose fixture may be edited."""
    return Short(tmp_path)


@pytest.fixture
def bench_by_hand() -> tuple[Fixture, Harness]:
    """The bench on which a person is everything."""
    loaded = load_fixture(ROOT / "fixtures/byhand.yaml")
    return loaded.fixture, loaded.harnesses["CW-0410"]
