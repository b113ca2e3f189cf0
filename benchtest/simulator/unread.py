"""Samples of a simulated recording that nobody has looked at yet.

A row keeps what its channel saw and which stretch of noise lies on it; its codes are made when they are asked for, and
are the same whenever that is. Where a channel rested, what no sample can lie outside is told without making one.
"""

from collections.abc import Sequence
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchtest.simulator.converter import Converter
from benchtest.simulator.noise import Chance
from benchtest.simulator.signal import Signal, ends
from benchtest.simulator.trace import Samples

WHOLE: Final = slice(None)


class Row(NamedTuple):
    """One channel of a recording."""

    seen: Signal | float
    """A number where it rested all the while."""
    converter: Converter
    stretch: float
    """Which stretch of the noise, from 0 to 1."""


class Moments:
    """When samples are taken, in scene time."""

    def __init__(self, start: float, step: float, count: int) -> None:
        self.start, self.step, self.count = start, step, count

    @cached_property
    def all(self) -> Samples:
        return self.start + np.arange(self.count, dtype=np.float64) * self.step

    def at(self, sample: int) -> float:
        """Return the moment of one sample; -1 is the last."""
        return self.start + (sample % self.count) * self.step


class Unread:
    """An `instruments.Latent`."""

    dtype = np.dtype(np.int16)

    def __init__(self, rows: Sequence[Row], moments: Moments, chance: Chance) -> None:
        self.shape = len(rows), moments.count
        self._rows, self._moments, self._chance = rows, moments, chance
        self._made: dict[int, NDArray[np.int16]] = {}

    def __getitem__(self, place: int | tuple[int, slice]) -> NDArray[np.int16]:
        """Return the samples of one channel, or a stretch of them."""
        row, part = place if isinstance(place, tuple) else (place, WHOLE)
        if row in self._made:
            return self._made[row][part]
        seen, converter, stretch = self._rows[row]
        noise = self._chance.gaussian(self._moments.count, offset=stretch)[part]
        codes = converter.codes(seen if isinstance(seen, float) else seen.sample(self._moments.all[part]), noise)
        if part == WHOLE:
            self._made[row] = codes
        return codes

    def __array__(self, dtype: None = None, copy: bool | None = None) -> NDArray[np.int16]:
        """Return all samples."""
        del dtype, copy
        codes = np.empty(self.shape, self.dtype)
        for row in range(len(self._rows)):
            codes[row] = self[row]
        return codes

    def reach(self, row: int, begin: int, end: int) -> tuple[float, float]:
        """Return two codes, not always whole ones, that none of these samples lies outside."""
        seen, converter, _ = self._rows[row]
        if not isinstance(seen, float):
            seen = seen.during(self._moments.at(begin), self._moments.at(end - 1))
        if (known := ends(seen)) is not None:
            return converter.reach(*known, self._chance.most)
        codes = self[row, begin:end]
        return int(codes.min()), int(codes.max())
