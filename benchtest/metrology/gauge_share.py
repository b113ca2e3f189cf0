"""Confidence limits of the gauge's share of the variance that hold it as often as they state.

If the gauge has the share y, the expected mean square of the boards is made up of those of the other sources, each with
a weight that y gives. The ratio of the two is compared with critical values; the limits of y are where it meets them.
With one other source this is the F test, and exact. With more, the critical value depends on how much each source adds,
which only the mean squares themselves tell, an operator's with very few degrees of freedom.

The upper limit has the critical value of generalised pivots: it misses the share less often than it may, and nothing
closer is safe however the ratio is made up. The lower limit of pivots misses it too often, and both come out at 95 to
96 % together. So its critical value is put where both together miss as often as stated; and as what the ratio is made
up of is estimated, it is corrected for the error of that, as Welch corrects the test of two means. This is worked out
once for the degrees of freedom of a study, on a grid of what the ratio may be made up of, over a fixed Sobol sequence.

Source: B. L. Welch, Biometrika 34 (1947) 28, for critical values that follow the estimated variances; M. Hamada,
S. Weerahandi, J. Quality Technology 32 (2000) 241, for the pivots (both from memory); the correction by simulation is
our own. SciPy's F distribution judges it in the tests, and `benchtest study coverage` counts.
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from scipy import ndimage, special

from benchtest.metrology.pivots import Numbers, pivots

POINTS: Final = 13
"""Power of two: simulated studies for each place of the grid."""
STEPS: Final = 12
"""Of the grid, in each direction."""
ROUNDS: Final = 5
"""Of correction."""
HALVINGS: Final = 60
"""Of the range in which a limit is looked for."""
ORDER: Final = ("operator", "repeat", "interaction")


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Critical:
    """Logarithms of the critical ratios, on a grid over what the sum may be made up of."""

    low: Numbers
    high: Numbers


def gauge_share(
    squares: Mapping[str, Numbers], freedoms: Mapping[str, int], shape: tuple[int, int, int], confidence: float
) -> tuple[Numbers, Numbers]:
    """Return limits of the gauge's share of the variance for mean squares `board`, `repeat`, and those there are.

    As many studies at once as the arrays have elements.
    """
    names = tuple(name for name in ORDER if name in freedoms)
    table = critical((freedoms["board"], *(freedoms[name] for name in names)), confidence)
    others = np.stack([squares[name] for name in names])
    gauge, board = (np.array(column)[:, None] for column in zip(*_weights(names, shape), strict=True))

    def ratio(share: Numbers) -> tuple[Numbers, Numbers]:
        parts = ((1 - share) * gauge + share * board) * others
        with np.errstate(divide="ignore", invalid="ignore"):  # mean squares may be zero; NaN is not below
            return np.log(share * squares["board"] * board.sum() / parts.sum(axis=0)), _places(parts)

    def where(level: Numbers) -> Numbers:
        low, high = np.zeros_like(squares["board"]), np.ones_like(squares["board"])
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            found, places = ratio(middle)
            below = found < _at(level, places)
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return high

    return where(table.low), where(table.high)


def _weights(names: tuple[str, ...], shape: tuple[int, int, int]) -> list[tuple[float, float]]:
    """Return the weight of each mean square in the variance of the gauge, and in what is taken from the boards'."""
    parts, operators, repeats = shape
    by_operator = 1 / (parts * repeats) if "operator" in names else 0.0
    inner = "interaction" if "interaction" in names else "repeat"
    weights = {"operator": by_operator, "repeat": 1.0, "interaction": 0.0}
    weights["repeat"] -= 1 / repeats if inner == "interaction" else 0.0
    weights["interaction"] += 1 / repeats if inner == "interaction" else 0.0
    weights[inner] -= by_operator
    return [(weights[name], (name == inner) / (operators * repeats)) for name in names]


def _places(parts: Numbers) -> Numbers:
    """Return where on the grid a sum of such parts lies: the share of each among itself and those that follow.

    Angles whose squared sine is the share: the grid is finer near nothing and near all.
    """
    left = np.cumsum(parts[::-1], axis=0)[::-1]
    shares = np.divide(parts[:-1], left[:-1], out=np.zeros_like(parts[:-1]), where=left[:-1] > 0)
    return np.asarray(np.arcsin(np.sqrt(np.minimum(1.0, shares))) * (2 / np.pi * STEPS), np.float64)


def _at(table: Numbers, places: Numbers) -> Numbers:
    """Return the values of a table at places of the grid, linear in between."""
    return np.asarray(ndimage.map_coordinates(table, places, order=1) if len(places) else table, np.float64)


@lru_cache(maxsize=16)
def critical(freedoms: tuple[int, ...], confidence: float) -> Critical:
    """Return the critical ratios for the degrees of freedom of the boards and of the other sources."""
    tails = (1 - confidence) / 2, (1 + confidence) / 2
    if len(freedoms) == 2:
        low, high = (np.log(np.full((), special.fdtri(*freedoms, tail))) for tail in tails)
        return Critical(low=low, high=high)
    grid = (STEPS + 1,) * (len(freedoms) - 2)
    points = pivots(freedoms, POINTS).T / np.array(freedoms)[:, None]
    board, others = np.log(points[0]), points[1:]
    sums = [_made_up(steps) for steps in itertools.product(range(STEPS + 1), repeat=len(grid))]
    by_pivots = [np.quantile(board + np.log((parts / others).sum(axis=0)), tails) for parts in sums]
    found = [(board - np.log((parts * others).sum(axis=0)), _places(parts * others)) for parts in sums]
    start, high = (np.reshape(column, grid) for column in zip(*by_pivots, strict=True))
    return Critical(low=_corrected(start, high, found, 1 - confidence), high=high)


def _corrected(low: Numbers, high: Numbers, found: Sequence[tuple[Numbers, Numbers]], missing: float) -> Numbers:
    """Return lower critical ratios with which both together miss as often as they may, in studies of every kind."""
    above = [float(np.mean(ratios > _at(high, places))) for ratios, places in found]
    for _ in range(ROUNDS):
        wrong = [
            np.quantile(ratios - _at(low, places), max(0.0, missing - missed))
            for (ratios, places), missed in zip(found, above, strict=True)
        ]
        low = low + np.reshape(wrong, low.shape)
    return low


def _made_up(steps: tuple[int, ...]) -> Numbers:
    """Return the parts of a sum of one that lies at a place of the grid, in a column."""
    shares = np.sin(np.array(steps) / STEPS * np.pi / 2) ** 2
    left = np.cumprod(np.concatenate([[1.0], 1 - shares]))
    return np.asarray(left * np.concatenate([shares, [1.0]]), np.float64)[:, None]
