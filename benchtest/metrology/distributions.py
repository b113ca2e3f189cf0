"""From what is known of an error to its standard uncertainty. Source: JCGM 100:2008 (GUM); clauses at the functions."""

import math
from typing import Literal

Distribution = Literal["normal", "rectangular", "triangular", "arcsine"]


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
