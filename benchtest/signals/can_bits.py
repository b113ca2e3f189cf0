"""How many bits a classic CAN frame has on the bus, stuff bits counted one by one or at their most.

A stuff bit of the other polarity follows every five equal bits from the start of frame to the end of the CRC sequence,
and counts as the first bit of what follows. Where we stand in a run of equal bits is one of nine states, and eight bits
of frame lead from one to another with a known number of stuff bits: a table of 9 x 256 entries does the work of a walk
over 118 bits, for all frames at once. The CRC goes by a table of bytes too; leading zeros do not change it, because its
register begins at zero.

    11 bits   start, identifier, RTR, IDE, r0, DLC           19 bits + data + CRC 15
    29 bits   start, 11, SRR, IDE, 18, RTR, r1, r0, DLC      39 bits + data + CRC 15
    both      CRC delimiter, ACK slot, ACK delimiter, end of frame: 10 bits without stuffing; then 3 of interframe space

Source: ISO 11898-1, the fields and CRC-15 (generator 0x4599), from memory; the longest frame after K. Tindell, A. Burns
and A. Wellings, "Calculating Controller Area Network (CAN) Message Response Times", 1995, as corrected by R. Davis et
al. in "Controller Area Network (CAN) schedulability analysis", 2007: (34 + 8 s - 1) / 4 stuff bits.
"""

from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchtest.signals.frames import Flags, Frames, Kind, Places, contents

Bits = NDArray[np.int64]
GENERATOR: Final = 0x4599
"""CRC-15/CAN: x^15 + x^14 + x^10 + x^8 + x^7 + x^4 + x^3 + 1, the highest term left out."""
RUN: Final = 5
"""Equal bits before a stuff bit."""
INTERFRAME: Final = 3
"""Bits of recessive bus that belong to no frame and stand before the next one."""
_UNSTUFFED: Final = 10
_HEADER: Final = {False: 19, True: 39}
_CRC: Final = 15
_AT_ONCE: Final = 1 << 16
"""Frames worked on at a time, so that memory does not grow with the log."""


def classic(frames: Frames) -> Flags:
    """Return which frames have a length we can count: neither error frames nor those of flexible data rate."""
    return ~frames.of_kind(Kind.ERROR | Kind.FD)


def plain_bits(frames: Frames, places: Places) -> Bits:
    """Return the bits of classic frames before stuffing, interframe space not counted: 44 + 8 s or 64 + 8 s."""
    header = np.where(frames.of_kind(Kind.EXTENDED)[places], _HEADER[True], _HEADER[False])
    bits: Bits = header + 8 * frames.size[places].astype(np.int64) + _CRC + _UNSTUFFED
    return bits


def most_stuff_bits(frames: Frames, places: Places) -> Bits:
    """Return how many stuff bits classic frames of these lengths have at most."""
    return (plain_bits(frames, places) - _UNSTUFFED - 1) // (RUN - 1)


