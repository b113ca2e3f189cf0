"""JSON that can be read in one way only: what other readers would take differently is refused, with its place.

Refused are keys that stand twice, numbers that are none, bytes that are not UTF-8, depth, and size. Whether the bytes
are also spelled as RFC 8785 spells them is asked last (`first_difference`), so that a changed value is named as such.
"""

import json
from collections import Counter
from typing import Any, Final

from benchtest.canonical import to_canonical

LARGEST: Final = 32 << 20
"""Bytes; a paper of the shipped boards has some 200 kB."""


class Unsound(ValueError):
    """What was found, and where."""


def read_strictly(content: bytes) -> dict[str, Any]:
    """Return the object that `content` spells. Raises Unsound."""
    if len(content) > LARGEST:
        raise Unsound(f"it has more than {LARGEST >> 20} MiB")
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as cause:
        raise Unsound(f"byte {cause.start + 1} (0x{content[cause.start]:02x}) is not UTF-8 text") from cause
    try:
        found = json.loads(text, object_pairs_hook=_once_each, parse_constant=_no_number)
    except json.JSONDecodeError as cause:
        place = len(text[: cause.pos].encode())
        raise Unsound(f"byte {place + 1} of {len(content)}: {_words(cause.msg)}") from cause
    except RecursionError as cause:
        raise Unsound("it is nested too deeply") from cause
    except ValueError as cause:  # ours, or an integer of thousands of digits
        raise Unsound(str(cause)) from cause
    if not isinstance(found, dict):
        raise Unsound("it is not a JSON object")
    return found


def first_difference(content: bytes, found: dict[str, Any]) -> int | None:
    """Return the place, from 1, of the first byte that RFC 8785 spells in another way; None when there is none.

    Raises Unsound when something in it has no such spelling.
    """
    try:
        wanted = to_canonical(found)
    except ValueError as cause:
        raise Unsound(f"it has no canonical spelling: {cause}") from cause
    if wanted == content:
        return None
    pairs = zip(wanted, content, strict=False)
    return next((place for place, (a, b) in enumerate(pairs, 1) if a != b), min(len(wanted), len(content)) + 1)


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        twice = next(key for key, count in Counter(key for key, _ in pairs).items() if count > 1)
        raise Unsound(f"key {twice!r} stands there twice")
    return found


def _no_number(word: str) -> Any:
    raise Unsound(f"{word} is not a number")


def _words(message: str) -> str:
    return message[:1].lower() + message[1:]
