"""One channel over time: evenly sampled, sampled at times of its own, or as stamped changes of state.

Everything that asks *when* asks a series, so that one piece of code reads the bench's recordings, a file from an
oscilloscope with an uneven time column, and an edge list from a logic analyser. Positions are numbers of samples,
moments are seconds of the series' own time. A series says how finely it looked (`gap`): what is shorter than that may
have been there and not been seen.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[Any]
"""Samples of one channel, shape (samples,): floats in SI units, or codes of a converter."""
Moments = NDArray[np.float64]
Positions = NDArray[np.intp]

STRETCH = 1 << 18
"""Times looked at together, so that a long column is not copied whole."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Sampled:
    """Samples at even intervals: sample i was taken at start + i / rate."""

    values: Values
    rate: float
    """Samples per second."""
    start: float = 0.0
    """Seconds of sample 0."""

    def __post_init__(self) -> None:
        if not 0 < self.rate < np.inf:
            raise ValueError(f"a rate of {self.rate!r} samples per second (expected a finite one above zero)")

    def moments(self, positions: ArrayLike) -> Moments:
        """Return the seconds of positions, whole or between samples."""
        return np.asarray(self.start + np.asarray(positions, float) / self.rate)

    def gaps(self, positions: Positions) -> Moments:
        """Return the seconds between each sample and the one before it."""
        return np.full(positions.shape, 1 / self.rate)

    @property
    def begin(self) -> float:
        """Seconds of the first sample."""
        return self.start

    @property
    def end(self) -> float:
        """Seconds of the last sample; the begin when there is none."""
        return self.start + max(0, self.values.size - 1) / self.rate

    @property
    def gap(self) -> float:
        """Seconds of the longest time without a look."""
        return 1 / self.rate


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Uneven:
    """Samples at times of their own."""

    values: Values
    times: Moments
    """Seconds, strictly increasing, one per sample."""

    def __post_init__(self) -> None:
        if self.values.shape != self.times.shape:
            raise ValueError(f"{self.values.size} samples at {self.times.size} times")
        for begin in range(0, self.times.size, STRETCH):
            part = self.times[begin : begin + STRETCH + 1]
            wrong = np.flatnonzero(~((part[1:] > part[:-1]) & np.isfinite(part[1:])))
            if wrong.size or not np.isfinite(part[0]):
                place = begin + (int(wrong[0]) + 1 if np.isfinite(part[0]) else 0)
                raise ValueError(f"time does not go forward at sample {place} ({float(self.times[place])!r} s)")

    def moments(self, positions: ArrayLike) -> Moments:
        """Return the seconds of positions, whole or between samples."""
        wanted = np.clip(np.asarray(positions, float), 0.0, max(0, self.times.size - 1))
        before = np.floor(wanted).astype(np.intp)
        after = np.minimum(before + 1, self.times.size - 1)
        return np.asarray(self.times[before] + (wanted - before) * (self.times[after] - self.times[before]))

    def gaps(self, positions: Positions) -> Moments:
        """Return the seconds between each sample and the one before it; 0 for the first."""
        before = np.maximum(positions - 1, 0)
        return np.asarray(self.times[positions] - self.times[before])

    @property
    def begin(self) -> float:
        """Seconds of the first sample, 0 when there is none."""
        return float(self.times[0]) if self.times.size else 0.0

    @property
    def end(self) -> float:
        """Seconds of the last sample, 0 when there is none."""
        return float(self.times[-1]) if self.times.size else 0.0

    @property
    def gap(self) -> float:
        """Seconds of the longest time without a look; infinite for fewer than two samples."""
        starts = range(0, self.times.size - 1, STRETCH)
        return max((float(np.diff(self.times[begin : begin + STRETCH + 1]).max()) for begin in starts), default=np.inf)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Stamped:
    """Changes of a two-state signal, each with its stamp; nothing happened between them."""

    times: Moments
    """Seconds of the changes, never decreasing."""
    rising: NDArray[np.bool_]
    """State after each change: True is above (high, open, lit)."""
    first: bool | None
    """State before the first change; None when nobody said."""
    begin: float
    """Seconds from which it was watched."""
    end: float
    """Seconds until which it was watched."""
    resolution: float = 0.0
    """Step of the stamps in seconds; 0 when unknown or beyond concern."""

    def __post_init__(self) -> None:
        if self.times.shape != self.rising.shape:
            raise ValueError(f"{self.rising.size} states at {self.times.size} times")
        if not np.isfinite(self.times).all() or (np.diff(self.times) < 0).any():
            raise ValueError("stamps do not go forward in time")
        if self.times.size and not self.begin <= self.times[0] <= self.times[-1] <= self.end:
            raise ValueError(f"stamps outside the time watched, {self.begin:g} s to {self.end:g} s")

    @property
    def gap(self) -> float:
        """Seconds of the shortest thing that could have been missed: one step of the stamps."""
        return self.resolution


Series = Sampled | Uneven | Stamped


def positions(series: Sampled | Uneven, *, since: float = -np.inf, until: float = np.inf) -> slice:
    """Return which samples lie between two moments in seconds, both included."""
    if isinstance(series, Sampled):
        size, nearly = series.values.size, 1e-6  # samples; the last bits of a float
        first = int(np.clip(np.ceil((since - series.start) * series.rate - nearly), 0, size))
        return slice(first, int(np.clip(np.floor((until - series.start) * series.rate + nearly) + 1, first, size)))
    first = int(np.searchsorted(series.times, since, side="left"))
    return slice(first, max(first, int(np.searchsorted(series.times, until, side="right"))))


def stretch(series: Sampled | Uneven, *, since: float = -np.inf, until: float = np.inf) -> Sampled | Uneven:
    """Return the part of a series between two moments in seconds, both included, without copying a sample."""
    part = positions(series, since=since, until=until)
    if isinstance(series, Sampled):
        start = series.start + part.start / series.rate
        return Sampled(values=series.values[part], rate=series.rate, start=start)
    return Uneven(values=series.values[part], times=series.times[part])


def cut(series: Sampled | Uneven, *, since: float = -np.inf, until: float = np.inf) -> tuple[Moments, Moments]:
    """Return moments and values, as floats, between two moments in seconds, both included; only finite values."""
    part = positions(series, since=since, until=until)
    values = series.values[part].astype(float)
    numbers = np.isfinite(values)
    return series.moments(np.arange(part.start, part.stop)[numbers]), values[numbers]
