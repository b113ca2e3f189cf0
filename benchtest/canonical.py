"""Canonical JSON, and files that are either whole or not there.

RFC 8785 gives every value exactly one spelling, so that a digest means something. It has no spelling for infinities
and NaN, which are honest readings (an open contact is infinite ohms); here they are objects of one key that no name
in this project can take: `{"$number": "inf"}`, `"-inf"` or `"nan"`.
"""

import hashlib
import json
import math
import os
from pathlib import Path
from typing import Any, Final

import rfc8785

from benchtest.errors import DocumentError, Problem

_NUMBER: Final = "$number"
_WORDS: Final = frozenset({"inf", "-inf", "nan"})


def to_canonical(value: object) -> bytes:
    """Return `value`, made of JSON types and floats of any kind, as canonical JSON without a line end."""
    return rfc8785.dumps(_spelled(value))


def from_canonical(text: bytes | str) -> Any:
    """Return what `to_canonical` was given; raises ValueError when `text` is not JSON."""
    return _DECODER.decode(text if isinstance(text, str) else str(text, "utf-8"))


def _spelled(value: Any) -> Any:
    match value:
        case float() if not math.isfinite(value):
            return {_NUMBER: str(float(value))}
        case dict():
            return {str(key): _spelled(inner) for key, inner in value.items()}
        case list() | tuple():
            return [_spelled(inner) for inner in value]
        case _:
            return value


def _number(found: dict[str, Any]) -> Any:
    if len(found) == 1 and found.get(_NUMBER) in _WORDS:
        return float(found[_NUMBER])
    return found


_DECODER: Final = json.JSONDecoder(object_hook=_number)  # a journal has a line for it every few milliseconds


def digest(content: bytes) -> str:
    """Return the SHA-256 of `content`, hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def write_whole(path: Path, content: bytes) -> str:
    """Write a file so that after a power cut it is old or new, never half; return its digest."""
    draft = path.with_name(path.name + ".part")
    with draft.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    draft.replace(path)
    return digest(content)


def wrong(path: Path, message: str, *, line: int = 0, hint: str = "") -> DocumentError:
    """Return the error for a record that cannot be used."""
    return DocumentError([Problem(file=path, line=line, column=1, where="", message=message, hint=hint)])


def read_whole(path: Path) -> bytes:
    """Return the content of a record file. Raises DocumentError when it cannot be read."""
    try:
        return path.read_bytes()
    except OSError as cause:
        raise wrong(path, f"cannot be read: {cause.strerror}", hint="is this a run folder?") from cause
