"""Samples of a simulated recording that nobody has looked at yet.

A row keeps what its channel saw and which stretch of noise lies on it; its codes are made when they are asked for, and
are the same whenever that is. Of a channel that rested, what no sample can lie outside is told without making one.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchtest.simulator.converter import Converter
from benchtest.simulator.noise import Chance
from benchtest.simulator.trace import Samples


class Row(NamedTuple):
    """One channel of a recording."""

    values: Samples | float
    """What it saw; one number when that was the same all the while."""
    converter: Converter
    stretch: float
    """Which stretch of the noise, from 0 to 1."""


class Unread:
    """An `instruments.Latent`."""

    dtype = np.dtype(np.int16)

    def __init__(self, rows: Sequence[Row], count: int, chance: Chance) -> None:
        self.shape = len(rows), count
        self._rows, self._chance = rows, chance
        self._made: dict[int, NDArray[np.int16]] = {}

    def __getitem__(self, row: int) -> NDArray[np.int16]:
        """Return the samples of one channel."""
        made = self._made.get(row)
        if made is None:
            values, converter, stretch = self._rows[row]
            noise = self._chance.gaussian(self.shape[1], offset=stretch)
            made = self._made[row] = converter.codes(values, noise)
        return made

    def __array__(self, dtype: None = None, copy: bool | None = None) -> NDArray[np.int16]:
        """Return all samples."""
        del dtype, copy
        codes = np.empty(self.shape, self.dtype)
        for row in range(len(self._rows)):
            codes[row] = self[row]
        return codes

    def reach(self, row: int, begin: int, end: int) -> tuple[int, int]:
        """Return two codes that none of these samples lies outside."""
        values, converter, _ = self._rows[row]
        if isinstance(values, float):
            return converter.reach(values, self._chance.most)
        codes = self[row][begin:end]
        return int(codes.min()), int(codes.max())
