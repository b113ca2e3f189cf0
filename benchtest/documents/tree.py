"""YAML text → plain values, and the place of each of them.

The tree is built from the parser's events, which carry marks, so that one pass gives values, places and refusals. Only
a small part of YAML is taken: mappings, lists and scalars. Refused are aliases and anchors, tags, doubled keys, keys
that YAML 1.1 takes for booleans, several documents, and depth. Scalars follow the JSON-like part of YAML 1.2: `true`,
`false`, `null`, decimal integers and floats; everything else is text, `on`, `0123`, `12:30` and `1_000` included.

Source: YAML 1.1 bool type (yaml.org/type/bool.html); YAML 1.2.2 section 10.3, restricted.
"""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import yaml

from benchtest.errors import Problem

Key = str | int
KeyPath = tuple[Key, ...]

DEEPEST: Final = 32
"""Mappings and lists inside one another; a profile needs eight."""

_LOADER: Final[Any] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # ten times faster where it was built
_BOOLEAN_OF_1_1: Final = frozenset({"on", "off", "yes", "no", "y", "n"})
_INTEGER: Final = re.compile(r"[+-]?(?:0|[1-9][0-9]{0,17})")
_FLOAT: Final = re.compile(r"[+-]?(?:0|[1-9][0-9]{0,17})?(?:\.[0-9]{0,30})?(?:[eE][+-]?[0-9]{1,3})?")
_WORDS: Final[dict[str, bool | None]] = {"true": True, "false": False, "null": None, "~": None, "": None}


@dataclass(frozen=True, slots=True)
class Mark:
    """A place in a file, both numbers from 1."""

    line: int
    column: int


@dataclass(kw_only=True, slots=True)
class Tree:
    """What a document says, where it says it, and what was refused on the way."""

    value: Any = None
    keys: dict[KeyPath, Mark] = field(default_factory=dict)
    """Place of the key that leads to a path."""
    values: dict[KeyPath, Mark] = field(default_factory=dict)
    """Place of what a reader takes for the value: the key, where a block follows on the next line."""
    refused: list[tuple[Mark, KeyPath, str, str]] = field(default_factory=list)
    """Place, path, message and hint of everything refused."""
    dead: set[KeyPath] = field(default_factory=set)
    """Paths without a value, because it was refused."""

    def problems(self, file: Path) -> list[Problem]:
        """Return what was refused, as problems of `file`."""
        return [
            Problem(file=file, line=mark.line, column=mark.column, where=self.dotted(path), message=message, hint=hint)
            for mark, path, message, hint in self.refused
        ]

    def mark(self, path: KeyPath, *, key: bool = False) -> Mark:
        """Return the place of `path` (of its key if `key`), or of its nearest parent."""
        if key and path in self.keys:
            return self.keys[path]
        while path and path not in self.values:
            path = path[:-1]
        return self.values.get(path, Mark(1, 1))

    def dotted(self, path: KeyPath) -> str:
        """Return a path as people write it: `relays.K3.lamp`, `steps[2].lit`; places in lists count from 1."""
        text, inside = "", self.value
        for key in path:
            text += f"[{key + 1}]" if isinstance(inside, list) and isinstance(key, int) else f".{key}"
            inside = step_into(inside, key)
        return text.removeprefix(".")


def step_into(value: Any, key: object) -> Any:
    """Return what `key` leads to in a mapping or list, or None when there is no such thing."""
    if isinstance(value, dict):
        return value.get(key)
    if isinstance(value, list) and isinstance(key, int) and 0 <= key < len(value):
        return value[key]
    return None


def grow(text: str, *, loader: Any = _LOADER) -> Tree:
    """Return the tree of `text`; where it is not YAML at all, a tree whose only content is the refusal."""
    builder = _Builder(yaml.parse(text, Loader=loader))
    try:
        builder.documents()
    except yaml.MarkedYAMLError as cause:
        mark = cause.problem_mark or cause.context_mark
        place = Mark(mark.line + 1, mark.column + 1) if mark else Mark(1, 1)
        context = f" {cause.context}" if cause.context else ""
        message = f"is not readable YAML: {cause.problem or 'unknown reason'}{context}"
        hint = "check indentation, brackets and quotes; text with ': ' or ' #', or after a @`%[{*&!, needs quotes"
        return Tree(refused=[(place, (), message, hint)], dead={()})
    except _TooDeep as deep:
        return Tree(refused=[(deep.mark, (), f"more than {DEEPEST} levels deep", "is this the right file?")], dead={()})
    return builder.tree


class _TooDeep(Exception):
    def __init__(self, mark: Mark) -> None:
        super().__init__()
        self.mark = mark


