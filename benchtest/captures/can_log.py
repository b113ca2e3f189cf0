"""Logs of CAN buses, as other programs wrote them, through python-can's readers.

A reader makes one object per frame; it is put into columns at once and forgotten, so a log takes some twenty-five bytes
of memory a frame, and reading ends with a note before it takes more than it may. What no frame can be is left out and
counted. A line that the reader does not understand is an error with its number, unless nothing follows: then the log
was cut off, and what stands before is good. A binary log has no lines; what stands before the damage is good there too.
"""

import math
from array import array
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from benchtest.captures.can_files import Blocks, Lines, Source, complaints, opened, problem, reason
from benchtest.signals.frames import LARGEST, LONGEST, Frames, Kind

MOST_HELD: Final = 800_000_000
"""Bytes of memory that the frames of a log may take."""
MOST_CHANNELS: Final = 256
_LOOK_EVERY: Final = 1 << 14
"""Frames between two looks at the memory."""
_LENGTH_CODES: Final = {9: 12, 10: 16, 11: 20, 12: 24, 13: 32, 14: 48, 15: 64}
"""Data bytes by length code of flexible data rate (ISO 11898-1, from memory)."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CanLog:
    """A log as it was read."""

    frames: Frames
    """Their times count from the first frame."""
    begin: float
    """Seconds: the first frame's stamp as it is in the log, of the epoch or of the recorder's own beginning."""
    notes: tuple[str, ...]
    """What was not read, and why; one sentence each."""


def read_can_log(path: Path, *, most_held: int = MOST_HELD) -> CanLog:
    """Return the frames of a log in any form that python-can reads, told by its suffix; text and BLF also as `.gz`.

    `most_held` is how many bytes of memory the frames may take; the rest of a larger log is left, with a note.

    Raises DocumentError for a file that cannot be opened, has a suffix that nobody knows, has a line that nobody
    understands, or has no frame in it.
    """
    columns = _Columns()
    with complaints() as skipped, opened(path) as source:
        notes = _fill(columns, source, path, most_held)
    notes.extend(columns.notes())
    if skipped.count:
        notes.append(f"entries of a kind that is not read: {skipped.count} (first: {skipped.first})")
    if not columns.time:
        raise problem(path, "no CAN frame is in this file", "; ".join(notes))
    return CanLog(frames=columns.frames(first_channel=source.first_channel), begin=columns.begin, notes=tuple(notes))


def _fill(columns: "_Columns", source: Source, path: Path, most_held: int) -> list[str]:
    """Take the frames in; return what is to be said of the file."""
    while True:
        try:
            message = next(source.messages, None)
        except Exception as cause:
            return [_broken_off(columns, source, path, cause)]
        if message is None:
            return _ending(columns, source)
        columns.take(message, source)
        if len(columns.time) % _LOOK_EVERY == 0 and columns.held > most_held:
            return [f"read up to {_reached(columns)}; the rest of the file is more than fits (split it to see it)"]


def _broken_off(columns: "_Columns", source: Source, path: Path, cause: Exception) -> str:
    """Return that the log was cut off here; raise DocumentError when it goes on behind what is wrong."""
    if isinstance(source.file, Lines):
        line = source.file.number
        if not source.file.is_over():
            raise problem(path, f"not a line of this kind of log: {reason(cause)}", line=line) from cause
        return f"the log is cut off in line {line}; read up to {_reached(columns)}"
    return f"the log is damaged or cut off: {reason(cause)}; read up to {_reached(columns)}"


def _ending(columns: "_Columns", source: Source) -> list[str]:
    """Return what is to be said of a log that the reader read to its end."""
    match source.file:
        case Lines(ended=False, number=line) if columns.line == line:
            columns.drop()
            return [f"the last line, {line}, has no end; its frame was left out, since it may be cut off"]
        case Blocks(cut=True):
            return [f"the log is cut off; read up to {_reached(columns)}"]
        case _:
            return []


def _reached(columns: "_Columns") -> str:
    frames = len(columns.time)
    return f"frame {frames}, {columns.time[-1]:.6f} s after the first" if frames else "no frame at all"


class _Columns:
    """Frames on their way into arrays."""

    def __init__(self) -> None:
        self.begin = 0.0
        self.line = 0
        """In which line the last frame was."""
        self.time = array("d")
        self._identifier = array("I")
        self._kind, self._channel, self._length, self._size = (bytearray() for _ in range(4))
        self._data = bytearray()
        self._channels: dict[int | str | None, int] = {}
        self._unfit: Counter[str] = Counter()
        self._first_unfit: dict[str, str] = {}

    @property
    def held(self) -> int:
        """Bytes of memory that the frames take."""
        return len(self.time) * (self.time.itemsize + self._identifier.itemsize + 4) + len(self._data)

    def take(self, message: Any, source: Source) -> None:
        """Take one of python-can's messages in, or count why it can be no frame."""
        line = source.file.number if isinstance(source.file, Lines) else 0
        channel = self._channels.setdefault(message.channel, len(self._channels))
        wrong = _unfit(message) if channel < MOST_CHANNELS else f"on more than {MOST_CHANNELS} channels"
        if wrong is not None:
            self._unfit[wrong] += 1
            self._first_unfit.setdefault(wrong, f"line {line}" if line else f"after frame {len(self.time)}")
            return
        if not self.time:
            self.begin = float(message.timestamp)
        kind, length, data = _kind(message)
        self.line = line
        self.time.append(message.timestamp - self.begin)
        self._identifier.append(0 if message.is_error_frame else message.arbitration_id)
        self._kind.append(kind)
        self._channel.append(channel)
        self._length.append(length)
        self._size.append(len(data))
        self._data += data

    def drop(self) -> None:
        """Take the last frame out again."""
        size = self._size.pop()
        del self._data[len(self._data) - size :]
        for column in (self.time, self._identifier, self._kind, self._channel, self._length):
            column.pop()

    def notes(self) -> list[str]:
        """Return what was left out."""
        return [
            f"left out: {count} frame{'' if count == 1 else 's'} {wrong} (first: {self._first_unfit[wrong]})"
            for wrong, count in self._unfit.items()
        ]

    def frames(self, *, first_channel: int) -> Frames:
        """Return the frames, without copying them. Frames on no channel belong to the only one that has a name."""
        names = [_name(channel, first_channel) for channel in self._channels]
        if len(names) == 2 and "" in names:
            self._channel = bytearray(len(self._channel))
            names.remove("")
        return Frames(
            time=np.frombuffer(self.time, np.float64),
            identifier=np.frombuffer(self._identifier, np.uint32),
            kind=np.frombuffer(self._kind, np.uint8),
            channel=np.frombuffer(self._channel, np.uint8),
            channels=tuple(names[:MOST_CHANNELS]),
            length=np.frombuffer(self._length, np.uint8),
            size=np.frombuffer(self._size, np.uint8),
            data=np.frombuffer(self._data, np.uint8),
        )


