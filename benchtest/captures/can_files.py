"""Files of CAN logs as python-can's readers see them.

The readers get our file, not its name: it counts lines, knows whether the last one had an end or a block was cut short,
hands out no line or block of absurd size, and is never written to. A database is read by ourselves for that reason.
"""

import gzip
import logging
import sqlite3
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from importlib import import_module
from io import TextIOWrapper
from pathlib import Path
from typing import Any, BinaryIO, Final, cast

from benchtest.documents import choices
from benchtest.errors import DocumentError, Problem

MOST_SIGNS: Final = 65_536
"""Longest line of a text log."""
MOST_BLOCK: Final = 1 << 24
"""Bytes of the largest block of a binary log; recorders use an eighth of a megabyte."""
_OBJECT_HEADER: Final = 16
"""Bytes before each object of a binary log; where they would begin, the log may end."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Form:
    """How one kind of log is read."""

    reader: str
    """Class in python-can."""
    text: bool = False
    first_channel: int = 0
    """What the file calls the channel that the reader calls 0."""


FORMS: Final = {
    ".asc": Form(reader="ASCReader", text=True, first_channel=1),
    ".blf": Form(reader="BLFReader", first_channel=1),
    ".csv": Form(reader="CSVReader", text=True),
    ".db": Form(reader="SqliteReader"),
    ".log": Form(reader="CanutilsLogReader", text=True),
    ".mf4": Form(reader="MF4Reader"),
    ".trc": Form(reader="TRCReader", text=True),
}
"""By suffix of the file."""


def problem(path: Path, message: str, hint: str = "", *, line: int = 0) -> DocumentError:
    """Return the error that a log has one problem."""
    return DocumentError([Problem(file=path, line=line, column=1 if line else 0, where="", message=message, hint=hint)])


def reason(cause: Exception) -> str:
    """Return what went wrong, on one line, in at most 120 signs that can be printed."""
    text = " ".join(str(cause).split()) or type(cause).__name__
    return "".join(sign if sign.isprintable() else "?" for sign in text[:120])


class Lines:
    """A text file, line by line."""

    def __init__(self, file: TextIOWrapper, mended: Callable[[str], str]) -> None:
        self._file = file
        self._mended = mended
        self.number = 0
        """Of the line read last, from 1."""
        self.ended = True
        """The line read last had an end."""

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        line = self._file.readline(MOST_SIGNS)
        if not line:
            raise StopIteration
        self.number += 1
        self.ended = line.endswith("\n")
        if not self.ended and len(line) == MOST_SIGNS:
            raise ValueError(f"a line of {MOST_SIGNS} signs or more")
        return self._mended(line)

    def is_over(self) -> bool:
        """Return whether nothing but white space follows, or nothing that can be unpacked."""
        try:
            return not any(line.strip("\0 \t\r\n") for line in iter(lambda: self._file.readline(MOST_SIGNS), ""))
        except (OSError, EOFError, zlib.error):
            return True

    def close(self) -> None:
        self._file.close()


class Blocks:
    """A binary file, block by block."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self.cut = False
        """A block was shorter than its reader asked for."""

    def read(self, size: int) -> bytes:
        if not 0 <= size <= MOST_BLOCK:
            raise ValueError(f"a block of {size} bytes (expected 0 to {MOST_BLOCK})")
        block = self._file.read(size)
        may_end_here = not block and size <= _OBJECT_HEADER
        self.cut |= len(block) < size and not may_end_here
        return block

    def close(self) -> None:
        self._file.close()


@dataclass(frozen=True, kw_only=True, slots=True)
class Source:
    """A log on its way in."""

    messages: Iterator[Any]
    """python-can's messages. The next one may raise whatever the bytes make the reader raise."""
    file: Lines | Blocks | None
    """What the reader reads; None when it does so by itself."""
    first_channel: int


@contextmanager
def opened(path: Path) -> Iterator[Source]:
    """Open a log; it is closed with the block.

    Raises DocumentError for a suffix that nobody knows, and for a file that is not there or does not begin like a log.
    """
    suffix, packed = _form(path)
    form = FORMS[suffix]
    _check_file(path)
    with ExitStack() as stack:
        try:
            file = None if suffix == ".db" else _file(path, form, packed=packed, stack=stack, suffix=suffix)
            messages = _messages(path, form, file, stack)
        except NotImplementedError as cause:
            raise problem(path, "asammdf is needed to read an MDF log", "try: pip install asammdf") from cause
        except Exception as cause:
            raise problem(path, f"not a readable {suffix} log: {reason(cause)}") from cause
        yield Source(messages=messages, file=file, first_channel=form.first_channel)


