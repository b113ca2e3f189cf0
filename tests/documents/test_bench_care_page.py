"""The examples of the page about looking after a bench are what the program reads, and every key is on it."""

import re
from pathlib import Path
from typing import Any

import pytest
import yaml

from benchtest.fixture.self_check import Reference, SelfCheck

PAGE = (Path(__file__).parents[2] / "docs/bench-care.md").read_text(encoding="utf-8")
BLOCKS: dict[str, Any] = {}
for text in re.findall(r"```yaml\n(.*?)```", PAGE, re.DOTALL):
    BLOCKS |= yaml.safe_load(text)


@pytest.mark.parametrize(("key", "model"), [("self_check", SelfCheck), ("reference", Reference)])
def test_an_example_is_read_and_has_every_key(key: str, model: type[SelfCheck] | type[Reference]) -> None:
    """Whoever adds a key adds it to the page."""
    assert model.model_validate(BLOCKS[key])
    assert set(model.model_fields) == set(BLOCKS[key])
