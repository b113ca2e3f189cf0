"""Captures drawn by hand: contacts, coils, supplies, in SI units."""

import numpy as np
from numpy.typing import NDArray

from benchtest.measure.measured import Input, Measured, Quantity
from benchtest.signals.series import Sampled, Series, Stamped, Uneven

RATE = 100e3
OPEN, MADE = 12.0, 0.02


def channel(series: Series, name: str = "K3", unit: str = "V") -> Input:
    """Return a channel of a capture."""
    return Input(name=name, unit=unit, series=series)


def contact(*made: tuple[float, float], duration: float = 0.2, rate: float = RATE, noise: float = 0.0) -> Sampled:
    """Return volts across a contact that is made in these stretches of seconds."""
    moments = np.arange(round(duration * rate)) / rate
    values = np.full(moments.size, OPEN)
    for begin, end in made:
        values[(moments >= begin) & (moments < end)] = MADE
    return Sampled(values=values + np.random.default_rng(1).normal(0, noise, moments.size), rate=rate)


def level(*high: tuple[float, float], volts: float = 24.0, duration: float = 0.2, rate: float = RATE) -> Sampled:
    """Return a level that is high in these stretches of seconds."""
    moments = np.arange(round(duration * rate)) / rate
    inside = np.any([(moments >= begin) & (moments < end) for begin, end in high], axis=0)
    return Sampled(values=np.where(inside, volts, 0.0), rate=rate)


def uneven(series: Sampled, seed: int = 1) -> Uneven:
    """Return the same record with a tenth of its samples dropped."""
    kept = np.sort(np.random.default_rng(seed).permutation(series.values.size)[: series.values.size * 9 // 10])
    return Uneven(values=series.values[kept], times=series.moments(kept))


def stamped(*made: tuple[float, float], duration: float = 0.2) -> Stamped:
    """Return the changes of a contact that is made (below) in these stretches."""
    edges = sorted([(begin, False) for begin, _ in made] + [(end, True) for _, end in made if end < duration])
    times: NDArray[np.float64] = np.array([moment for moment, _ in edges], float)
    rising = np.array([up for _, up in edges], bool)
    return Stamped(times=times, rising=rising, first=True, begin=0.0, end=duration)


def told(measured: Measured) -> dict[str, Quantity]:
    """Return quantities by name."""
    return {one.name: one for one in measured.quantities}
