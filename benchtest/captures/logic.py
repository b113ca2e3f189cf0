"""Logic captures as raw samples: one bit per channel, 1, 2, 4 or 8 bytes per sample, lowest byte first.

A sample is a look, so a change happened up to one step before its stamp: the series says so as its resolution. Only
changes are kept, so that memory grows with what happened and not with how long nothing did.
"""

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Final

import numpy as np

from benchtest.captures.capture import Capture, Channel, Options, Recorded
from benchtest.errors import CaptureError
from benchtest.signals.series import Stamped

SIZES: Final = (1, 2, 4, 8)
BLOCK: Final = 2**22
MOST_CHANGES: Final = 2 * 10**7
"""Changes of one channel that fit into the memory."""

Blocks = Callable[[], Iterator[bytes]]


def open_logic(path: Path, start: bytes, options: Options) -> Capture:
    """Return the bits of a file of raw samples; the rate must be told."""
    del start
    if options.rate is None:
        raise CaptureError(path, "raw logic samples say no rate", hint="say the samples per second with 'rate'")
    size = options.unit_size or 1
    if size not in SIZES:
        raise CaptureError(path, f"samples of {size} bytes", expected="1, 2, 4 or 8")
    rate = options.rate
    channels = tuple(Channel(number=bit + 1, name=f"bit {bit}", unit="") for bit in range(8 * size))
    notes = () if options.unit_size else ("one byte per sample, as nobody said otherwise",)

    def read(channel: Channel) -> Recorded:
        return read_bit(path, lambda: _blocks(path), size=size, rate=rate, channel=channel)

    return Capture(path=path, kind_of_file="raw logic", channels=channels, notes=notes, reader=read)


def _blocks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            yield block


def read_bit(path: Path, blocks: Blocks, *, size: int, rate: float, channel: Channel) -> Recorded:
    """Return the changes of the bit one below the number of the channel."""
    positions: list[np.ndarray[tuple[int], np.dtype[np.int64]]] = []
    first = before = None
    count = changes = 0
    left = b""
    for samples, rest in _whole(blocks(), size):
        left = rest
        bits = (samples >> samples.dtype.type(channel.number - 1)) & samples.dtype.type(1)
        first = bits[0] if first is None else first
        begin = bits[0] if before is None else before
        found = np.flatnonzero(np.diff(bits, prepend=begin)) + count
        positions.append(found)
        before, count, changes = bits[-1], count + bits.size, changes + found.size
        if changes > MOST_CHANGES:
            found_text = f"more than {MOST_CHANGES} changes of '{channel.name}'"
            raise CaptureError(path, found_text, hint="cut the capture into parts and measure each")
    if first is None:
        raise CaptureError(path, f"not one whole sample of {size} bytes", expected="raw logic samples")
    where = np.concatenate(positions)
    rising = (np.arange(where.size) % 2 == 0) ^ bool(first)
    notes = (f"{len(left)} bytes at the end are no whole sample, left out",) if left else ()
    series = Stamped(
        times=where / rate, rising=rising, first=bool(first), begin=0.0, end=(count - 1) / rate, resolution=1 / rate
    )
    return Recorded(channel=channel, series=series, notes=notes)


def _whole(
    blocks: Iterable[bytes], size: int
) -> Iterator[tuple["np.ndarray[tuple[int], np.dtype[np.unsignedinteger]]", bytes]]:
    """Yield whole samples, and the bytes that are left over for the next."""
    left = b""
    for block in blocks:
        joined = left + block
        whole = len(joined) // size * size
        left = joined[whole:]
        if whole:
            yield np.frombuffer(joined[:whole], f"<u{size}"), left
