"""What tests of commands share: the shipped board, and what a command answers."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parents[2]
CARWASH: Final = ("run", str(ROOT / "profiles/carwash.yaml"), "--fixture", str(ROOT / "fixtures/simulated.yaml"))
Said = Callable[..., tuple[int, str, str]]
"""Gives a command and hears its exit code, what it printed and what it said beside."""


def rows(said: tuple[int, str, str]) -> list[dict[str, object]]:
    """Return the rows of an answer in JSON."""
    code, printed, _ = said
    assert 0 == code, said
    found: list[dict[str, object]] = json.loads(printed)["rows"]
    return found
