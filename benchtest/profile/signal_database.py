"""The signal database (DBC) beside a profile: which messages and signals the link has.

Only names are looked at here; encoding is the link adapter's business. The file must lie in the profile's own folder.
cantools is imported only when a profile has a link.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from importlib import import_module

from benchtest.documents import Review, beside, choices, nearest_or_list, read_bytes
from benchtest.errors import DocumentError
from benchtest.profile.board import CanLink


@dataclass(frozen=True, kw_only=True, slots=True)
class SignalDatabase:
    """Text of a database, and the names in it."""

    text: str
    content: bytes
    """The file's bytes, for the digest."""
    signals: Mapping[str, tuple[str, ...]]
    """Message → its signals."""


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
    cantools = import_module("cantools")  # here, because it takes longer than all other imports together
    text = _decoded(content)
    try:
        database = cantools.database.load_string(text, database_format="dbc")
    except (cantools.Error, ValueError, LookupError, ArithmeticError, TypeError, AttributeError) as cause:
        reason = str(cause).splitlines()[0] if str(cause) else type(cause).__name__
        review.say(("link", "database"), f"{name!r} is not a readable DBC file: {reason[:120]}")
        return None
    signals = {message.name: tuple(signal.name for signal in message.signals) for message in database.messages}
    return SignalDatabase(text=text, content=content, signals=signals)


def _decoded(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")  # what the format's own tools write


def check_messages(link: CanLink, database: SignalDatabase, review: Review) -> None:
    """Report every message named by `link` that the database lacks."""
    named = {
        ("link", "controller", "message"): link.controller.message,
        ("link", "board", "message"): link.board.message,
        ("link", "command"): link.command,
        ("link", "status"): link.status,
    }
    for keys, message in named.items():
        if message not in database.signals:
            hint = nearest_or_list(message, database.signals, what=f"messages of {link.database}")
            review.say(keys, f"there is no message {message!r}", hint)
