"""A document in one style: keys in the order of its schema, quantities and quotes in one spelling, comments kept.

Two spaces a level. What was written in braces or brackets on one line stays so; what was spread over lines becomes one
line where that is short enough, else a block. Names that the author gave keep the author's order, which may mean
something (the first state of a probe is the one at rest). In a section, what the thing is comes first; for whom it is
fitted, and what it proves, come last. Text stands in double quotes where it must, or where other readers of YAML, or
people, would take it for something else, and without quotes otherwise. Formatting twice changes nothing more.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import NoneType, UnionType
from typing import Annotated, Any, Final, Union, get_args, get_origin

import yaml
from pydantic import BaseModel

from benchtest.documents.commented import Entry, Node, read_commented
from benchtest.documents.tree import grow
from benchtest.quantities import Dimension, spelled

WIDTH: Final = 120
"""Longest line that a collection spread over lines is drawn together into."""
_RESOLVER: Final[Any] = yaml.SafeLoader("")
_WHAT: Final = ("format", "step", "kind")
_FOR_WHOM: Final = ("variant", "option", "requirement")


def tidy(text: str, model: type[BaseModel]) -> str:
    """Return the text of a valid document in the usual style. Raises ValueError if that would change what it says."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    root = read_commented(text if text.endswith("\n") else text + "\n")
    for place, entry in enumerate(_ordered(root, Meaning(model))):
        if place and not (entry.before and entry.before[0] == ""):
            entry.before.insert(0, "")
    lines = list(_block(root, Meaning(model), 0))
    anew = "\n".join(lines).strip("\n") + "\n"
    if model.model_validate(grow(anew).value) != model.model_validate(grow(text).value):
        raise ValueError("it would say something else when formatted (please report it)")
    return anew


# ---------------------------------------------------------------- what the schema says of a place


@dataclass(frozen=True, slots=True)
class Meaning:
    """What stands at a place of a document: a type of the model, and what it was annotated with."""

    annotation: Any
    metadata: tuple[Any, ...] = ()

    @property
    def dimension(self) -> Dimension | None:
        """The quantity that a scalar here is."""
        return next((one for one in self.metadata if isinstance(one, Dimension)), None)

    def plain(self, node: Node) -> "Meaning":
        """Return the meaning without annotations and alternatives, as the node decides between them."""
        origin, inside = get_origin(self.annotation), get_args(self.annotation)
        if origin is Annotated:
            return Meaning(inside[0], (*self.metadata, *inside[1:])).plain(node)
        if origin in {Union, UnionType}:
            choices = [Meaning(one, self.metadata).plain(node) for one in inside if one is not NoneType]
            return next((one for one in choices if one.is_meant(node)), choices[0])
        return self

    def is_meant(self, node: Node) -> bool:
        """Return whether a node says that it is of this section's kind."""
        section = self.section
        if section is None:
            return node.text is not None
        said = {entry.key.text: entry.value.text for entry in node.entries if entry.key is not None}
        kinds = [(name, section.model_fields[name].annotation) for name in _WHAT if name in section.model_fields]
        return node.text is None and all(said.get(name) in get_args(kind) for name, kind in kinds)

    @property
    def section(self) -> type[BaseModel] | None:
        found = self.annotation
        return found if isinstance(found, type) and issubclass(found, BaseModel) else None

    def inside(self, key: str | None, place: int) -> "Meaning":
        """Return the meaning of a value in this one: by its key, or by its place in a list."""
        if self.section is not None:
            fields = _fields(self.section)
            return fields.get(key or "", Meaning(Any))
        args = get_args(self.annotation)
        origin = get_origin(self.annotation)
        if origin is dict:
            return Meaning(args[1])
        if origin is tuple:
            return Meaning(args[0] if len(args) == 2 and args[1] is Ellipsis else args[min(place, len(args) - 1)])
        return Meaning(Any)


@cache
def _fields(section: type[BaseModel]) -> Mapping[str, Meaning]:
    """Return the keys of a section in their order, with what they mean."""
    said = {
        field.alias or name: Meaning(field.annotation, tuple(field.metadata))
        for name, field in section.model_fields.items()
    }
    first, last = [name for name in _WHAT if name in said], [name for name in _FOR_WHOM if name in said]
    middle = [name for name in said if name not in first and name not in last]
    return {name: said[name] for name in (*first, *middle, *last)}


