"""Chance, all of it from one seed: what this specimen of a board is like, and what its converters add.

Every quantity draws from a stream of its own, named after it, so that a fault or an option in one place does not
shift the values of another. This is the only module of the simulator that makes random numbers.
"""

import math
from functools import cached_property
from typing import Final, Protocol
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

SPREAD: Final = 0.06
"""Half-width of a good board's values about the middle, as share of the way to the limit."""
SHARE_OF_MAXIMUM: Final = 0.55
"""Where a quantity lies that has an upper limit only."""
_POOL: Final = 1 << 17


class Interval(Protocol):
    """A pair of limits; infinite where there is none (`profile.board.Limits`)."""

    @property
    def low(self) -> float: ...

    @property
    def high(self) -> float: ...


class Chance:
    """Named streams of random numbers."""

    def __init__(self, seed: int) -> None:
        self.seed = seed

    @cached_property
    def _pool(self) -> NDArray[np.float32]:
        return self.stream("converter noise").standard_normal(_POOL, dtype=np.float32)

    @cached_property
    def most(self) -> float:
        """No number of `gaussian` is further from zero."""
        return float(np.abs(self._pool).max())

    def stream(self, name: str) -> np.random.Generator:
        """Return the stream of that name, from its beginning."""
        return np.random.default_rng([self.seed & 0xFFFFFFFF, crc32(name.encode())])

    def between(self, name: str, low: float, high: float) -> float:
        """Return this specimen's value of `name`, anywhere from `low` to `high`."""
        return float(self.stream(name).uniform(low, high))

    def middle(self, name: str, limits: Interval | None, *, default: float, share: float = SHARE_OF_MAXIMUM) -> float:
        """Return a good specimen's value: the middle of two limits, `share` of a lone maximum, twice a lone minimum."""
        spread = self.between(name, -SPREAD, SPREAD)
        if limits is None:
            return default * (1 + spread)
        if math.isinf(limits.low):
            return limits.high * share * (1 + spread)
        if math.isinf(limits.high):
            return limits.low * 2.0 * (1 + spread)
        return (limits.low + limits.high) / 2 + (limits.high - limits.low) / 2 * spread

    def gaussian(self, count: int, *, offset: float) -> NDArray[np.float32]:
        """Return `count` standard normal numbers, a stretch of one long pool; `offset` (0 to 1) says which."""
        pool = self._pool if count < _POOL else np.resize(self._pool, 2 * count)
        begin = int(offset * (len(pool) - count))
        return pool[begin : begin + count]
