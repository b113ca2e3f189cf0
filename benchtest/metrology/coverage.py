"""How many standard uncertainties cover a stated probability: Student's t for few degrees of freedom.

The probability is stated by the factor that a normal distribution needs for it: 2 is 2Φ(2) - 1 = 95.449 973… %, which
the papers print as 95.45 %. Table G.2 of the GUM is meant in this way; taken literally, 99.73 % gives 235.78 instead of
235.80 for one degree of freedom. Effective degrees of freedom are truncated to the next lower whole number, so that
the sums below are finite and exact.

Source: JCGM 100:2008 (GUM), G.3, G.4.1, G.6.4; M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964),
26.7.3, 26.7.4 and 26.7.5 (from memory); for many degrees of freedom G. W. Hill, Communications of the ACM 13 (1970),
algorithm 395 (from memory). GTC and SciPy judge all of it in the tests.
"""

import math
from functools import lru_cache
from statistics import NormalDist
from typing import Final

MANY: Final = 200
"""Degrees of freedom from which the expansions are as good as the sums, to more than ten digits."""

PRINTED: Final = {0.6827: 1.0, 0.9545: 2.0, 0.9973: 3.0}
"""Probabilities whose four printed digits mean a whole factor."""


def probability(coverage: float) -> float:
    """Return the probability that a factor for a normal distribution covers: 0.9544997… for 2."""
    return math.erf(coverage / math.sqrt(2))


def normal_factor(share: float) -> float:
    """Return the factor for a normal distribution that covers a probability between 0 and 1; 2 for 0.9545."""
    if not 0 < share < 1:
        raise ValueError(f"a coverage probability of {share!r} (expected one between 0 and 1, such as 0.9545)")
    return PRINTED.get(round(share, 12)) or NormalDist().inv_cdf((1 + share) / 2)


def whole(freedom: float) -> float:
    """Return degrees of freedom as the GUM uses them: truncated to a whole number, infinity and NaN as they are.

    A last bit that a sum has lost does not turn 16 into 15. JCGM 100:2008, G.4.1.
    """
    return float(math.floor(freedom * (1 + 1e-12))) if math.isfinite(freedom) else freedom


def factor(freedom: float, coverage: float = 2.0) -> float:
    """Return the coverage factor k at effective degrees of freedom; `coverage` itself when they are infinite.

    Infinite below one degree of freedom, where nothing is known; not a number when `freedom` is not.
    """
    if math.isinf(freedom):
        return coverage
    if math.isnan(freedom):
        return math.nan
    return _quantile(int(whole(freedom)), coverage) if whole(freedom) >= 1 else math.inf


def below(t: float, freedom: float = math.inf) -> float:
    """Return the probability that a standard normal value, or Student's t, lies below `t`."""
    if math.isnan(freedom) or whole(freedom) < 1:
        return math.nan
    number = whole(freedom)
    if math.isinf(t) or math.isinf(number):
        return 0.5 * math.erfc(-t / math.sqrt(2))
    if number >= MANY:
        return 0.5 * math.erfc(-_normal_deviate(t, number) / math.sqrt(2))
    return 0.5 + math.copysign(_within(abs(t), int(number)) / 2, t)


def _within(t: float, freedom: int) -> float:
    """Return the probability between -t and t. 26.7.3 for odd, 26.7.4 for even degrees of freedom."""
    angle = math.atan(t / math.sqrt(freedom))
    square, odd = math.cos(angle) ** 2, freedom % 2
    term = total = (math.cos(angle) if freedom > 1 else 0.0) if odd else 1.0
    for step in range(2 + odd, freedom - 1, 2):
        term *= square * (step - 1) / step
        total += term
    total *= math.sin(angle)
    return min(2 / math.pi * (angle + total) if odd else total, 1.0)  # a sum may round to more than all


def _density(t: float, freedom: int) -> float:
    constant = math.exp(math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2)) / math.sqrt(freedom * math.pi)
    return constant * math.pow(1 + t * t / freedom, -(freedom + 1) / 2)


def _normal_deviate(t: float, freedom: float) -> float:
    """Return the normal deviate that has the probability of `t`. Algorithm 395."""
    a = freedom - 0.5
    b = 48 * a * a
    y = a * math.log1p(t * t / freedom)
    root = (((((-0.4 * y - 3.3) * y - 24) * y - 85.5) / (0.8 * y * y + 100 + b) + y + 3) / b + 1) * math.sqrt(y)
    return math.copysign(root, t)


@lru_cache(maxsize=4096)
def _quantile(freedom: int, coverage: float) -> float:
    """Return t so that the share of `coverage` lies within ±t.

    The distribution is concave above zero, so that Newton's steps from below never go too far.
    """
    if freedom >= MANY:
        return _expanded(coverage, freedom)
    wanted, t = probability(coverage), coverage
    for _ in range(100):
        step = (wanted - _within(t, freedom)) / (2 * _density(t, freedom))
        t += step
        if abs(step) <= 1e-13 * t:
            break
    return t


def _expanded(z: float, freedom: int) -> float:
    """Return t from a normal deviate by the expansion in powers of 1/freedom. 26.7.5."""
    terms = (
        (z**3 + z) / 4,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
        (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160,
    )
    return z + math.fsum(term / math.pow(freedom, power) for power, term in enumerate(terms, 1))
