"""YAML text → a tree that keeps what a reader of values drops: comments, blank lines, and how things were written.

PyYAML tells where each node stands but not where comments do. A comment begins at a `#` at the beginning of a line or
after white space, outside of every scalar; so with the nodes' places all comments are found. Each belongs to one entry
of a mapping or list: one at the end of a line to the entry on that line, one on lines of its own to the entry that
follows, or to the end of the block in which it stands further in than what follows.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Final

import yaml

_COMMENT: Final = re.compile(r"(?:(?<=\s)|^)#.*", re.MULTILINE)


@dataclass(kw_only=True, slots=True)
class Node:
    """A scalar, or a collection of entries."""

    start: int
    end: int
    text: str | None = None
    """Of a scalar; None for a collection."""
    quoted: bool = False
    is_list: bool = False
    flow: bool = False
    """In braces or brackets."""
    spread: bool = False
    """Over several lines."""
    entries: list["Entry"] = field(default_factory=list)
    after: list[str] = field(default_factory=list)
    """Comments and blank lines after the last entry."""

    @property
    def commented(self) -> bool:
        """Whether there is a comment anywhere inside."""
        return bool(self.after) or any(
            any(entry.before) or entry.beside or entry.value.commented for entry in self.entries
        )


@dataclass(kw_only=True, slots=True)
class Entry:
    """A key with its value, or an item of a list."""

    key: Node | None
    value: Node
    start: int
    column: int
    home: Node
    """The collection that it is in."""
    before: list[str] = field(default_factory=list)
    """Comments, and an empty text for blank lines, above it."""
    beside: str = ""
    """Comment at the end of its line."""


def read_commented(text: str) -> Node:
    """Return the tree of a document that `documents.tree` has read without complaint."""
    root = _node(yaml.compose(text, Loader=yaml.SafeLoader))
    entries = sorted(_entries(root), key=lambda entry: entry.start)
    lonely: list[tuple[int, str]] = []
    for place, comment in _comments(text, root):
        line = text.rfind("\n", 0, place) + 1
        if not text[line:place].strip() or not _beside(entries, place, comment):
            lonely.append((place, comment))
    for place, comment in _with_blanks(text, lonely, entries):
        _above(entries, place, comment, text, root)
    return root


def _node(found: Any) -> Node:
    place = {"start": found.start_mark.index, "end": found.end_mark.index}
    if isinstance(found, yaml.ScalarNode):
        return Node(**place, text=found.value, quoted=found.style is not None)
    is_list = isinstance(found, yaml.SequenceNode)
    spread = found.end_mark.line > found.start_mark.line
    node = Node(**place, is_list=is_list, flow=bool(found.flow_style), spread=spread)
    for item in found.value:
        first, value = (None, item) if is_list else item
        mark = (first or value).start_mark
        column = mark.column if not is_list or node.flow else found.start_mark.column
        key = _node(first) if first is not None else None
        start = mark.index - (0 if not is_list or node.flow else mark.column - column)
        node.entries.append(Entry(key=key, value=_node(value), start=start, column=column, home=node))
    return node


def _entries(node: Node) -> Iterator[Entry]:
    for entry in node.entries:
        yield entry
        yield from _entries(entry.value)


def _scalars(node: Node) -> Iterator[Node]:
    if node.text is not None:
        yield node
    for entry in node.entries:
        yield from _scalars(entry.key) if entry.key is not None else ()
        yield from _scalars(entry.value)


def _comments(text: str, root: Node) -> Iterator[tuple[int, str]]:
    spans = sorted((scalar.start, scalar.end) for scalar in _scalars(root))
    gaps = pairwise([0, *(edge for span in spans for edge in span), len(text)])
    for number, (begin, end) in enumerate(gaps):
        if number % 2 == 0:
            for match in _COMMENT.finditer(text, begin, end):
                yield match.start(), match[0].rstrip()


def _beside(entries: list[Entry], place: int, comment: str) -> bool:
    """Give a comment at the end of a line to the entry there; return whether there is one without a comment yet."""
    started = [entry for entry in entries if entry.start < place]
    inside = [entry for entry in started if entry.home.flow and entry.home.start < place < entry.home.end]
    block = [entry for entry in started if not entry.home.flow]
    if not (inside or block):
        return False
    found = (inside or block)[-1]
    if found.beside:
        return False
    if not inside and found.value.text is None and not found.value.flow and found.key is None:
        return False  # a bare dash
    found.beside = comment
    return True


def _with_blanks(text: str, lonely: list[tuple[int, str]], entries: list[Entry]) -> Iterator[tuple[int, str]]:
    """Yield comments that stand alone and one empty text for each stretch of blank lines, in their order."""
    scalars = [(entry.value.start, entry.value.end) for entry in entries if entry.value.text is not None]
    blanks = [
        (match.start() + 1, "")
        for match in re.finditer(r"\n[ \r]*(?=\n)", text)
        if not any(begin < match.start() < end - 1 for begin, end in scalars)
    ]
    yield from sorted([*lonely, *blanks])


def _above(entries: list[Entry], place: int, comment: str, text: str, root: Node) -> None:
    """Give a comment on a line of its own to the entry that follows, or to the end of the block that it stands in."""
    column = place - (text.rfind("\n", 0, place) + 1)
    following = next((entry for entry in entries if entry.start > place), None)
    if comment:
        home = _open_block(entries, place, column)
        if following is None or (home is not None and home.entries[0].column > following.column):
            _append((home or root).after, comment)
            return
    if following is not None:
        _append(following.before, comment)


def _open_block(entries: list[Entry], place: int, column: int) -> Node | None:
    """Return the innermost block that is open at a place and whose entries do not stand further in than a comment."""
    started = [entry for entry in entries if entry.start < place and not entry.home.flow]
    nearest: dict[int, Entry] = {}
    for entry in started:  # a later entry closes every block that stands further in
        nearest = {at: one for at, one in nearest.items() if at < entry.column} | {entry.column: entry}
    fitting = [one for at, one in nearest.items() if at <= column]
    return fitting[-1].home if fitting else None


def _append(lines: list[str], line: str) -> None:
    if line or not lines or lines[-1]:
        lines.append(line)
