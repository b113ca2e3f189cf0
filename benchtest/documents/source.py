"""A document's bytes and text, before anything is read into them.

One look at the file, capped in size; what a YAML reader would stumble over or silently count as a line break is refused
here with its place. Source: YAML 1.1 section 4.1.1 for the printable characters, 4.1.4 for its extra line breaks.
"""

import re
from pathlib import Path

from benchtest.errors import DocumentError, Problem

LARGEST = 1 << 20
"""Bytes. A profile of a board with a dozen relays has some 15 kB."""

_NOT_PLAIN = re.compile("[^\n\r\x20-\x7e\xa0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")
_MOST_SAID = 20


def read_bytes(path: Path, *, largest: int = LARGEST) -> bytes:
    """Return the bytes of the file at `path`.

    Raises DocumentError when it is not there, not a plain file, not readable, empty or larger than `largest` bytes.
    """
    try:
        if path.is_dir():
            raise _whole(path, "is a directory, not a file", "name the file inside it")
        if not path.exists():
            raise _whole(path, "there is no such file", "check the name and the folder")
        if not path.is_file():
            raise _whole(path, "is not a plain file")
        with path.open("rb") as file:
            content = file.read(largest + 1)
    except (OSError, ValueError) as cause:
        reason = getattr(cause, "strerror", None) or str(cause)
        raise _whole(path, f"cannot be read: {reason.lower()}") from cause
    if len(content) > largest:
        raise _whole(path, f"is larger than {largest // 1024} KiB", "is this the right file?")
    if not content.strip():
        written = path.suffix.lower() in {".yaml", ".yml"}
        raise _whole(path, "is empty", "begin with a 'format:' line" if written else "is this the right file?")
    return content


def decode(path: Path, content: bytes) -> str:
    """Return `content` as text, without a byte order mark.

    Raises DocumentError at the first byte that is not UTF-8, or at every tab and control character (the first of each
    line).
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as cause:
        line, column = _place(content[: cause.start].decode("utf-8-sig", errors="replace"))
        message = f"byte 0x{content[cause.start]:02x} is not UTF-8 text"
        raise DocumentError([_problem(path, line, column, message, "save the file as UTF-8")]) from cause
    unwanted = {_place(text[: match.start()])[0]: match for match in reversed(_unwanted(text))}
    if unwanted:
        raise DocumentError([_unwanted_problem(path, text, match) for match in unwanted.values()])
    return text


def _unwanted(text: str) -> list[re.Match[str]]:
    return [match for _, match in zip(range(_MOST_SAID), _NOT_PLAIN.finditer(text), strict=False)]


def _unwanted_problem(path: Path, text: str, match: re.Match[str]) -> Problem:
    line, column = _place(text[: match.start()])
    if match[0] == "\t":
        return _problem(path, line, column, "a tab, whose width nobody knows", "use spaces")
    return _problem(path, line, column, f"control character U+{ord(match[0]):04X}", "delete it")


def _place(before: str) -> tuple[int, int]:
    """Return line and column, both from 1, of what follows `before`."""
    lines = re.split("\r\n|\r|\n", before)
    return len(lines), len(lines[-1]) + 1


def _problem(path: Path, line: int, column: int, message: str, hint: str) -> Problem:
    return Problem(file=path, line=line, column=column, where="", message=message, hint=hint)


def _whole(path: Path, message: str, hint: str = "") -> DocumentError:
    return DocumentError([_problem(path, 0, 0, message, hint)])
