"""Every key of every document, as pages made from the schemas that editors get.

    python -m tests.docs.keys

writes `docs/profile-keys.md`, `docs/fixture-keys.md` and `docs/site-keys.md`; a test holds them to the schemas.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel

from benchtest.documents import schema
from benchtest.fixture.dialect import Dialect
from benchtest.fixture.document import Fixture, Harness
from benchtest.profile.document import Profile
from benchtest.site import Site

Schema = dict[str, Any]
DOCS: Final = Path(__file__).parents[2] / "docs"
PAGES: Final[dict[str, tuple[str, str, dict[str, type[BaseModel]]]]] = {
    "profile-keys.md": (
        "Keys of a profile",
        "What a good board is and how to prove it. `benchtest schema profile` gives the same to an editor.",
        {"Profile": Profile},
    ),
    "fixture-keys.md": (
        "Keys of a fixture, a cable set and a dialect",
        "A bench, its cable sets and its instruments. `benchtest schema fixture`, `harness` and `dialect` too.",
        {"Fixture": Fixture, "Cable set": Harness, "Dialect": Dialect},
    ),
    "site-keys.md": (
        "Keys of a site file",
        "What a depot says of itself, once for all its benches. `benchtest schema site` gives the same to an editor.",
        {"Site": Site},
    ),
}
COMMON: Final = (
    "Quantities are written with their unit (`24 V`, `15 ms`, `80 mohm`); a bare number where a unit is due is refused."
    " A key without a default must be there. Made from the program by `python -m tests.docs.keys`."
)


def page(name: str) -> str:
    """Return one page as Markdown."""
    title, about, documents = PAGES[name]
    lines = [f"# {title}", "", about, "", COMMON, ""]
    for heading, model in documents.items():
        lines.extend(_document(heading, schema(model)))
    return "\n".join(lines).rstrip() + "\n"


def _document(heading: str, whole: Schema) -> Iterator[str]:
    definitions = whole.get("$defs", {})
    yield from _section(heading, whole)
    for name in _in_order(whole, definitions):
        if definitions[name].get("type") == "object" and "properties" in definitions[name]:
            yield from _section(_titled(name), definitions[name])


def _in_order(whole: Schema, definitions: Schema) -> list[str]:
    """Return the sections in the order in which a reader comes to them."""
    found: list[str] = []

    def look(part: Any) -> None:
        if isinstance(part, dict):
            name = str(part.get("$ref", "")).rpartition("/")[2]
            if name and name not in found and not _is_limits(name):
                found.append(name)
                look(definitions[name])
            for key, inner in part.items():
                if key not in {"$defs", "default"}:
                    look(inner)
        elif isinstance(part, list):
            for inner in part:
                look(inner)

    look({key: value for key, value in whole.items() if key != "$defs"})
    return found


def _section(heading: str, part: Schema) -> Iterator[str]:
    yield from (f"## {heading}", "")
    if "description" in part:
        yield from (part["description"], "")
    yield from ("| key | what stands there | default | meaning |", "|---|---|---|---|")
    needed = part.get("required", [])
    for key, value in part["properties"].items():
        default = "" if key in needed else _default(value.get("default"), value)
        meaning = value.get("description", "" if "const" not in value else "which of its kind this is")
        yield f"| `{key}` | {_value(value)} | {default} | {_cell(meaning)} |"
    yield ""


def _default(value: Any, part: Schema) -> str:
    if value in (None, "", [], {}):
        return "none"
    if isinstance(value, dict):
        return "that of its keys"
    if isinstance(value, str):
        return f"`{value}`"
    unit = _unit(part)
    if unit == "%":
        return f"`{100 * value:g} %`"
    return f"`{value:g} {unit}`" if unit else f"`{json.dumps(value, ensure_ascii=False)}`"


def _unit(part: Schema) -> str:
    """Return the unit of a quantity's default, which is in SI; none where it is no quantity."""
    examples = part.get("examples") or [one["examples"][0] for one in part.get("anyOf", ()) if "examples" in one]
    unit = str(examples[0]).partition(" ")[2] if examples else ""
    return unit[1:] if unit[:1] in {"m", "k"} and unit[1:] else unit


def _value(part: Schema) -> str:
    """Return what may stand at a key, in words."""
    if "$ref" in part:
        name = part["$ref"].rpartition("/")[2]
        return "`min` and/or `max`" if _is_limits(name) else f"[{_titled(name)}](#{_anchor(name)})"
    if "const" in part:
        return f"`{part['const']}`"
    if "enum" in part:
        return " or ".join(f"`{one}`" for one in part["enum"])
    for several in ("anyOf", "oneOf"):
        if several in part:
            return " or ".join(dict.fromkeys(_value(one) for one in part[several] if one.get("type") != "null"))
    return _simple(part)


def _simple(part: Schema) -> str:
    match part.get("type"):
        case "object":
            inner = [*part.get("patternProperties", {}).values(), part.get("additionalProperties")]
            of = next((one for one in inner if isinstance(one, dict)), {})
            return f"name → {_value(of)}"
        case "array":
            of = part.get("items") or next(iter(part.get("prefixItems", [])), {})
            return f"list of: {_value(of)}" if of else "list"
        case "boolean":
            return "`true` or `false`"
        case "integer":
            return _numbers("whole number", part)
        case "number":
            return _numbers("number", part)
        case _:
            examples = part.get("examples")
            return f"`{examples[0]}`" if examples else "text"


def _numbers(word: str, part: Schema) -> str:
    low = part.get("minimum", part.get("exclusiveMinimum"))
    high = part.get("maximum", part.get("exclusiveMaximum"))
    bounds = [f"from {low}"] * (low is not None) + [f"to {high}"] * (high is not None)
    return " ".join([word, *bounds])


def _is_limits(name: str) -> bool:
    return "Limits_Annotated" in name


def _titled(name: str) -> str:
    """Return the name of a section as words: `CountCode` is `Count code`."""
    spaced = "".join(f" {letter.lower()}" if letter.isupper() else letter for letter in name).strip()
    return spaced[:1].upper() + spaced[1:]


def _anchor(name: str) -> str:
    return _titled(name).lower().replace(" ", "-")


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


if __name__ == "__main__":
    for each in PAGES:
        (DOCS / each).write_text(page(each), encoding="utf-8")