def _ordered(node: Node, meaning: Meaning) -> list[Entry]:
    """Put the entries of a section in the schema's order."""
    section = meaning.plain(node).section
    if section is not None:
        rank = {name: place for place, name in enumerate(_fields(section))}
        node.entries.sort(key=lambda entry: rank.get(entry.key.text or "" if entry.key else "", len(rank)))
    return node.entries


# ---------------------------------------------------------------- writing


def _block(node: Node, meaning: Meaning, indent: int) -> Iterator[str]:
    """Yield the lines of a collection as a block."""
    meaning = meaning.plain(node)
    if node.text is not None or not node.entries:
        yield f"{' ' * indent}{_one_line(node, meaning)}"
        return
    for place, entry in enumerate(_ordered(node, meaning)):
        if indent and not place:
            while entry.before and not entry.before[0]:
                del entry.before[0]
        inside = meaning.inside(entry.key.text if entry.key else None, place)
        yield from _entry(entry, inside, indent)
    yield from (" " * indent + line if line else "" for line in node.after)


def _entry(entry: Entry, meaning: Meaning, indent: int) -> Iterator[str]:
    pad = " " * indent
    value, beside = entry.value, f"  {entry.beside}" if entry.beside else ""
    head = "-" if entry.key is None else f"{_scalar(entry.key, None, flow=False)}:"
    as_block = value.text is None and value.entries and not _fits(value, meaning, indent + len(head) + 1)
    if not as_block:
        yield from (pad + line if line else "" for line in entry.before)
        yield f"{pad}{head} {_one_line(value, meaning)}".rstrip() + beside
        return
    if entry.key is not None:
        yield from (pad + line if line else "" for line in entry.before)
        yield f"{pad}{head}{beside}"
        yield from _block(value, meaning, indent + 2)
        return
    yield from _item(entry, meaning, indent)


def _item(entry: Entry, meaning: Meaning, indent: int) -> Iterator[str]:
    """Yield an item that is a block itself: its first line stands beside the dash."""
    pad, value = " " * indent, entry.value
    first = _ordered(value, meaning)[0]
    above = [*entry.before, *([entry.beside] if entry.beside else []), *(line for line in first.before if line)]
    first.before = []
    lines = list(_block(value, meaning, indent + 2))
    yield from (pad + line if line else "" for line in above)
    yield f"{pad}- {lines[0][indent + 2 :]}"
    yield from lines[1:]


def _fits(node: Node, meaning: Meaning, column: int) -> bool:
    """Return whether a collection is written on one line."""
    if not node.flow or node.commented:
        return False
    return not node.spread or column + len(_one_line(node, meaning)) <= WIDTH


def _one_line(node: Node, meaning: Meaning, *, flow: bool = False) -> str:
    meaning = meaning.plain(node)
    if node.text is not None:
        return _scalar(node, meaning.dimension, flow=flow)
    parts = []
    for place, entry in enumerate(_ordered(node, meaning)):
        inside = meaning.inside(entry.key.text if entry.key else None, place)
        value = _one_line(entry.value, inside, flow=True)
        parts.append(value if entry.key is None else f"{_scalar(entry.key, None, flow=True)}: {value}".rstrip())
    return f"[{', '.join(parts)}]" if node.is_list else f"{{{', '.join(parts)}}}"


def _scalar(node: Node, dimension: Dimension | None, *, flow: bool) -> str:
    """Return a scalar without quotes where every reader then takes it for what it is."""
    text = node.text or ""
    if dimension is not None:
        text = spelled(text, dimension)
    if not node.quoted and not isinstance(_read(text, flow=False), str):
        return text  # a number, true, false, or nothing
    bare = dimension is not None or any(sign.isalpha() for sign in text)  # people take digits alone for a number
    if bare and _for_all_readers(text) and _read(text, flow=flow) == text:
        return text
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'


@cache
def _read(text: str, *, flow: bool) -> Any:
    """Return what an unquoted text reads as, None also where it cannot be read."""
    tree = grow(f"{{a: {text}, b: [{text}], c: 1}}\n" if flow else f"a: {text}\nb: 1\n")
    if tree.refused or not isinstance(tree.value, dict) or tree.value.get("c" if flow else "b") != 1:
        return None
    found = tree.value.get("a")
    return found if not flow or tree.value.get("b") == [found] else None


def _for_all_readers(text: str) -> bool:
    """Return whether a reader of YAML 1.1 takes an unquoted text for text too: not `on`, `12:30`, `2026-03-02`."""
    if "\n" in text or text != text.strip():
        return False
    return bool(_RESOLVER.resolve(yaml.ScalarNode, text, (True, False)) == "tag:yaml.org,2002:str")
