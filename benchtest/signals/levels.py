"""State of a sampled signal against two thresholds.

A sample is *above* at or over `high`, *below* at or under `low`, and neither in between (nor when it is not a number).
The state changes only when the other side is reached, so noise on one threshold makes no edges. Positions and
directions are separate arrays: a sign on an index cannot tell an edge at sample 0.

Records are passed in chunks that stay in the processor's cache.

Source: two reference levels with hysteresis and linear interpolation between the straddling samples as in
IEEE 181-2011 (from memory); the chunking is measured practice.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

CHUNK = 1 << 16
"""Samples per pass: 512 KiB of floats."""

Samples = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Crossings:
    """Where a signal changed its state."""

    index: NDArray[np.intp]
    """First sample in the new state."""
    rising: NDArray[np.bool_]
    """True where the new state is above."""
    first: bool | None
    """State of the first decided sample: True above, False below, None when no sample is decided."""

    @property
    def last(self) -> bool | None:
        """State at the end."""
        return bool(self.rising[-1]) if self.rising.size else self.first


def crossings(samples: Samples, *, low: float, high: float, chunk: int = CHUNK) -> Crossings:
    """Return every change of state; the first state itself is not a change.

    Raises ValueError unless `low` lies below `high`.
    """
    if not low < high:
        raise ValueError(f"threshold low {low!r} is not below high {high!r}")
    first: bool | None = None
    state: bool | None = None
    positions: list[NDArray[np.intp]] = []
    directions: list[NDArray[np.bool_]] = []
    for start, part in _chunks(samples, chunk):
        index, above = _decided(part, low, high)
        if not index.size:
            continue
        if state is None:
            first = state = bool(above[0])
        before = np.concatenate(([state], above[:-1]))
        changed = above != before
        positions.append(index[changed] + start)
        directions.append(above[changed])
        state = bool(above[-1])
    return Crossings(
        index=np.concatenate(positions) if positions else np.empty(0, np.intp),
        rising=np.concatenate(directions) if directions else np.empty(0, np.bool_),
        first=first,
    )


def _chunks(samples: Samples, length: int) -> Iterator[tuple[int, Samples]]:
    for start in range(0, samples.size, length):
        yield start, samples[start : start + length]


def _decided(samples: Samples, low: float, high: float) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Return the samples that are above or below, and which."""
    above = samples >= high
    index = np.flatnonzero(above | (samples <= low))
    return index, above[index]


def interpolated(samples: Samples, index: int, threshold: float) -> float:
    """Return where the straight line from the sample before `index` to it meets the threshold, in samples.

    For signals that pass slowly; a contact jumps, and its moment is anywhere between the two samples.
    Returns `index` itself when there is no sample before it or the line does not meet the threshold.
    """
    if index == 0:
        return 0.0
    before, after = float(samples[index - 1]), float(samples[index])
    if before == after or not min(before, after) <= threshold <= max(before, after):
        return float(index)
    return index - 1 + (threshold - before) / (after - before)
