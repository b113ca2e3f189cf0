"""R.m.s. over whole cycles.

Cycles are cut where the signal rises through the middle between its extremes, with hysteresis, so that noise cuts
none. A whole number of cycles has no error of its window except for the two broken samples at its ends.

Source: IEC 61000-4-30 measures over whole cycles from zero crossings (second hand); the factors of the waveforms follow
from their definition.
"""

from dataclasses import dataclass

import numpy as np

from benchtest.metrology.uncertainty import scatter_of_mean
from benchtest.signals.levels import Samples, crossings

HYSTERESIS = 0.2
"""Of half the swing, on each side of the middle: over the noise, under every waveform's slope (common practice)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Effective:
    """R.m.s. of a stretch of signal."""

    value: float
    cycles: int
    """Whole cycles that it was taken over; 0 when the stretch has none and was taken whole."""
    scatter: float
    """Standard uncertainty from the differences between cycles."""
    ends: float
    """Half-width of what the broken samples at both ends may change."""
    alternating: float
    """R.m.s. of the stretch without its mean."""


def effective(samples: Samples) -> Effective:
    """Return the r.m.s. over all whole cycles in `samples`, which are not empty."""
    starts = _cycle_starts(samples)
    alternating = float(samples.std())
    if starts.size < 2:
        value = float(np.sqrt(np.mean(samples * samples)))
        return Effective(value=value, cycles=0, scatter=0.0, ends=0.0, alternating=alternating)
    first, last = int(starts[0]), int(starts[-1])
    squares = samples[first:last] ** 2
    value = float(np.sqrt(squares.mean()))
    lengths = np.diff(starts)
    each = np.sqrt(np.add.reduceat(squares, starts[:-1] - first) / lengths)
    ends = value * 0.5 / (last - first)  # one sample more or less changes the mean square by its share
    return Effective(
        value=value, cycles=lengths.size, scatter=scatter_of_mean(each), ends=ends, alternating=alternating
    )


def _cycle_starts(samples: Samples) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    low, high = float(samples.min()), float(samples.max())
    middle, band = (low + high) / 2, (high - low) / 2 * HYSTERESIS
    if not band > 0:
        return np.empty(0, np.intp)
    changes = crossings(samples, low=middle - band, high=middle + band)
    return changes.index[changes.rising]