class _Builder:
    """Walks the events of a document once."""

    def __init__(self, events: Iterator[Any]) -> None:
        self._events = events
        self.tree = Tree()

    def documents(self) -> None:
        """Read the first document; refuse a second."""
        seen = 0
        for event in self._events:
            if isinstance(event, yaml.DocumentStartEvent):
                seen += 1
                if seen == 2:
                    self._refuse(event, (), "a second document in one file", "give it a file of its own")
            elif isinstance(event, yaml.NodeEvent):
                if seen == 1:
                    self.tree.value = self.node(event, ())
                else:
                    _Builder(self._events).node(event, ())

    def node(self, event: Any, path: KeyPath, key_mark: Mark | None = None) -> Any:
        is_collection = isinstance(event, yaml.CollectionStartEvent)
        in_block = is_collection and not event.flow_style
        self.tree.values[path] = key_mark if in_block and key_mark else _mark(event)
        if is_collection and len(path) >= DEEPEST:
            raise _TooDeep(_mark(event))
        if isinstance(event, yaml.AliasEvent):
            self._refuse(event, path, f"alias '*{event.anchor}'", "write the value out")
            self.tree.dead.add(path)
            return None
        self._refuse_decoration(event, path)
        if isinstance(event, yaml.MappingStartEvent):
            return self._mapping(path)
        if isinstance(event, yaml.SequenceStartEvent):
            return self._sequence(path)
        return _scalar(event)

    def _mapping(self, path: KeyPath) -> dict[Key, Any]:
        mapping: dict[Key, Any] = {}
        while not isinstance(event := next(self._events), yaml.MappingEndEvent):
            key = self._key(event, path)
            if key is None or key in mapping:
                self._skip(event, path, key)
                continue
            mark = _mark(event)
            self.tree.keys[(*path, key)] = mark
            mapping[key] = None
            mapping[key] = self.node(next(self._events), (*path, key), mark)
        return mapping

    def _skip(self, event: Any, path: KeyPath, doubled: Key | None) -> None:
        """Read over a value whose key was refused, saying what is wrong inside it too."""
        if doubled is not None:
            first = self.tree.keys[(*path, doubled)].line
            message = f"key {str(doubled)!r} twice, on lines {first} and {_mark(event).line}"
            self._refuse(event, (*path, doubled), message, "keep one of them")
        aside = _Builder(self._events)
        aside.node(next(self._events), (*path, str(getattr(event, "value", "?"))))
        self.tree.refused += aside.tree.refused

    def _key(self, event: Any, path: KeyPath) -> Key | None:
        """Return the key, or None when it is refused."""
        if not isinstance(event, yaml.ScalarEvent):
            aside = _Builder(self._events)
            aside.node(event, (*path, "?"))
            self.tree.refused += aside.tree.refused
            self._refuse(event, path, "a key that is not a word", "keys are names, or whole numbers")
            return None
        self._refuse_decoration(event, path)
        key = _scalar(event)
        if event.implicit[0] and event.value.casefold() in _BOOLEAN_OF_1_1:
            self._refuse(event, path, f"key {event.value!r}, which other readers take for true or false", "quote it")
            return None
        if isinstance(key, bool) or not isinstance(key, (str, int)):
            self._refuse(event, path, f"key {event.value!r} is neither text nor a whole number", "quote it")
            return None
        return key

    def _sequence(self, path: KeyPath) -> list[Any]:
        items: list[Any] = []
        while not isinstance(event := next(self._events), yaml.SequenceEndEvent):
            items.append(self.node(event, (*path, len(items))))
        return items

    def _refuse_decoration(self, event: Any, path: KeyPath) -> None:
        if event.anchor is not None:
            self._refuse(
                event, path, f"anchor '&{event.anchor}'", "delete it, and write the value out where it is used"
            )
        if event.tag is not None:
            self._refuse(event, path, f"tag {event.tag!r}", "delete it; text is quoted, quantities have units")

    def _refuse(self, event: Any, path: KeyPath, message: str, hint: str) -> None:
        self.tree.refused.append((_mark(event), path, message, hint))


def _mark(event: Any) -> Mark:
    return Mark(event.start_mark.line + 1, event.start_mark.column + 1)


def _scalar(event: Any) -> str | int | float | bool | None:
    text: str = event.value
    if not event.implicit[0]:
        return text  # quoted, or a block of text
    if text in _WORDS:
        return _WORDS[text]
    if _INTEGER.fullmatch(text):
        return int(text)
    if _FLOAT.fullmatch(text) and any(digit.isdigit() for digit in text) and text.lstrip("+-")[0] not in "eE":
        return number if math.isfinite(number := float(text)) else text
    return text
