"""How full a bus was.

A classic frame takes its bits and three of interframe space. Load is bits over what the bit rate would have allowed in
the time from the first to the last stamp; recorders stamp a frame at its end, so the first frame lies before that time.
Where the stamps step back, the log falls into stretches, each with a first frame of its own; the step is no time.
Error frames and frames of flexible data rate are counted and their bits are not: nobody records how long an error
frame was, and a flexible frame goes at two bit rates.

Source: `can_bits` for the bits; the stamp at the end of frame is common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchtest.signals.can_bits import INTERFRAME, Bits, classic, most_stuff_bits, plain_bits, stuff_bits
from benchtest.signals.frames import Frames, Kind


@dataclass(frozen=True, kw_only=True, slots=True)
class Bus:
    """One channel as a whole. Frames and bits of two halves of a log add up to those of the whole."""

    channel: str
    frames: int
    """All frames, error frames included."""
    errors: int
    """Error frames; they are in no load."""
    remote: int
    """Remote frames."""
    flexible: int
    """Frames of flexible data rate; they are in no load, and so none is given."""
    steps_back: int
    """Frames stamped earlier than the one before."""
    duration: float
    """Seconds from the first to the last stamp, steps back left out."""
    bits: int
    """Bits of the classic frames with the stuff bits they have and three of interframe space."""
    most_bits: int
    """The same with as many stuff bits as frames of their length can have."""
    load: float | None
    """Share of the bits that the bus could carry, 0 to 1; None without a bit rate or time, or with flexible frames."""
    most_load: float | None
    """The same with as many stuff bits as possible, which the designer of a bus reckons with."""
    busiest: float | None
    """Load in the busiest second, actual stuff bits; a frame that ends in it counts whole. None as for `load`, or when
    the log is shorter than a second."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Lengths:
    """Bits of each frame of a log with interframe space; 0 for one whose bits are not counted."""

    actual: Bits
    most: Bits


def lengths(frames: Frames) -> Lengths:
    """Return the bits of each frame, with the stuff bits it has and with as many as possible."""
    places = np.flatnonzero(classic(frames))
    plain = plain_bits(frames, places) + INTERFRAME
    actual, most = np.zeros(len(frames), np.int64), np.zeros(len(frames), np.int64)
    actual[places] = plain + stuff_bits(frames, places)
    most[places] = plain + most_stuff_bits(frames, places)
    return Lengths(actual=actual, most=most)


def stretches(time: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return, for each stamp, how often the stamps have stepped back before it."""
    return np.concatenate((np.zeros(min(1, time.size), np.int64), np.cumsum(np.diff(time) < 0)))


def bus_load(frames: Frames, *, found: Lengths, channel: str, bit_rate: float | None) -> Bus:
    """Return how full the bus was that carried these frames, which are those of one channel.

    `bit_rate` is in bit/s; without one there is no load.
    """
    forward = np.diff(frames.time) >= 0
    duration = float(np.diff(frames.time)[forward].sum())
    later = np.concatenate((np.zeros(min(1, len(frames)), np.bool_), forward))
    flexible = int(frames.of_kind(Kind.FD).sum())
    rate = bit_rate if bit_rate is not None and not flexible else 0.0
    actual, most = found.actual * later, found.most * later
    return Bus(
        channel=channel,
        frames=len(frames),
        errors=int(frames.of_kind(Kind.ERROR).sum()),
        remote=int(frames.of_kind(Kind.REMOTE).sum()),
        flexible=flexible,
        steps_back=int((~forward).sum()),
        duration=duration,
        bits=int(found.actual.sum()),
        most_bits=int(found.most.sum()),
        load=float(actual.sum() / (duration * rate)) if duration * rate else None,
        most_load=float(most.sum() / (duration * rate)) if duration * rate else None,
        busiest=float(_in_busiest_second(frames.time, actual) / rate) if rate and duration >= 1.0 else None,
    )


def _in_busiest_second(time: NDArray[np.float64], bits: Bits) -> int:
    """Return the most bits of frames that end within one second; where stamps step back, no time passes."""
    elapsed = np.concatenate(([0.0], np.cumsum(np.maximum(np.diff(time), 0.0))))
    before = np.concatenate(([0], np.cumsum(bits)))
    return int((before[1:] - before[np.searchsorted(elapsed, elapsed - 1.0, side="right")]).max())
