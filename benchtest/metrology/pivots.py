"""Points for generalised pivots: what chi-squared variables may be, all at once, without chance.

A Sobol sequence fills the unit cube evenly, and each coordinate becomes a chi-squared variable. The sequence is fixed,
so that the same readings give the same limits.
"""

from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import special
from scipy.stats import qmc

Numbers: TypeAlias = NDArray[np.float64]
POINTS: Final = 14
"""The Sobol sequence has two to this power points."""


@lru_cache(maxsize=8)
def pivots(freedoms: tuple[int, ...], power: int = POINTS) -> Numbers:
    """Return points that fill the space of independent chi-squared variables evenly, one column for each."""
    points = qmc.Sobol(len(freedoms), scramble=False).random_base2(power)
    points = points + 0.5 ** (power + 1)  # off the edges, into the middle of each interval
    columns = [special.chdtri(freedom, 1 - points[:, i]) for i, freedom in enumerate(freedoms)]
    return np.column_stack(columns).astype(np.float64)
