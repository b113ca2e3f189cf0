"""CAN frames as they were logged, in compact arrays: no object per frame, so that a million of them are a small thing.

Data bytes of all frames lie one behind the other; `contents` lays those of some frames side by side. The order is the
log's own. Stamps are compared only within one channel: two channels may have two clocks.
"""

from dataclasses import dataclass
from enum import IntFlag
from typing import Final

import numpy as np
from numpy.typing import NDArray

Flags = NDArray[np.bool_]
Places = NDArray[np.intp]
"""Positions in a log, from 0."""


class Kind(IntFlag):
    """What a frame is, beside its identifier; a data frame with an 11-bit identifier that was received is 0."""

    EXTENDED = 1
    """29-bit identifier."""
    REMOTE = 2
    """Asks for data and has none."""
    ERROR = 4
    """Somebody found an error on the bus; identifier and data mean nothing."""
    FD = 8
    """Flexible data rate."""
    RATE_SWITCH = 16
    """The data phase went at the data bit rate."""
    SENT = 32
    """Sent by whoever recorded."""


LARGEST: Final = {False: 1 << 11, True: 1 << 29}
"""Identifiers there are, of 11 and of 29 bits."""
LONGEST: Final = {False: 8, True: 64}
"""Bytes of the longest data field, without and with flexible data rate (ISO 11898-1, from memory)."""


@dataclass(frozen=True, slots=True, order=True)
class Identifier:
    """What tells messages on one bus apart."""

    number: int
    extended: bool = False
    """29 bits."""
    remote: bool = False
    """A request for the message, not the message."""

    def __post_init__(self) -> None:
        if not 0 <= self.number < LARGEST[self.extended]:
            raise ValueError(f"identifier {self.number:#x} in {29 if self.extended else 11} bits")

    def __str__(self) -> str:
        """Return three hexadecimal digits for 11 bits, eight for 29."""
        digits = f"0x{self.number:08X}" if self.extended else f"0x{self.number:03X}"
        return f"{digits} (remote)" if self.remote else digits


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Frames:
    """Frames of one log, one entry each in every array."""

    time: NDArray[np.float64]
    """Seconds, as the recorder stamped them; finite, but not always going forward."""
    identifier: NDArray[np.uint32]
    """11 or 29 bits."""
    kind: NDArray[np.uint8]
    """Bits of `Kind`."""
    channel: NDArray[np.uint8]
    """Index in `channels`."""
    channels: tuple[str, ...]
    """The recorder's names of the buses; "" when it has none."""
    length: NDArray[np.uint8]
    """Data length that the frame announces: bytes, or for a frame without flexible data rate 9 to 15, which mean 8."""
    size: NDArray[np.uint8]
    """Bytes of data it has: 0 for a remote frame."""
    data: NDArray[np.uint8]
    """Data bytes of all frames, in order."""

    def __post_init__(self) -> None:
        columns = (self.time, self.identifier, self.kind, self.channel, self.length, self.size)
        if len({column.shape for column in columns}) != 1 or self.time.ndim != 1:
            raise ValueError(f"columns of {', '.join(str(column.size) for column in columns)} frames")
        if int(self.size.sum(dtype=np.int64)) != self.data.size:
            raise ValueError(f"{self.data.size} data bytes for frames of {int(self.size.sum(dtype=np.int64))}")
        if not np.isfinite(self.time).all():
            raise ValueError(f"frame {int(np.argmin(np.isfinite(self.time)))} has no time")
        too_large = (self.identifier >= LARGEST[False]) & ~self.of_kind(Kind.EXTENDED)
        too_large |= self.identifier >= LARGEST[True]
        if too_large.any():
            raise ValueError(f"frame {int(np.argmax(too_large))} has an identifier of too many bits")
        if self.channel.size and int(self.channel.max()) >= len(self.channels):
            raise ValueError(f"channel {int(self.channel.max())} of {len(self.channels)}")

    def __len__(self) -> int:
        return int(self.time.size)

    def of_kind(self, kind: Kind) -> Flags:
        """Return which frames are of this kind."""
        return np.asarray((self.kind & np.uint8(kind)) != 0)

    @property
    def starts(self) -> NDArray[np.int64]:
        """Where in `data` each frame's bytes begin."""
        ends = np.cumsum(self.size, dtype=np.int64)
        return ends - self.size


def chosen(frames: Frames, places: Places) -> Frames:
    """Return the frames at these places, in the order of the places."""
    sizes = frames.size[places].astype(np.int64)
    within = np.arange(int(sizes.sum())) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    return Frames(
        time=frames.time[places],
        identifier=frames.identifier[places],
        kind=frames.kind[places],
        channel=frames.channel[places],
        channels=frames.channels,
        length=frames.length[places],
        size=frames.size[places],
        data=frames.data[np.repeat(frames.starts[places], sizes) + within],
    )


def contents(frames: Frames, places: Places, *, starts: NDArray[np.int64], width: int) -> NDArray[np.uint8]:
    """Return the data of the frames at these places, shape (places, width), filled with 0 behind a shorter frame.

    `starts` is `frames.starts`, which whoever asks often has asked for once.
    """
    columns = np.arange(width)
    has = columns < frames.size[places, None]
    if not frames.data.size:
        return np.zeros(has.shape, np.uint8)
    index = np.where(has, starts[places, None] + columns, 0)
    return np.where(has, frames.data[index], np.uint8(0))
