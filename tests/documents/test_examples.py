"""The YAML in our own documentation is taken by our own loaders."""

import re
import shutil
from pathlib import Path
from typing import Any

import pytest
import yaml

from benchtest.fixture import load_fixture
from benchtest.profile import load_profile

ROOT = Path(__file__).parent.parent.parent
FIXTURE, PROFILE = re.findall(
    r"```yaml\n(.*?)```", (ROOT / "docs/uncertainty.md").read_text(encoding="utf-8"), re.DOTALL
)


def merged(document: dict[str, Any], example: dict[str, Any]) -> dict[str, Any]:
    """Return a document with the sections of an example laid over its own."""
    return document | {
        key: document.get(key, {}) | value if isinstance(value, dict) else value for key, value in example.items()
    }


@pytest.mark.parametrize(
    ("kind", "name", "example"), [("fixtures", "simulated", FIXTURE), ("profiles", "carwash", PROFILE)]
)
def test_the_examples_of_the_uncertainty_page_are_valid(kind: str, name: str, example: str, tmp_path: Path) -> None:
    """A fixture and a profile with the keys of the page load without a problem."""
    shutil.copytree(ROOT / kind, tmp_path / kind)
    path = tmp_path / kind / f"{name}.yaml"
    document = merged(yaml.safe_load(path.read_text(encoding="utf-8")), yaml.safe_load(example))
    path.write_text(yaml.safe_dump(document, sort_keys=False, allow_unicode=True), encoding="utf-8")

    if kind == "fixtures":
        accuracy = load_fixture(path).fixture.accuracy
        assert (0.8, 5e-6, 0.005) == (accuracy.sense.shared, accuracy.sense.thermal_emf, accuracy.ohms.leads)
    else:
        decision = load_profile(path).profile.decision
        assert ("guarded acceptance", {"exercise.*.bounce-time"}) == (decision.rule, set(decision.accept_unresolved))
