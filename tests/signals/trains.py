"""Bounce trains with a known truth, recorded in the three ways that a signal can come: evenly, unevenly, stamped."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchtest.signals.series import Moments, Sampled, Series, Stamped, Uneven

OPEN, MADE = 12.0, 0.02
LOW, HIGH = 1.2, 10.8
"""A tenth and nine tenths of the open-circuit voltage."""


@dataclass(frozen=True, kw_only=True)
class Train:
    """A contact that is open, makes at the first moment, and changes at each further one; made at the last."""

    moments: Moments
    duration: float

    def made(self, at: Moments) -> NDArray[np.bool_]:
        """Return the true state at moments."""
        return np.asarray(np.searchsorted(self.moments, at, side="right") % 2 == 1)

    def volts(self, at: Moments, noise: NDArray[np.float64] | float = 0.0) -> NDArray[np.float64]:
        """Return the voltage across the contact."""
        return np.where(self.made(at), MADE, OPEN) + noise

    def recorded(self, kind: str, *, rate: float, rng: np.random.Generator) -> Series:
        """Return the train as one kind of series with the mean rate (or stamp) 1 / `rate`."""
        even = np.arange(int(self.duration * rate)) / rate
        if kind == "sampled":
            return Sampled(values=self.volts(even, rng.normal(0, 0.2, even.size)), rate=rate)
        if kind == "uneven":
            times = even + rng.uniform(0.0, 0.9, even.size) / rate
            return Uneven(values=self.volts(times), times=times)
        stamps = np.round(self.moments * rate) / rate
        rising = np.arange(stamps.size) % 2 == 1
        return Stamped(times=stamps, rising=rising, first=True, begin=0.0, end=self.duration, resolution=1 / rate)


def random_train(rng: np.random.Generator, *, shortest: float) -> Train:
    """Return a train whose states each last longer than `shortest` seconds."""
    returns = int(rng.integers(0, 8))
    lengths = shortest + rng.exponential(3e-4, 2 * returns)
    first = rng.uniform(1e-3, 20e-3)
    moments = first + np.concatenate(([0.0], np.cumsum(lengths)))
    return Train(moments=moments, duration=float(moments[-1]) + 10e-3)


def walked(samples: list[float], low: float, high: float) -> list[tuple[int, bool]]:
    """Walk through the samples as a comparator with hysteresis would: the plain reference."""
    state: bool | None = None
    found: list[tuple[int, bool]] = []
    for position, sample in enumerate(samples):
        new = True if sample >= high else False if sample <= low else state
        if state is not None and new is not None and new is not state:
            found.append((position, new))
        state = new
    return found