def _check_file(path: Path) -> None:
    if not path.is_file():
        raise problem(path, "this is not a file" if path.exists() else "there is no such file")
    if not path.stat().st_size:
        raise problem(path, "the file is empty")


def _form(path: Path) -> tuple[str, bool]:
    """Return the suffix that tells the form, and whether the file is packed."""
    suffixes = [suffix.lower() for suffix in path.suffixes]
    packed = suffixes[-1:] == [".gz"]
    suffix = "".join(suffixes[:-1][-1:] if packed else suffixes[-1:])
    if suffix not in FORMS:
        found = f"{suffix!r} is not a suffix of a CAN log" if suffix else "no suffix tells the form of this CAN log"
        raise problem(path, found, f"known are {choices(FORMS)}, and each with .gz behind it")
    if packed and not FORMS[suffix].text and suffix != ".blf":
        raise problem(path, f"a packed {suffix} log cannot be read", "unpack it with gunzip")
    return suffix, packed


def _file(path: Path, form: Form, *, packed: bool, stack: ExitStack, suffix: str) -> Lines | Blocks:
    plain = cast("BinaryIO", stack.enter_context(gzip.GzipFile(path) if packed else path.open("rb")))
    if not form.text:
        return Blocks(plain)
    text = stack.enter_context(TextIOWrapper(plain, encoding="utf-8-sig", errors="replace"))
    return Lines(text, _mended if suffix == ".log" else str)


def _messages(path: Path, form: Form, file: Lines | Blocks | None, stack: ExitStack) -> Iterator[Any]:
    library = import_module("can")  # here, because it takes longer than all other imports together
    if file is None:
        return _from_database(library, path, stack)
    reader = getattr(library, form.reader)(path if form.reader == "MF4Reader" else file)
    if form.reader == "MF4Reader":
        stack.callback(reader.stop)
    return iter(reader)


def _from_database(library: Any, path: Path, stack: ExitStack) -> Iterator[Any]:
    """Return the messages of an SQLite log: what python-can's SqliteReader gives, without a right to write."""
    connection = stack.enter_context(closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)))
    if connection.execute("SELECT type FROM sqlite_master WHERE name = 'messages'").fetchone() != ("table",):
        raise ValueError("it has no table named messages")
    rows = connection.execute("SELECT ts, arbitration_id, extended, remote, error, dlc, data FROM messages")
    return (
        library.Message(
            timestamp=float(time),
            arbitration_id=int(identifier),
            is_extended_id=bool(extended),
            is_remote_frame=bool(remote),
            is_error_frame=bool(error),
            dlc=int(length),
            data=bytes(data or b""),
        )
        for time, identifier, extended, remote, error, length, data in rows
    )


def _mended(line: str) -> str:
    """Return a line of candump with the error bit that python-can looks for, when it is an error frame.

    The kernel marks every error frame by bit 29 of the identifier; python-can 4.6 knows only those with bit 7 (bus
    error), and takes the others for data frames.
    """
    end = line.find("#")
    digits = line[end - 8 : end] if end >= 8 else ""
    if digits[:1] in {"2", "3"} and digits.isalnum():
        return f"{line[: end - 8]}{int(digits, 16) | 0x80:08X}{line[end:]}"
    return line


class Complaints(logging.Handler):
    """Counts what the readers log while they skip it; keeps the first."""

    def __init__(self) -> None:
        super().__init__()
        self.count = 0
        self.first = ""

    def emit(self, record: logging.LogRecord) -> None:
        if record.funcName == "_extract_header":  # tells of the file, skips nothing
            return
        self.count += 1
        self.first = self.first or reason(ValueError(record.getMessage()))


_LOGGERS: Final = {"can.io": logging.INFO, "asammdf": logging.WARNING}
"""Where the readers complain, and from which level on something was skipped."""


@contextmanager
def complaints() -> Iterator[Complaints]:
    """Yield what the readers complain of inside the block, and keep it from the terminal."""
    import_module("can")  # before, since what it imports may set up a logger of its own
    handler = Complaints()
    with ExitStack() as stack:
        for name, level in _LOGGERS.items():
            logger = logging.getLogger(name)
            stack.callback(_set_up, logger, logger.handlers, level=logger.level, propagate=logger.propagate)
            _set_up(logger, [handler], level=level, propagate=False)
        yield handler


def _set_up(logger: logging.Logger, handlers: list[logging.Handler], *, level: int, propagate: bool) -> None:
    logger.handlers, logger.propagate = handlers, propagate
    logger.setLevel(level)
