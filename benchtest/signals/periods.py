"""How regularly something comes: period, jitter, and what is missing between.

An interval longer than one and a half periods has room for a message that did not come; it is counted as missing
messages and not as jitter, so that one lost message does not spoil the jitter of a thousand punctual ones. Where nobody
says the period, the median interval stands for it, which up to half of the intervals can be wrong without moving.

Source: JEDEC JESD65B for period jitter (against the mean period) and cycle-to-cycle jitter (between neighbours), from
memory; that lost cycles are counted apart is common practice, no source.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchtest.signals.frames import Flags

Seconds = NDArray[np.float64]
ROOM_FOR_ANOTHER: Final = 1.5
"""Periods from which on an interval has a message missing in it."""
REGULAR: Final = 0.25
"""Share of the median that an interval of a cyclic message may be off it, for at least half of them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Period:
    """Intervals between successive messages, those of up to one and a half medians, in seconds."""

    intervals: int
    """How many intervals the figures are of."""
    mean: float
    median: float
    """Middle interval of all, those with a message missing in them too."""
    deviation: float | None
    """Standard deviation of one interval (n - 1); None for a single interval."""
    shortest: float
    longest: float
    jitter_peak: float
    """Period jitter, peak: largest deviation of an interval from the mean, to either side."""
    jitter_rms: float
    """Period jitter, r.m.s.: root of the mean square deviation from the mean."""
    jitter_cycle: float | None
    """Cycle-to-cycle jitter, peak: largest difference between one interval and the next; None without any."""
    regular: bool
    """At least half of all intervals, of three or more, lie within a quarter of the median: it comes by a clock."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Gap:
    """The longest interval without the message."""

    length: float
    """Seconds."""
    begin: float
    """Seconds: stamp of the last message before it."""


def period(intervals: Seconds, valid: Flags) -> Period | None:
    """Return period and jitter of the valid intervals, given in order; None when there is none."""
    accepted = intervals[valid]
    if not accepted.size:
        return None
    median = float(np.median(accepted))
    whole = valid & (intervals <= ROOM_FOR_ANOTHER * median)
    steady = intervals[whole]
    off = steady - steady.mean()
    neighbours = np.abs(np.diff(intervals))[whole[1:] & whole[:-1]]
    return Period(
        intervals=int(steady.size),
        mean=float(steady.mean()),
        median=median,
        deviation=float(steady.std(ddof=1)) if steady.size > 1 else None,
        shortest=float(steady.min()),
        longest=float(steady.max()),
        jitter_peak=float(np.abs(off).max()),
        jitter_rms=float(np.sqrt(np.mean(off**2))),
        jitter_cycle=float(neighbours.max()) if neighbours.size else None,
        regular=accepted.size >= 3 and bool(np.mean(np.abs(accepted - median) <= REGULAR * median) >= 0.5),
    )


def missing(intervals: Seconds, *, every: float) -> int:
    """Return how many messages are missing in these intervals when one is due `every` seconds."""
    if not 0 < every < np.inf:
        raise ValueError(f"a message every {every!r} s (expected a finite time above zero)")
    wide = intervals[intervals > ROOM_FOR_ANOTHER * every]
    return int(np.rint(wide / every).sum()) - wide.size


def longest_gap(moments: Seconds, valid: Flags) -> Gap | None:
    """Return the longest valid interval between successive moments; None when there is none."""
    intervals = np.where(valid, np.diff(moments), -np.inf)
    if not valid.any():
        return None
    place = int(np.argmax(intervals))
    return Gap(length=float(intervals[place]), begin=float(moments[place]))
