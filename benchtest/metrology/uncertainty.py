"""Standard uncertainties, their combination, and the budgets of what this bench reads.

Every contribution is a `Term`: a name and a standard uncertainty in the unit of the result, sensitivity included.
Terms are taken as independent and combine as root of the sum of squares. Where two channels of one instrument are
subtracted, their gain errors would partly cancel; they are nevertheless taken as independent, which errs to the safe
side and needs no knowledge of the instrument's inside.

An accuracy statement `± (of_reading + plus)` is one bound on one error: its two parts add before they are divided.

Source: JCGM 100:2008 (GUM); clauses at the functions.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

BLOCKS = 20
"""Blocks that a record is cut into for the scatter of its mean: enough for a steady estimate (common practice)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Term:
    """One contribution to a budget."""

    name: str
    standard: float
    """Standard uncertainty in the unit of the result."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Budget:
    """All contributions to one result."""

    terms: tuple[Term, ...]

    @property
    def standard(self) -> float:
        """Combined standard uncertainty."""
        return combined(term.standard for term in self.terms)


def rectangular(half_width: float) -> float:
    """Return the standard uncertainty of a value known only to lie within ±`half_width`. JCGM 100:2008, 4.3.7."""
    return half_width / math.sqrt(3)


def triangular(half_width: float) -> float:
    """Return the standard uncertainty of a value within ±`half_width`, likelier near the middle.

    JCGM 100:2008, 4.3.9.
    """
    return half_width / math.sqrt(6)


def arcsine(half_width: float) -> float:
    """Return the standard uncertainty of a value that swings like a sine within ±`half_width`.

    JCGM 100:2008, H.1.3.4.
    """
    return half_width / math.sqrt(2)


def resolution(step: float) -> float:
    """Return the standard uncertainty that a display or converter of this step leaves. JCGM 100:2008, F.2.2.1."""
    return step / math.sqrt(12)


def combined(standards: Iterable[float]) -> float:
    """Return the root of the sum of squares of independent terms; not a number if one of them is not. 5.1.2."""
    return math.sqrt(math.fsum(standard * standard for standard in standards))


def expanded(standard: float, coverage: float) -> float:
    """Return U = k·u. JCGM 100:2008, 6.2.1."""
    return coverage * standard


def scatter_of_mean(samples: NDArray[np.float64]) -> float:
    """Return the standard uncertainty of the mean of successive samples, 0 for one sample.

    JCGM 100:2008, 4.2.3, on means of blocks where there are enough samples: neighbouring samples of one record are not
    independent (hum, slow drift), and dividing by the root of their number would promise too much.
    """
    if samples.size < 2:
        return 0.0
    means = samples
    if samples.size >= 2 * BLOCKS:
        length = samples.size // BLOCKS
        means = samples[: length * BLOCKS].reshape(BLOCKS, length).mean(axis=1)
    return float(means.std(ddof=1) / math.sqrt(means.size))


def reading(value: float, *, of_reading: float, plus: float, step: float, scatter: float = 0.0) -> Budget:
    """Return the budget of one reading of one channel.

    `of_reading` is relative, `plus` and `step` are in the unit of `value`; `scatter` is already a standard uncertainty.
    """
    terms = (
        Term(name="accuracy", standard=rectangular(abs(value) * of_reading + plus)),
        Term(name="resolution", standard=resolution(step)),
        Term(name="scatter", standard=scatter),
    )
    return Budget(terms=terms)


def interval(seconds: float, *, clock: float, stamps: tuple[float, ...], sampled: tuple[float, ...] = ()) -> Budget:
    """Return the budget of a time between two moments.

    `clock` is the relative error of the time base; `stamps` are the half-widths of stamped moments; `sampled` are the
    sample intervals of moments found between two samples, where they may lie anywhere. All in seconds.
    """
    terms = (
        Term(name="clock", standard=rectangular(abs(seconds) * clock)),
        *(Term(name="stamp", standard=rectangular(half_width)) for half_width in stamps),
        *(Term(name="sampling", standard=resolution(step)) for step in sampled),
    )
    return Budget(terms=terms)


def contact_resistance(drop: Budget, *, volts: float, source: float, series: float, tolerance: float) -> Budget:
    """Return the budget of a contact's resistance, in ohms.

    The contact drops `volts` behind `series` ohms at `source` volts: R = volts·series / (source - volts). `drop` is the
    budget of `volts`, an offset of the channel included; `tolerance` the relative half-width of the test current.
    """
    left = source - volts
    sensitivity = series * source / (left * left)  # dR/dvolts, JCGM 100:2008, 5.1.3
    ohms = volts * series / left
    terms = (
        *(Term(name=f"voltage {term.name}", standard=sensitivity * term.standard) for term in drop.terms),
        Term(name="test current", standard=rectangular(abs(ohms) * tolerance)),
    )
    return Budget(terms=terms)


def quotient(numerator: Budget, *, value: float, divisor: float, tolerance: float) -> Budget:
    """Return the budget of `value` / `divisor` where the divisor is known within ±`tolerance` (relative)."""
    terms = (
        *(Term(name=term.name, standard=term.standard / abs(divisor)) for term in numerator.terms),
        Term(name="divisor", standard=rectangular(abs(value / divisor) * tolerance)),
    )
    return Budget(terms=terms)


def joined(*budgets: Budget) -> Budget:
    """Return the budget of a sum or difference of independent readings. JCGM 100:2008, 5.1.2."""
    return Budget(terms=tuple(term for budget in budgets for term in budget.terms))
