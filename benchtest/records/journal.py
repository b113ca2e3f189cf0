"""The journal of a run: one canonical JSON object per line, each carrying the digest of the line before it.

A line is on disk before `append` returns. Whoever changes, drops or reorders a line breaks the chain at the next one;
whoever cuts the end off is found by the head that `run.json` and the certificate carry. A line that a full disk did not
take whole is taken back. A last line without its line end is what a power cut leaves: nobody was told that it is on
disk, so it is not believed; it is reported, and cut off only where its run goes on.
"""

import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from io import FileIO
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from benchtest.canonical import digest, from_canonical, to_canonical, wrong

BEGINNING: Final = "0" * 64
"""What the first line carries as the digest of the line before it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class JournalEntry:
    """One line of a journal."""

    number: int
    """From 1."""
    at: float
    """Seconds of the rig's clock."""
    kind: str
    facts: Mapping[str, Any]


@dataclass(frozen=True, kw_only=True, slots=True)
class JournalRead:
    """A journal whose chain holds."""

    entries: tuple[JournalEntry, ...]
    head: str
    """Digest of the last whole line."""
    torn: bool
    """The last line was cut off and is left out of the entries."""


class Journal:
    """Writes a journal; use it in a `with`, or close it."""

    def __init__(self, file: FileIO, *, head: str, lines: int) -> None:
        self._file = file
        self._head = head
        self._lines = lines
        self._size = os.fstat(file.fileno()).st_size

    @classmethod
    def open(cls, path: Path) -> Self:
        """Begin a journal, or go on with one whose chain holds. Raises DocumentError on a broken or torn one."""
        head, lines = BEGINNING, 0
        if path.exists():
            found = read_journal(path)
            if found.torn:
                raise wrong(
                    path,
                    "the last line is torn: that run was cut off",
                    hint="take that run up again, or begin a new one",
                )
            head, lines = found.head, len(found.entries)
        return cls(path.open("ab", buffering=0), head=head, lines=lines)

    @property
    def head(self) -> str:
        """Digest of the last line; 64 zeros while there is none."""
        return self._head

    def append(self, kind: str, *, at: float, **facts: object) -> str:
        """Put one line on disk and return the new head. `at` is seconds of the rig's clock.

        Raises OSError when the disk does not take it; the journal is then as it was.
        """
        entry = {"number": self._lines + 1, "at": at, "kind": kind, "facts": facts, "previous": self._head}
        line = to_canonical(entry)
        try:
            self._put(line + b"\n")
        except OSError:
            with suppress(OSError):  # where even that fails, the torn line is cut off when the run goes on
                self._file.truncate(self._size)
            raise
        self._size += len(line) + 1
        self._head = digest(line)
        self._lines += 1
        return self._head

    def _put(self, content: bytes) -> None:
        while content:
            content = content[self._file.write(content) :]  # a disk that is nearly full takes a part
        os.fsync(self._file.fileno())

    def close(self) -> None:
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def cut_torn_line(path: Path) -> int:
    """Cut off a last line that has no line end, and nothing before it; return how many bytes that was.

    Raises DocumentError when the chain before it does not hold; nothing is cut then.
    """
    if not read_journal(path).torn:
        return 0
    content = path.read_bytes()
    whole = content.rfind(b"\n") + 1
    with path.open("rb+") as file:
        file.truncate(whole)
        os.fsync(file.fileno())
    return len(content) - whole


def read_journal(path: Path) -> JournalRead:
    """Return a journal after checking its chain; raises DocumentError with the line where it does not hold."""
    try:
        *lines, rest = path.read_bytes().split(b"\n")
    except OSError as cause:
        raise wrong(path, f"cannot be read: {cause.strerror}", hint="is this a run folder?") from cause
    head = BEGINNING
    entries: list[JournalEntry] = []
    for number, line in enumerate(lines, 1):
        entries.append(_entry(path, line, number=number, head=head))
        head = digest(line)
    return JournalRead(entries=tuple(entries), head=head, torn=bool(rest))


def _entry(path: Path, line: bytes, *, number: int, head: str) -> JournalEntry:
    hint = "this journal is no evidence any more; look for an untouched copy"
    try:
        found = from_canonical(line)
        entry = JournalEntry(number=found["number"], at=found["at"], kind=found["kind"], facts=found["facts"])
        previous = found["previous"]
    except (ValueError, KeyError, TypeError) as cause:
        raise wrong(path, "is not a journal line", line=number, hint=hint) from cause
    if previous != head or entry.number != number:
        raise wrong(path, "the chain is broken: a line before this one was changed", line=number, hint=hint)
    return entry
