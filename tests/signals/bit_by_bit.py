"""A classic CAN frame bit by bit, written from the field list as plainly as it goes, and frames from lists."""

from collections.abc import Sequence

import numpy as np

from benchtest.signals.frames import Frames, Kind

STANDARD = Kind(0)
Frame = tuple[int, Kind, int, bytes]
"""Identifier, kind, announced length, data."""


def frames_of(
    frames: Sequence[Frame], *, times: Sequence[float] | None = None, channels: Sequence[str] | None = None
) -> Frames:
    """Return frames at the times given (0 s when none are), on the channels given (all on one when none are)."""
    names = tuple(dict.fromkeys(channels or [""]))
    return Frames(
        time=np.array(times if times is not None else [0.0] * len(frames), float),
        identifier=np.array([identifier for identifier, *_ in frames], np.uint32),
        kind=np.array([int(kind) for _, kind, _, _ in frames], np.uint8),
        channel=np.array([names.index(name) for name in channels or [""] * len(frames)], np.uint8),
        channels=names,
        length=np.array([length for _, _, length, _ in frames], np.uint8),
        size=np.array([len(data) for *_, data in frames], np.uint8),
        data=np.frombuffer(b"".join(data for *_, data in frames), np.uint8),
    )


def data_frame(identifier: int, data: bytes = b"", kind: Kind = STANDARD) -> Frame:
    """Return a frame that announces the data it has."""
    return identifier, kind, len(data), data


def stuffed_part(frame: Frame) -> list[int]:
    """Return the bits from start of frame to the end of the CRC sequence, before stuffing."""
    identifier, kind, length, data = frame
    name, remote = format(identifier, "029b" if Kind.EXTENDED in kind else "011b"), str(int(Kind.REMOTE in kind))
    middle = f"11{name[11:]}{remote}00" if Kind.EXTENDED in kind else f"{remote}00"
    text = "0" + name[:11] + middle + format(length, "04b") + "".join(format(byte, "08b") for byte in data)
    bits = [int(sign) for sign in text]
    register = 0
    for bit in bits:
        feedback = bit ^ (register >> 14)
        register = (register << 1) & 0x7FFF
        if feedback:
            register ^= 0x4599
    return bits + [int(sign) for sign in format(register, "015b")]


def bits_on_the_bus(frame: Frame) -> int:
    """Return the bits of a frame with its stuff bits and without interframe space."""
    count, last, run = 0, -1, 0
    for bit in stuffed_part(frame):
        count += 1
        last, run = bit, run + 1 if bit == last else 1
        if run == 5:
            count += 1
            last, run = 1 - bit, 1
    return count + 10
