"""JSON that can be read in one way only: what other readers would take differently is refused, with its place.

Refused are keys that stand twice or are not ASCII, numbers with a fraction or beyond 53 bits (a paper says them as
text), bytes that are not UTF-8, depth, and size. For what is left, RFC 8785 asks for no more than sorted keys, no
blanks and the shortest escapes, which `spelled` gives; papers are made by another implementation, and tests compare the
two. Whether all bytes are spelled so is asked last (`first_difference`), so that a changed value is named as such.
"""

import json
from collections import Counter
from typing import Any, Final

LARGEST: Final = 32 << 20
"""Bytes; a paper of the shipped boards has some 200 kB."""
_SPELLER: Final = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"))
_LARGEST_NUMBER: Final = 2**53 - 1
_LONGEST_NUMBER: Final = 17


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
        found = json.loads(
            text, object_pairs_hook=_once_each, parse_constant=_no_number, parse_float=_no_number, parse_int=_whole
        )
    except json.JSONDecodeError as cause:
        place = len(text[: cause.pos].encode())
        where = f"byte {place + 1} of {len(content)}" if place < len(content) else f"after byte {place}, the last"
        raise Unsound(f"{where}: {_words(cause.msg)}") from cause
    except RecursionError as cause:
        raise Unsound("it is nested too deeply") from cause
    except ValueError as cause:  # ours, or an integer of thousands of digits
        raise Unsound(str(cause)) from cause
    if not isinstance(found, dict):
        raise Unsound("it is not a JSON object")
    return found


def spelled(value: Any) -> bytes:
    """Return what was read strictly as canonical JSON. Raises ValueError for half a surrogate pair."""
    return _SPELLER.encode(value).encode()


def first_difference(content: bytes, found: dict[str, Any]) -> int | None:
    """Return the place, from 1, of the first byte that RFC 8785 spells in another way; None when there is none."""
    wanted = spelled(found)
    if wanted == content:
        return None
    pairs = zip(wanted, content, strict=False)
    return next((place for place, (a, b) in enumerate(pairs, 1) if a != b), min(len(wanted), len(content)) + 1)


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        twice = next(key for key, count in Counter(key for key, _ in pairs).items() if count > 1)
        raise Unsound(f"key {twice!r} stands there twice")
    if strange := next((key for key in found if not key.isascii()), None):
        raise Unsound(f"key {strange!r} is not ASCII")
    return found


def _no_number(word: str) -> Any:
    raise Unsound(f"the number {word[:40]} (a sealed paper says numbers with a fraction as text)")


def _whole(word: str) -> int:
    if len(word) > _LONGEST_NUMBER or abs(found := int(word)) > _LARGEST_NUMBER:
        raise Unsound(f"the number {word[:40]} is beyond 53 bits")
    return found


def _words(message: str) -> str:
    return message[:1].lower() + message[1:]
