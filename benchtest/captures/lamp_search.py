"""Finding a lamp in a film: the connected pixels that change together.

The film is looked at once, reduced to at most 160 pixels a side. For every pixel the darkest and the brightest moment
are kept, and up to 512 whole pictures: when they are full, every second one goes and only every second one is taken
from then on, so memory does not grow with the length. Pixels whose span stands out from what the rest of the picture
does are candidates; neighbours belong together when their courses correlate. Wholly our own way; the thresholds are
measured on films in the tests.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchtest.captures.film import Picture

SIDE: Final = 160
KEPT: Final = 512
LEAST_SPAN: Final = 24
"""Levels of 255 by which a lamp changes at least: above noise and artefacts of compression."""
SHARE: Final = 0.4
"""Share of the widest span that a pixel of a lamp has at least."""
TOGETHER: Final = 0.7
"""Correlation of neighbours that belong to one lamp."""
LEAST_AREA: Final = 0.05
"""Share of the largest patch below which another one is a reflection or a fleck."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Region:
    """A rectangle of the picture, in pixels."""

    left: int
    top: int
    width: int
    height: int

    def __str__(self) -> str:
        return f"{self.left},{self.top},{self.width},{self.height}"


def find_lamps(pictures: Iterable[Picture]) -> list[Region]:
    """Return the regions of the lamps in reduced pictures, the largest first; none when nothing changes."""
    low, high, kept = _course(pictures)
    span = high.astype(np.int16) - low
    noise = float(np.median(span))
    candidates = (span >= max(LEAST_SPAN, SHARE * float(span.max()))) & (span > 2 * noise)
    patches = _patches(candidates, np.stack(kept).astype(np.float32))
    largest = max((len(patch) for patch in patches), default=0)
    lamps = [patch for patch in patches if len(patch) >= max(1, LEAST_AREA * largest)]
    return [_around(patch) for patch in sorted(lamps, key=len, reverse=True)]


def _course(pictures: Iterable[Picture]) -> tuple[Picture, Picture, list[Picture]]:
    """Return the darkest and the brightest of every pixel, and pictures spread evenly over the film."""
    kept: list[Picture] = []
    low = high = np.zeros((0, 0), np.uint8)
    every = 1
    for place, picture in enumerate(pictures):
        low, high = (np.minimum(low, picture), np.maximum(high, picture)) if place else (picture, picture)
        if place % every == 0:
            kept.append(picture)
        if len(kept) > KEPT:
            kept, every = kept[::2], 2 * every
    return low, high, kept


def _patches(candidates: NDArray[np.bool_], pictures: NDArray[np.float32]) -> list[list[tuple[int, int]]]:
    """Return groups of candidates that touch and change together."""
    normal = _normal(pictures)
    free = candidates.copy()
    seeds = (tuple(seed) for seed in np.argwhere(candidates))
    return [_grown(seed, free, normal) for seed in seeds if free[seed]]


def _normal(pictures: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the courses of all pixels with mean 0 and length 1, so that a product of two is their correlation."""
    pictures -= pictures.mean(axis=0)
    length = np.sqrt((pictures**2).sum(axis=0))
    pictures /= np.where(length > 0, length, 1)
    return pictures


def _grown(seed: tuple[int, ...], free: NDArray[np.bool_], normal: NDArray[np.float32]) -> list[tuple[int, int]]:
    """Return the patch around a seed, and take its pixels out of the free ones."""
    row, column = seed
    free[row, column] = False
    patch, front = [(row, column)], [(row, column)]
    while front:
        row, column = front.pop()
        course = normal[:, row, column]
        for near_row in range(max(0, row - 1), min(free.shape[0], row + 2)):
            for near_column in range(max(0, column - 1), min(free.shape[1], column + 2)):
                if free[near_row, near_column] and float(course @ normal[:, near_row, near_column]) >= TOGETHER:
                    free[near_row, near_column] = False
                    patch.append((near_row, near_column))
                    front.append((near_row, near_column))
    return patch


def _around(patch: list[tuple[int, int]]) -> Region:
    rows, columns = zip(*patch, strict=True)
    top, left = min(rows), min(columns)
    return Region(left=left, top=top, width=max(columns) - left + 1, height=max(rows) - top + 1)
