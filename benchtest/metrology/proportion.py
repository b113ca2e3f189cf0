"""How well a proportion is known from counting: exact binomial limits.

Source: C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404: the limits are those proportions for which a count as
extreme as the one seen has just the probability that is given up. They are quantiles of beta distributions (Johnson,
Kotz and Kemp, from memory).
"""

from scipy import special


def upper(count: int, of: int, confidence: float = 0.95) -> float:
    """Return the one-sided upper limit of a proportion after `count` in `of`; raise ValueError for no such count."""
    _refuse(count, of, confidence)
    return 1.0 if count == of else float(special.betaincinv(count + 1, of - count, confidence))


def lower(count: int, of: int, confidence: float = 0.95) -> float:
    """Return the one-sided lower limit of a proportion after `count` in `of`; raise ValueError for no such count."""
    return 1.0 - upper(of - count, of, confidence)


def _refuse(count: int, of: int, confidence: float) -> None:
    if not (0 <= count <= of and of > 0 and 0 < confidence < 1):
        raise ValueError(f"{count} in {of} at {confidence} is no proportion (0 ≤ count ≤ of, 0 < confidence < 1)")
