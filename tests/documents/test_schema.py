"""The schemas for editors are JSON Schema, and agree with the loader about good and bad documents.

Outside judge: the jsonschema package, draft 2020-12.
"""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from pydantic import BaseModel

from benchtest.documents import schema
from benchtest.documents.tree import grow
from benchtest.errors import DocumentError
from benchtest.fixture import Fixture, Harness, load_fixture
from benchtest.fixture.dialect import SHIPPED, Dialect
from benchtest.profile import Profile, load_profile
from tests.documents.conftest import BOARDS, Spoil

ROOT = Path(__file__).parents[2]
GOOD: list[tuple[Path, type[BaseModel]]] = [
    *((path, Profile) for path in (BOARDS / "tank.yaml", *sorted(ROOT.glob("profiles/*.yaml")))),
    *((path, Harness) for path in (BOARDS / "tank.harness.yaml", *sorted(ROOT.glob("fixtures/*.harness.yaml")))),
    *((ROOT / "fixtures" / name, Fixture) for name in ("simulated.yaml", "serial.yaml")),
    (BOARDS / "instruments.yaml", Fixture),
    *((path, Dialect) for path in (BOARDS / "odd.dialect.yaml", *sorted(SHIPPED.glob("*.yaml")))),
]


def as_json(path: Path) -> Any:
    """Return a document as an editor's JSON Schema support sees it, keys as text."""
    return json.loads(json.dumps(grow(path.read_text(encoding="utf-8")).value))


@pytest.mark.parametrize("model", [Profile, Fixture, Harness, Dialect])
def test_a_schema_is_valid_json_schema(model: type[BaseModel]) -> None:
    """The schema itself meets the metaschema of draft 2020-12."""
    described = schema(model)

    jsonschema.Draft202012Validator.check_schema(described)
    assert "https://json-schema.org/draft/2020-12/schema" == described["$schema"]


@pytest.mark.parametrize(("path", "model"), GOOD, ids=[path.name for path, _ in GOOD])
def test_good_documents_meet_their_schema(path: Path, model: type[BaseModel]) -> None:
    """What the loader takes, an editor does not underline."""
    jsonschema.Draft202012Validator(schema(model)).validate(as_json(path))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("    lamp: D1\n", "    lampp: D1\n"),
        ("current_limit: 1 A", "current_limit: 1"),
        ("kind: level", "kind: levle"),
        ("colour: blue", "colour: blau"),
        ("pins: 6", "pins: 100"),
        ("  day: {kind", "  1day: {kind"),
        ("step: safe off", "step: safe of"),
    ],
)
def test_an_editor_underlines_what_the_loader_refuses(spoil: Spoil, old: str, new: str) -> None:
    """A mistake of shape is one for the schema too."""
    spoiled = spoil("tank.yaml", (old, new))

    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema(Profile)).validate(as_json(spoiled.path))
    with pytest.raises(DocumentError):
        load_profile(spoiled.path)


@pytest.mark.parametrize("path", sorted(ROOT.glob("profiles/*.yaml")), ids=lambda path: path.name)
def test_the_shipped_profiles_load(path: Path) -> None:
    """Every profile that we ship is without problems."""
    loaded = load_profile(path)

    assert path == loaded.path
    assert (loaded.profile.link is None) == (loaded.database is None)
    assert f"{path}:" in loaded.place("board", "part")


@pytest.mark.parametrize("name", ["simulated.yaml", "serial.yaml"])
def test_the_shipped_fixtures_load(name: str) -> None:
    """Every fixture that we ship is without problems, and has a harness for both boards."""
    assert {"GZ-2140", "CW-0410"} == set(load_fixture(ROOT / "fixtures" / name).harnesses)
