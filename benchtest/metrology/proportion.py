"""How well a proportion is known from counting: exact binomial limits.

Source: C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404: the limits are those proportions for which a count as
extreme as the one seen has just the probability that is given up. Checked against SciPy's beta distribution.
"""

import math
from collections.abc import Callable
from typing import Final

_HALVINGS: Final = 60
"""Of the interval from 0 to 1: less than the last bit of a double."""


def upper(count: int, of: int, confidence: float = 0.95) -> float:
    """Return the one-sided upper limit of a proportion after `count` in `of`; raise ValueError for no such count."""
    _refuse(count, of, confidence)
    if count == of:
        return 1.0
    return _falling(lambda share: _at_most(count, of, share), 1 - confidence)


def lower(count: int, of: int, confidence: float = 0.95) -> float:
    """Return the one-sided lower limit of a proportion after `count` in `of`; raise ValueError for no such count."""
    _refuse(count, of, confidence)
    return 1.0 - upper(of - count, of, confidence)


def _refuse(count: int, of: int, confidence: float) -> None:
    if not (0 <= count <= of and of > 0 and 0 < confidence < 1):
        raise ValueError(f"{count} in {of} at {confidence} is no proportion (0 ≤ count ≤ of, 0 < confidence < 1)")


def _at_most(count: int, of: int, share: float) -> float:
    """Return the probability of at most `count` in `of`, for a share strictly between 0 and 1."""
    return math.fsum(math.exp(_log_binomial(number, of, share)) for number in range(count + 1))


def _log_binomial(number: int, of: int, share: float) -> float:
    ways = math.lgamma(of + 1) - math.lgamma(number + 1) - math.lgamma(of - number + 1)
    return ways + number * math.log(share) + (of - number) * math.log1p(-share)


def _falling(function: Callable[[float], float], wanted: float) -> float:
    """Return where a falling function of 0 to 1 has the wanted value."""
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if 0 < middle < 1 and function(middle) > wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2
