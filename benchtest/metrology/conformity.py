"""How likely it is that an item conforms, given what was read, and what is risked by the word that was said.

What is known of the true value is a normal distribution about the reading; with few degrees of freedom it is Student's
t, scaled and shifted (JCGM 101:2008, 6.4.9), so that a reading by k·u inside a limit always carries the same risk.

Source: JCGM 106:2012, 7.2 to 7.4 (probability of conformity), 9.3.2 (specific risks); clauses from memory.
"""

import math
from dataclasses import dataclass

from benchtest.metrology.coverage import below
from benchtest.metrology.decision import Word, inside


@dataclass(frozen=True, kw_only=True, slots=True)
class Risk:
    """What one word about one reading risks."""

    conformity: float
    """Probability that the true value is permitted."""
    consumer: float | None
    """Specific consumer's risk: that the item was accepted and does not conform. None when it was not accepted."""
    producer: float | None
    """Specific producer's risk: that the item was rejected and does conform. None when it was not rejected."""


def conformity(
    value: float, standard: float, *, low: float | None, high: float | None, freedom: float = math.inf
) -> float:
    """Return the probability that the true value lies within the limits. JCGM 106:2012, 7.2 to 7.4.

    Without any uncertainty it is 1 or 0; not a number when something is not.
    """
    return 1.0 - nonconformity(value, standard, low=low, high=high, freedom=freedom)


def nonconformity(
    value: float, standard: float, *, low: float | None, high: float | None, freedom: float = math.inf
) -> float:
    """Return the probability that the true value lies outside the limits, small ones without loss of digits."""
    if not (math.isfinite(value) and math.isfinite(standard) and standard >= 0):
        return math.nan
    if standard == 0:
        return 0.0 if inside(value, low=low, high=high) else 1.0
    under = 0.0 if low is None else below((low - value) / standard, freedom)
    over = 0.0 if high is None else below((value - high) / standard, freedom)
    return min(under + over, 1.0)  # two halves of a distribution may round to more than a whole; a NaN stays one


def specific_risk(
    word: Word, value: float, standard: float, *, low: float | None, high: float | None, freedom: float = math.inf
) -> Risk | None:
    """Return what a word about a reading risks; None where nothing can be said: no uncertainty, over range, a NaN."""
    outside = nonconformity(value, standard, low=low, high=high, freedom=freedom)
    if math.isnan(outside) or standard == 0:
        return None
    accepted, rejected = word in {"pass", "conditional pass"}, word in {"fail", "conditional fail"}
    conforms = 1.0 - outside
    return Risk(conformity=conforms, consumer=outside if accepted else None, producer=conforms if rejected else None)
