"""What a document may look like, as JSON Schema: for editors, and to find the words for an error.

Pydantic places an error by a tuple that names keys, places in lists and, inside a union, the tag of the branch it took.
Walking the schema along that tuple gives the path in the document and the part of the schema that was not met.
"""

import ast
import inspect
import sys
from dataclasses import dataclass
from functools import cache, cached_property
from itertools import pairwise
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core.core_schema import ModelSchema

from benchtest.documents.tree import Key, KeyPath

Schema = dict[str, Any]


def schema(model: type[BaseModel]) -> Schema:
    """Return the JSON Schema (draft 2020-12) of a document, for editors that complete, explain and check."""
    described = model.model_json_schema(by_alias=True, schema_generator=_Told)
    _close(described)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **described}


class _Told(GenerateJsonSchema):
    """Describes each key by the words that stand under it in its class."""

    def model_schema(self, schema: ModelSchema) -> JsonSchemaValue:
        found = super().model_schema(schema)
        said = _sayings(schema["cls"])
        for name, field in schema["cls"].model_fields.items():
            if name in said:
                found["properties"][field.alias or name]["description"] = said[name]
        return found


def _sayings(model: type[BaseModel]) -> dict[str, str]:
    """Return what stands under each field of a class and of those that it comes from."""
    own = [kind for kind in reversed(model.__mro__) if issubclass(kind, BaseModel) and "[" not in kind.__name__]
    return {name: text for kind in own for name, text in _under(kind)}


@cache
def _classes(module: str) -> dict[str, ast.ClassDef]:
    """Return the classes of a module as written; none where its source is not at hand."""
    try:
        tree = ast.parse(inspect.getsource(sys.modules[module]))
    except OSError:
        return {}
    return {part.name: part for part in tree.body if isinstance(part, ast.ClassDef)}


def _under(kind: type) -> list[tuple[str, str]]:
    """Return each field of a class with the text under it."""
    body = _classes(kind.__module__).get(kind.__name__) if kind is not BaseModel else None
    if body is None:
        return []
    return [
        (field.target.id, inspect.cleandoc(text.value.value).replace("\n", " "))
        for field, text in pairwise(body.body)
        if isinstance(field, ast.AnnAssign)
        and isinstance(field.target, ast.Name)
        and isinstance(text, ast.Expr)
        and isinstance(text.value, ast.Constant)
        and isinstance(text.value.value, str)
    ]


def _close(part: Any) -> None:
    """Refuse names that fit no pattern; pydantic does, its schema leaves it open."""
    if isinstance(part, dict):
        if "patternProperties" in part:
            part.setdefault("additionalProperties", False)
        for inner in part.values():
            _close(inner)
    elif isinstance(part, list):
        for inner in part:
            _close(inner)


@dataclass(frozen=True)
class Shape:
    """The schema of a whole document."""

    model: type[BaseModel]

    @cached_property
    def _whole(self) -> Schema:
        return self.model.model_json_schema(by_alias=True)

    def locate(self, location: tuple[Key, ...]) -> tuple[KeyPath, Schema]:
        """Return the path in the document and the schema there, for the place that pydantic gives to an error."""
        path: list[Key] = []
        here = self._plain(self._whole)
        for key in location:
            branches = here.get("discriminator", {}).get("mapping", {})
            if key in branches:
                here = self._plain({"$ref": branches[key]})
            elif key != "[key]":
                path.append(key)
                here = self._plain(_child(here, key))
        return tuple(path), here

    def keys(self, part: Schema) -> tuple[str, ...]:
        """Return the keys that a mapping may have; empty when its keys are free names."""
        return tuple(part.get("properties", {}))

    def _plain(self, part: Schema) -> Schema:
        """Follow references and look past `or null`."""
        while True:
            options = [option for option in part.get("anyOf", ()) if option.get("type") != "null"]
            if "$ref" in part:
                part = self._whole["$defs"][part["$ref"].rpartition("/")[2]]
            elif len(options) == 1:
                part = options[0]
            else:
                return part


def _child(part: Schema, key: Key) -> Schema:
    named: Schema | None = part.get("properties", {}).get(key)
    if named is not None:
        return named
    if isinstance(key, int) and "prefixItems" in part and 0 <= key < len(part["prefixItems"]):
        nth: Schema = part["prefixItems"][key]
        return nth
    patterned = part.get("patternProperties", {})
    for child in (*patterned.values(), part.get("additionalProperties"), part.get("items")):
        if isinstance(child, dict):
            return child
    return {}