def stuff_bits(frames: Frames, places: Places) -> Bits:
    """Return how many stuff bits these classic frames really have."""
    starts = frames.starts
    found = np.zeros(places.size, np.int64)
    for begin in range(0, places.size, _AT_ONCE):
        part = places[begin : begin + _AT_ONCE]
        shapes = frames.size[part] * np.uint8(2) + frames.of_kind(Kind.EXTENDED)[part]
        for shape in np.unique(shapes):
            here = np.flatnonzero(shapes == shape)
            data = contents(frames, part[here], starts=starts, width=int(shape) // 2)
            found[begin + here] = _stuffed(frames, part[here], data, extended=bool(shape % 2))
    return found


def _stuffed(frames: Frames, places: Places, data: NDArray[np.uint8], *, extended: bool) -> Bits:
    """Return the stuff bits of classic frames of one shape; `data` has their bytes side by side."""
    header = _headers(frames, places, extended=extended)
    places_of_octets = reversed(range((_HEADER[extended] + 7) // 8))
    octets = [(header >> np.uint64(8 * place)).astype(np.uint8) for place in places_of_octets]
    octets.extend(data.T)
    crc = _remainders(octets)
    chunks = [(octet, 8) for octet in octets[1:]] + [(crc >> 7, 8), (crc & 0x7F, 7)]
    state, count = _walk(octets[0], _HEADER[extended] % 8, np.zeros(places.size, np.uint8))
    for chunk, width in chunks:
        state, more = _walk(chunk, width, state)
        count += more
    return count


def _headers(frames: Frames, places: Places, *, extended: bool) -> NDArray[np.uint64]:
    """Return start of frame to data length code as one number, the start's 0 being its highest bit."""
    identifier = frames.identifier[places].astype(np.uint64)
    remote = frames.of_kind(Kind.REMOTE)[places].astype(np.uint64)
    code = np.minimum(frames.length[places], 15).astype(np.uint64)
    if not extended:
        return np.asarray(identifier << np.uint64(7) | remote << np.uint64(6) | code)
    substitutes = np.uint64(0b11)  # SRR and IDE are recessive
    front = (identifier >> np.uint64(18)) << np.uint64(27) | substitutes << np.uint64(25)
    return np.asarray(front | (identifier & np.uint64(0x3FFFF)) << np.uint64(7) | remote << np.uint64(6) | code)


def _remainders(octets: list[NDArray[np.uint8]]) -> NDArray[np.uint16]:
    """Return CRC-15/CAN over the octets, the first one first."""
    register = np.zeros(octets[0].size, np.uint16)
    for octet in octets:
        index = ((register >> 7) ^ octet) & 0xFF
        register = ((register << 8) ^ _crc_table()[index]) & np.uint16(0x7FFF)
    return register


def crc15(octets: bytes) -> int:
    """Return CRC-15/CAN over some bytes, the highest bit of each first."""
    return int(_remainders([np.array([octet], np.uint8) for octet in octets])[0]) if octets else 0


@cache
def _crc_table() -> NDArray[np.uint16]:
    """Return what one octet above an empty register leaves in it."""
    register: NDArray[np.uint16] = np.arange(256, dtype=np.uint16) << np.uint16(7)
    for _ in range(8):
        feedback = np.where(register & np.uint16(0x4000), np.uint16(GENERATOR), np.uint16(0))
        register = ((register << np.uint16(1)) ^ feedback) & np.uint16(0x7FFF)
    return register


def _walk(values: NDArray[np.integer], width: int, state: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], Bits]:
    """Return the state after the lowest `width` bits of each value, and the stuff bits on the way."""
    after, stuffed = _walks(width)
    index = (state.astype(np.intp) << width) | values
    return after[index], stuffed[index]


@cache
def _walks(width: int) -> tuple[NDArray[np.uint8], Bits]:
    """Return state and stuff bits after `width` bits, for every state and every value, at state * 2^width + value."""
    states = np.repeat(np.arange(1 + 2 * (RUN - 1), dtype=np.uint8), 1 << width)
    values = np.tile(np.arange(1 << width), 1 + 2 * (RUN - 1))
    stuffed = np.zeros(states.size, np.int64)
    for place in reversed(range(width)):
        bit = (values >> place) & 1
        states, full = _step(states, bit)
        stuffed += full
    return states, stuffed


def _step(state: NDArray[np.uint8], bit: NDArray[np.integer]) -> tuple[NDArray[np.uint8], Flags]:
    """Return the state after one more bit, and whether a stuff bit followed it.

    State 0 is before the first bit; 1 to 4 are runs of so many zeros, 5 to 8 runs of one to four ones.
    """
    was, run = (state - 1) // (RUN - 1), (state - 1) % (RUN - 1) + 1
    longer = np.where((state > 0) & (was == bit), run + 1, 1)
    full = longer == RUN
    last = np.where(full, 1 - bit, bit)  # the stuff bit has the other polarity, and begins a run
    return (1 + last * (RUN - 1) + np.where(full, 1, longer) - 1).astype(np.uint8), full
