"""A strict serial-line CAN adapter: bytes from its host in, answers and frames out. Owns no port.

Strict means: a frame while the channel is closed, a second open, a bit rate while open and anything that is not a
command are answered with BEL, and nothing goes to the bus. Classic frames with 11 or 29 bit identifiers only.

Source: the ASCII command set of serial-line CAN adapters as the Linux kernel's slcan driver (drivers/net/can/slcan)
and python-can's slcan interface speak it; common practice, no standard.
"""

import re
from dataclasses import dataclass
from typing import Final

BELL: Final = b"\a"
DONE: Final = b"\r"
LINE_LENGTH: Final = 64
"""Longest command in bytes; the longest frame takes 26."""

_FRAME = re.compile(rb"(?:t([0-7][0-9A-Fa-f]{2})|T([01][0-9A-Fa-f]{7}))([0-8])((?:[0-9A-Fa-f]{2})*)")


@dataclass(frozen=True, slots=True)
class Frame:
    """One classic data frame."""

    can_id: int
    data: bytes
    extended: bool = False
    """The identifier has 29 bits: another one than that of 11 bits with the same number."""


class SlcanPeer:
    """One channel: closed at first, and again when its host hangs up."""

    def __init__(self) -> None:
        self.open = False
        self._pending = b""

    def hang_up(self) -> None:
        """Close the channel and forget the started command."""
        self.open = False
        self._pending = b""

    def feed(self, data: bytes) -> tuple[bytes, tuple[Frame, ...]]:
        """Take bytes from the host; return the answers and the frames for the bus."""
        *lines, self._pending = (self._pending + data).split(b"\r")
        answers: list[bytes] = []
        frames: list[Frame] = []
        for line in lines:
            frame = read_frame(line) if self.open else None
            if frame is None:
                answers.append(self._command(line))
            else:
                frames.append(frame)
                answers.append((b"z" if line[:1] == b"t" else b"Z") + DONE)
        if len(self._pending) > LINE_LENGTH:  # no command is as long: garbage
            self._pending = b""
            answers.append(BELL)
        return b"".join(answers), tuple(frames)

    def _command(self, line: bytes) -> bytes:
        if line in {b"", b"C"}:
            self.open = self.open and not line
            return DONE
        if line in {b"V", b"N", b"F"}:
            return {b"V": b"V1013", b"N": b"NBT01", b"F": b"F00"}[line] + DONE
        if self.open:
            return BELL
        if line == b"O":
            self.open = True
            return DONE
        return DONE if re.fullmatch(rb"S[0-8]|s[0-9A-Fa-f]{4}", line) else BELL


def read_frame(line: bytes) -> Frame | None:
    """Return the frame of a transmit command, or None when it is none or its length and data disagree."""
    match = _FRAME.fullmatch(line)
    if match is None or len(match[4]) != 2 * int(match[3]):
        return None
    return Frame(int(match[1] or match[2], 16), bytes.fromhex(match[4].decode("ascii")), extended=match[1] is None)


def write_frame(frame: Frame) -> bytes:
    """Return a received frame as its host reads it."""
    head = f"T{frame.can_id:08X}" if frame.extended else f"t{frame.can_id:03X}"
    return f"{head}{len(frame.data)}{frame.data.hex().upper()}\r".encode("ascii")