def _name(channel: int | str | None, first: int) -> str:
    text = "" if channel is None else str(channel + first if isinstance(channel, int) else channel)
    return "".join(sign if sign.isprintable() else "?" for sign in text)


def _unfit(message: Any) -> str | None:
    """Return why this can be no frame on a bus, or None."""
    if not math.isfinite(message.timestamp):
        return "without a time"
    if message.is_error_frame:
        return None
    if not 0 <= message.arbitration_id < LARGEST[message.is_extended_id]:
        return f"with an identifier of more than {29 if message.is_extended_id else 11} bits"
    size, flexible = len(message.data), message.is_fd or len(message.data) > LONGEST[False]
    if message.is_remote_frame and not flexible:
        return None if 0 <= message.dlc < 16 else "asking for more data than there can be"
    meant = _LENGTH_CODES.get(message.dlc, message.dlc) if flexible else min(message.dlc, LONGEST[False])
    if size not in {meant, message.dlc} or size > LONGEST[True]:
        return "with other data than the length says"
    return None


def _kind(message: Any) -> tuple[int, int, bytes]:
    """Return the kind, the announced length and the data of a frame.

    Some forms have no sign for flexible data rate; who has more than 8 bytes has it. There are no remote frames in it:
    the reader takes one without data for one.
    """
    if message.is_error_frame:
        return int(Kind.ERROR | Kind.SENT * (not message.is_rx)), 0, b""
    flexible = message.is_fd or len(message.data) > LONGEST[False]
    kind = (
        Kind.EXTENDED * message.is_extended_id
        | Kind.REMOTE * (message.is_remote_frame and not flexible)
        | Kind.FD * flexible
        | Kind.RATE_SWITCH * (message.bitrate_switch and flexible)
        | Kind.SENT * (not message.is_rx)
    )
    length = len(message.data) if flexible else min(message.dlc, 15)
    return int(kind), length, bytes(message.data)
