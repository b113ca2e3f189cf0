"""A record averaged down to even means, each over whole periods of any carrier.

Each sample stands for the time up to midway to its neighbours, so that missing samples are stood in for by those
beside them. The means are differences of the running integral, asked at any moment: a mean over one whole period of a
carrier is blind to it and to its harmonics, and where the period is few samples long, over so many periods that these
are nearly a whole number of samples. A second carrier is averaged out over its own period.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from benchtest.signals.series import Moments, Sampled, Uneven, Values

PER_FLASH: Final = 8
"""Means per shortest flash: an edge is found within an eighth of it."""
FINEST: Final = 1e-3
"""Seconds; a mean is no shorter while the shortest flash is unknown."""
COARSEST: Final = 0.05
"""Seconds; a mean is no longer, however long the shortest flash, so that edges are found as people time them."""
SHIFTS: Final = 8
"""Means that stand for the mean over a second carrier's period; blind to its harmonics up to the seventh."""
BLIND: Final = 0.4
"""Of a shortest flash; a mean taken over more of it would lose it."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Means:
    """A record averaged down."""

    values: Moments
    begin: float
    step: float
    """Seconds from one mean to the next."""
    box: float
    """Seconds that each is taken over."""


def averaged(series: Sampled | Uneven, *, shortest: float | None, carriers: tuple[float, ...] = ()) -> Means:
    """Return a record as even means, each over whole periods of the carriers."""
    interval = (series.end - series.begin) / max(1, series.values.size - 1)
    wanted = FINEST if shortest is None else min(shortest / PER_FLASH, COARSEST)
    step = interval * max(1, int(wanted / interval + 1e-6))
    periods = [1 / carrier for carrier in carriers if 1 / carrier > step / PER_FLASH]
    boxes = [_box(period, step, interval) for period in periods] or [step]
    begin, end, sums = _integral(series, interval)
    count = max(1, int((end - begin) / step + 1e-6))
    middles: Moments = begin + (np.arange(count, dtype=float) + 0.5) * step
    values = _mean(middles, boxes, begin, end, sums)
    return Means(values=values, begin=begin, step=step, box=max(*boxes, step))


def _box(period: float, step: float, interval: float) -> float:
    """Return the seconds of some whole periods, as few as fill a step, and nearly a whole number of samples."""
    most = max(1, int(PER_FLASH * BLIND * step / period))
    times = np.arange(min(most, max(1, round(step / period))), most + 1)
    samples = times * period / interval
    return float(times[np.argmin(np.abs(samples - np.round(samples)) / samples)] * period)


@dataclass(frozen=True, slots=True, eq=False)
class _Sums:
    """The integral of a record, to be asked at any moment."""

    series: Sampled | Uneven
    sums: Moments
    bounds: Moments | None

    def upto(self, moments: Moments) -> Moments:
        """Return the integral from the begin to each moment."""
        if self.bounds is not None:
            return np.asarray(np.interp(moments, self.bounds, self.sums))
        rate = 1 / self.series.gap
        places = np.clip((moments - self.series.begin) * rate + 0.5, 0, self.sums.size - 1)
        before = np.minimum(places.astype(np.intp), self.sums.size - 2)
        low = self.sums[before]
        return np.asarray((low + (places - before) * (self.sums[before + 1] - low)) / rate)


def _integral(series: Sampled | Uneven, interval: float) -> tuple[float, float, _Sums]:
    """Return begin, end and integral; each sample stands for the time up to midway to its neighbours."""
    values: Values = series.values
    if isinstance(series, Sampled):
        sums = np.zeros(values.size + 1)
        np.cumsum(values, out=sums[1:], dtype=float)
        return series.begin - interval / 2, series.end + interval / 2, _Sums(series, sums, None)
    middles = (series.times[1:] + series.times[:-1]) / 2
    bounds = np.concatenate(([series.begin - interval / 2], middles, [series.end + interval / 2]))
    sums = np.concatenate(([0.0], np.cumsum(values * np.diff(bounds))))
    return float(bounds[0]), float(bounds[-1]), _Sums(series, sums, bounds)


def _mean(middles: Moments, boxes: list[float], begin: float, end: float, sums: _Sums) -> Moments:
    """Return means about moments over the first box, and those averaged over the others."""
    if len(boxes) > 1:
        shifts = ((np.arange(SHIFTS) + 0.5) / SHIFTS - 0.5) * boxes[-1]
        parts = [_mean(np.clip(middles + shift, begin, end), boxes[:-1], begin, end, sums) for shift in shifts]
        return np.asarray(np.mean(parts, axis=0))
    half = boxes[0] / 2
    upper, lower = np.minimum(middles + half, end), np.maximum(middles - half, begin)
    return np.asarray((sums.upto(upper) - sums.upto(lower)) / (upper - lower))


def smoothed(values: Moments, width: int) -> Moments:
    """Return means over `width` neighbours, shorter at the ends."""
    if width <= 1:
        return values
    sums = np.concatenate(([0.0], np.cumsum(values)))
    places = np.arange(values.size)
    low, high = np.maximum(places - width // 2, 0), np.minimum(places - width // 2 + width, values.size)
    return np.asarray((sums[high] - sums[low]) / (high - low))
