"""The folder of a case: `runs/depot/<work order>-<digest>/` with `entries.jsonl`, and what is personal beside it.

The file is a chain, as a run's journal is, and the truth; the database is an index over it. Several benches that share
a database each keep the whole file of the cases they have touched: `compared` says what one side has that the other
lacks. A line without its end was never acknowledged to anybody: it is put aside before the next one is written.
"""

import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from benchtest.canonical import digest, read_whole, write_whole, wrong
from benchtest.depot.case import Case, replayed
from benchtest.depot.entries import BEGINNING, Entry, read_entry
from benchtest.records.folder import DEPOT

FILE: Final = "entries.jsonl"
LONGEST: Final = 64
_PLAIN = re.compile(r"[^A-Za-z0-9.-]+")


@dataclass(frozen=True, kw_only=True, slots=True)
class Compared:
    """The lines of a case here and in the database, side by side."""

    lines: tuple[bytes, ...]
    """What holds: what both have, and what one has beyond that."""
    up: tuple[bytes, ...]
    """What the database lacks."""
    down: tuple[bytes, ...]
    """What the file lacks."""
    overtaken: tuple[bytes, ...]
    """Lines of the file that were never acknowledged, and instead of which others came elsewhere."""


def folder_of(root: Path, work_order: str) -> Path:
    """Return where a case lies below the folder of all runs; work orders that read alike lie apart."""
    plain = _PLAIN.sub("_", work_order)[:LONGEST].strip(".") or "_"
    return root / DEPOT / f"{plain}-{digest(work_order.encode())[:8]}"


def case_folders(root: Path) -> Iterator[Path]:
    """Yield the folders of all cases below the folder of all runs, in no meaningful order."""
    return (path.parent for path in sorted((root / DEPOT).glob(f"*/{FILE}")))


def intakes_cut_off(root: Path) -> Iterator[Path]:
    """Yield folders in which something lies, but no entry: somebody was killed in the middle of an intake."""
    home = root / DEPOT
    folders = sorted(path for path in home.iterdir() if path.is_dir()) if home.is_dir() else []
    return (folder for folder in folders if not (folder / FILE).exists())


def read_lines(folder: Path) -> tuple[tuple[bytes, ...], bytes]:
    """Return the whole lines of a case, and what stands after the last line end; nothing where there is no case.

    Raises DocumentError with the line at which the chain does not hold.
    """
    path = folder / FILE
    if not path.exists():
        return (), b""
    *lines, rest = read_whole(path).split(b"\n")
    previous = BEGINNING
    for number, line in enumerate(lines, 1):
        _check(path, line, number=number, previous=previous)
        previous = digest(line)
    return tuple(lines), rest


def _check(path: Path, line: bytes, *, number: int, previous: str) -> Entry:
    hint = "this file is no evidence any more; look for an untouched copy"
    try:
        entry = read_entry(line)
    except ValueError as cause:
        raise wrong(path, f"is no line of a case: {cause}", line=number, hint=hint) from cause
    if entry.previous != previous or entry.number != number:
        raise wrong(path, "the chain is broken: a line before this one was changed", line=number, hint=hint)
    return entry


def read_case(folder: Path) -> Case:
    """Return the case of a folder. Raises DocumentError when its lines are not one."""
    lines, _ = read_lines(folder)
    try:
        return replayed(read_entry(line) for line in lines)
    except ValueError as cause:
        raise wrong(folder / FILE, str(cause)) from cause


def compared(own: Sequence[bytes], known: Sequence[bytes]) -> Compared:
    """Return what the file and the database have beyond each other; where they part, the database holds."""
    same = 0
    while same < min(len(own), len(known)) and own[same] == known[same]:
        same += 1
    here, there = tuple(own[same:]), tuple(known[same:])
    if here and there:
        return Compared(lines=tuple(known), up=(), down=there, overtaken=here)
    return Compared(lines=(*own[:same], *here, *there), up=here, down=there, overtaken=())


def keep_lines(folder: Path, found: Compared) -> None:
    """Make the file whole by what the database has; lines that were overtaken are put aside, and stay."""
    if found.overtaken:
        _put_aside(folder, b"\n".join(found.overtaken))
    if found.overtaken or found.down:
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(folder / FILE, b"".join(line + b"\n" for line in found.lines))


def append(folder: Path, line: bytes) -> None:
    """Put one more line on disk; it is there when this returns."""
    folder.mkdir(parents=True, exist_ok=True)
    _, rest = read_lines(folder)
    with (folder / FILE).open("ab") as file:
        if rest:
            _put_aside(folder, rest)
            file.truncate(file.tell() - len(rest))
        file.write(line + b"\n")
        file.flush()
        os.fsync(file.fileno())
    _flush_folder(folder)


def _put_aside(folder: Path, content: bytes) -> None:
    write_whole(folder / f"put-aside-{digest(content)[:8]}.txt", content + b"\n")


def _flush_folder(folder: Path) -> None:
    """Let the names in a folder outlive a power cut, where the system can."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
