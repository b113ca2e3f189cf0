"""The signal database (DBC) beside a profile: which messages and signals the link has.

Only names are looked at here; encoding is the link adapter's business. The file must lie in the profile's own folder.
cantools is imported only when a profile has a link. It makes a list entry for each bit and each multiplexer value, so
sizes that no frame can have are refused before it sees them: its answer to them is to take memory and time without end.

Source: ISO 11898-1 for the longest data field of a frame, 64 bytes (from memory).
"""

import re
from collections.abc import Collection
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from benchtest.documents import Review, beside, choices, nearest_or_list, read_bytes
from benchtest.errors import DocumentError, Problem
from benchtest.profile.link import CanLink, Link, Vocabulary

LONGEST_FRAME = 64
"""Bytes."""
LARGEST_MULTIPLEXER = 65535

_MESSAGE_LENGTH = re.compile(r"BO_\s+[0-9]+\s+\w+\s*:\s*([0-9]+)")
_SIGNAL_BITS = re.compile(r"([0-9]+)\s*\|\s*([0-9]+)\s*@")
_MULTIPLEXED = re.compile(r"SG_MUL_VAL_[^;]*")
_RANGE_END = re.compile(r"-\s*([0-9]+)")


@dataclass(frozen=True, kw_only=True, slots=True)
class SignalDatabase:
    """Text of a database, and the names in it."""

    text: str
    content: bytes
    """The file's bytes, for the digest."""
    signals: Vocabulary


def read_database(link: CanLink, review: Review) -> SignalDatabase | None:
    """Return the database of `link`, or None after the reason was reported."""
    path = beside(review.path, link.database)
    keys = ("link", "database")
    if path is None:
        review.say(keys, f"{link.database!r} is not a file name", "the DBC file lies beside the profile, name it alone")
        return None
    try:
        content = read_bytes(path)
    except DocumentError as error:
        folder = sorted(found.name for found in path.parent.glob("*.dbc"))
        hint = f"DBC files beside the profile: {choices(folder)}"
        review.say(keys, f"{link.database!r} {error.problems[0].message}", hint)
        return None
    return _parsed(content, link.database, review)


def _parsed(content: bytes, name: str, review: Review) -> SignalDatabase | None:
    text = _decoded(content)
    try:
        database = parse(text)
    except ValueError as cause:
        review.say(("link", "database"), f"{name!r} {cause}", "try saving it anew with a DBC editor")
        return None
    signals = {message.name: tuple(signal.name for signal in message.signals) for message in database.messages}
    return SignalDatabase(text=text, content=content, signals=signals)


def load_database(path: Path) -> Any:
    """Return the signal database in a DBC file as cantools has it.

    Raises DocumentError for a file that cannot be read or is none.
    """
    try:
        return parse(_decoded(read_bytes(path)))
    except ValueError as cause:
        raise DocumentError([Problem(file=path, line=0, column=0, where="", message=str(cause), hint="")]) from cause


def parse(text: str) -> Any:
    """Return a signal database from its text, as cantools has it. Raises ValueError that says what is wrong."""
    if (impossible := _impossible_size(text)) is not None:
        raise ValueError(f"is not a readable DBC file: {impossible}")
    cantools = import_module("cantools")  # here, because it takes longer than all other imports together
    try:
        return cantools.database.load_string(text, database_format="dbc")
    except (cantools.Error, ValueError, LookupError, ArithmeticError, TypeError, AttributeError) as cause:
        reason = str(cause).splitlines()[0] if str(cause) else type(cause).__name__
        raise ValueError(f"is not a readable DBC file: {reason[:120]}") from cause


def _impossible_size(text: str) -> str | None:
    """Return what is larger in a database than any frame can be, or None."""
    for length in _MESSAGE_LENGTH.findall(text):
        if _exceeds(length, LONGEST_FRAME):
            return f"a message of {length[:20]} bytes, a frame has at most {LONGEST_FRAME}"
    for start, length in _SIGNAL_BITS.findall(text):
        if _exceeds(start, 8 * LONGEST_FRAME) or _exceeds(length, 8 * LONGEST_FRAME):
            return f"a signal of {length[:20]} bits from bit {start[:20]}, a frame has at most {8 * LONGEST_FRAME}"
    for statement in _MULTIPLEXED.findall(text):
        for end in _RANGE_END.findall(statement):
            if _exceeds(end, LARGEST_MULTIPLEXER):
                return f"a multiplexer value of {end[:20]}, at most {LARGEST_MULTIPLEXER} are read"
    return None


def _exceeds(digits: str, most: int) -> bool:
    """Compare without making an integer of a thousand digits."""
    significant = digits.lstrip("0")
    return len(significant) > len(str(most)) or int(significant or "0") > most


def _decoded(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")  # what the format's own tools write


def check_messages(link: Link, known: Collection[str], where: str, review: Review) -> None:
    """Report every message named by `link` that is not among those `known` from `where`."""
    named = {
        ("link", "controller", "message"): link.controller.message,
        ("link", "board", "message"): link.board.message,
        ("link", "command"): link.command,
        ("link", "status"): link.status,
    }
    for keys, message in named.items():
        if message not in known:
            hint = nearest_or_list(message, known, what=f"messages of {where}")
            review.say(keys, f"there is no message {message!r}", hint)
