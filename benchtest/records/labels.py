"""What people type onto a run: serial numbers that can name a folder, free text on one line."""

import unicodedata
from typing import Final

LONGEST_SERIAL: Final = 64


def clean_serial(text: str) -> str:
    """Return a serial number without the blanks around it.

    Raises ValueError that says what to try when it is empty, longer than 64 characters, or holds characters of paths,
    control characters or invisible ones.
    """
    serial = text.strip()
    if not serial or set(serial) == {"."}:
        raise ValueError(f"{text!r} is not a serial number (try what the label on the board says)")
    if len(serial) > LONGEST_SERIAL:
        raise ValueError(f"serial number of {len(serial)} characters (at most {LONGEST_SERIAL}; try the label only)")
    strange = next((c for c in serial if c in "/\\" or _unprintable(c)), None)
    if strange is not None:
        raise ValueError(f"serial number {serial!r} holds {strange!r} (try letters, digits, '-' and '.')")
    return serial


def clean_text(text: str, *, longest: int = 200) -> str:
    """Return free text of a person on one line: control characters become blanks, too long is cut with `…`."""
    line = " ".join("".join(" " if _unprintable(c) else c for c in text).split())
    return line if len(line) <= longest else line[: longest - 1] + "…"


def _unprintable(character: str) -> bool:
    """Control, formatting (such as direction marks), half a surrogate pair, or a line or paragraph separator."""
    return unicodedata.category(character) in {"Cc", "Cf", "Cs", "Zl", "Zp"}
