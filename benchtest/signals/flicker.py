"""Light that goes on and off faster than anybody blinks: dimming by pulse width, and the mains in other lamps.

A carrier is a line in the spectrum above the rhythm: it stands out of the noise beside it, and it is stronger than the
edges of the blinking could be there, whose power falls with the square of the frequency. A mean over one whole period
of it is blind to it and to all its harmonics.

What is sampled slower than twice a carrier shows it folded. The frequency given is the one that the samples show; a
carrier that folds into the rhythm itself cannot be told from blinking by anybody who has only the samples.

Source: averaged periodograms (P. D. Welch, 1967); harmonics of a train of steps fall with the first power of the
frequency (textbook). The factors are measured on noise and on blinking without a carrier.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchtest.signals.series import Moments, Sampled, Uneven

RESOLUTION: Final = 0.64
"""Seconds of one periodogram: long beside a carrier, short beside a code."""
PARTS: Final = 32
"""Periodograms averaged; a longer record is looked at in places."""
NEIGHBOURS: Final = 12
"""Bins on each side whose median is the noise."""
LINE: Final = (8.0, 3.0)
"""A narrow line: so many times over the noise beside it, and over the edges' power below it."""
BROAD: Final = (2.5, 7.0)
"""A line that the rhythm itself has made broad."""
MOST: Final = 3
"""Carriers that are looked for."""
SAME: Final = 0.04
"""Relative; a multiple of a carrier as near as this is its harmonic."""


def carriers(series: Sampled | Uneven, *, slowest: float) -> tuple[float, ...]:
    """Return the frequencies in hertz of carriers above `slowest`, as the samples show them, the strongest first."""
    samples, rate = _even(series)
    length = 1 << max(5, round(np.log2(max(rate * RESOLUTION, 1.0))))
    if samples.size < length or slowest >= rate / 2:
        return ()
    power = _power(samples, length)
    steps = rate / length
    frequencies = np.arange(power.size) * steps
    edges = np.maximum.accumulate(power * frequencies**2)
    below = edges[(np.arange(power.size) * 0.6).astype(int)]
    inner = np.zeros(power.size, bool)
    inner[1:-1] = (power[1:-1] >= power[:-2]) & (power[1:-1] >= power[2:])
    inner[-1] = power[-1] >= power[-2]
    noise, strength = _noise(power), power * frequencies**2
    stands_out = np.any([(power > over * noise) & (strength > edge * below) for over, edge in (LINE, BROAD)], axis=0)
    peaks = np.flatnonzero(inner & stands_out & (frequencies > slowest))
    found: list[float] = []
    for peak in peaks[np.argsort(-power[peaks], kind="stable")]:
        frequency = (int(peak) + _aside(power, int(peak))) * steps
        if len(found) < MOST and not any(_harmonic(frequency, other) for other in found):
            found.append(float(frequency))
    return tuple(found)


def _even(series: Sampled | Uneven) -> tuple[Moments, float]:
    """Return samples at even intervals without gaps, and their rate."""
    values = np.asarray(series.values, float)
    if isinstance(series, Sampled):
        return values, series.rate
    if series.times.size < 2:
        return values, 1.0
    interval = float(np.median(np.diff(series.times)))
    moments = np.arange(series.begin, series.end, interval)
    return np.interp(moments, series.times, values), 1 / interval


def _power(samples: Moments, length: int) -> NDArray[np.float64]:
    parts = max(1, min(PARTS, 2 * samples.size // length - 1))
    starts = np.linspace(0, samples.size - length, parts).astype(int)
    rows = samples[starts[:, None] + np.arange(length)]
    rows = (rows - rows.mean(axis=1, keepdims=True)) * np.hanning(length)
    return np.asarray((np.abs(np.fft.rfft(rows, axis=1)) ** 2).mean(axis=0))


def _noise(power: NDArray[np.float64]) -> NDArray[np.float64]:
    padded = np.pad(power, NEIGHBOURS, mode="reflect")
    beside = np.lib.stride_tricks.sliding_window_view(padded, 2 * NEIGHBOURS + 1)
    return np.asarray(np.partition(beside, NEIGHBOURS, axis=1)[:, NEIGHBOURS])  # the median of an odd number


def _aside(power: NDArray[np.float64], peak: int) -> float:
    """Return how far beside a bin the peak lies: the top of the parabola through the logarithms."""
    if not 0 < peak < power.size - 1:
        return 0.0
    left, middle, right = np.log(power[peak - 1 : peak + 2] + 1e-300)
    curve = left - 2 * middle + right
    return float(np.clip(0.5 * (left - right) / curve, -0.5, 0.5)) if curve < 0 else 0.0


def _harmonic(frequency: float, other: float) -> bool:
    times = round(frequency / other)
    return times >= 1 and abs(frequency / other - times) < SAME * times
