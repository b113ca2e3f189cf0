"""What the host saw of a channel that no hardware records, as a row of a recording: held from one look to the next.

A change is seen by the look after it, so a row's edges are never early, and late by no more than the time from the
beginning of one look to the end of the next.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

SPAN: Final = 32000
"""Codes of a polled channel's extremes: within sixteen bits, and none of them looks like a converter at its end."""
FINEST: Final = 1e-12
"""Least step between codes as share of the values themselves: finer than a float's own step nothing is told apart."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Look:
    """One reading of one channel, taken at some moment of an exchange."""

    begun: float
    ended: float
    """Seconds after the start of the recording."""
    value: float
    """In the channel's unit; inf is over-range."""

    @property
    def at(self) -> float:
        """The middle of the exchange."""
        return (self.begun + self.ended) / 2


def latest_gap(looks: Sequence[Look], duration: float) -> float:
    """Return the longest time that a channel went unwatched in a recording; infinite without a look.

    The first look must come soon after the start, and the last may not be long before the end.
    """
    if not looks:
        return math.inf
    between = (later.ended - earlier.begun for earlier, later in pairwise(looks))
    return max(looks[0].ended, duration - looks[-1].begun, *between, 0.0)


def held(looks: Sequence[Look], samples: int, rate: float) -> tuple[NDArray[np.int16], float, float]:
    """Return looks as codes held from one to the next, with their scale and offset; not one look is over-range."""
    ends = np.iinfo(np.int16)
    if not looks:
        return np.full(samples, ends.max, np.int16), 1.0, 0.0
    moments, values = np.array([look.at for look in looks]), np.array([look.value for look in looks], np.float64)
    finite = values[np.isfinite(values)]
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, 0.0)
    offset = low / 2 + high / 2
    scale = max((high / 2 - low / 2) / SPAN, FINEST * max(abs(low), abs(high), 1.0))
    read = np.nan_to_num((values - offset) / scale, nan=ends.max, posinf=ends.max, neginf=ends.min)
    codes = np.round(read).clip(ends.min, ends.max).astype(np.int16)
    position = np.searchsorted(moments, np.arange(samples) / rate, side="right") - 1
    return codes[np.clip(position, 0, len(looks) - 1)], scale, offset
