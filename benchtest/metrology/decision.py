"""From a value and its uncertainty to a word.

The guard band is w = guard · U on each side of each limit. Anything that is not a number, value, uncertainty or limit,
leaves the question open: nothing passes by accident.

Source: ILAC-G8:09/2019, 4.1 (guard band) and 4.2.3 (non-binary statement);
JCGM 106:2012, 7 (probability of conformity).
"""

import math
from typing import Literal

Word = Literal["pass", "conditional pass", "conditional fail", "fail", "not tested"]


def decide(
    value: float | None, uncertainty: float, *, low: float | None, high: float | None, guard: float = 1.0
) -> Word:
    """Return the word for `value` ± expanded `uncertainty` against limits that are themselves permitted.

    None is no limit. An infinite value (over-range) is decided; an uncertainty that is not finite, or negative, is not.
    Raises ValueError when the guard is negative or the lower limit lies above the upper one.
    """
    if not guard >= 0:
        raise ValueError(f"guard {guard!r} is not a multiple of U (try 1.0, or 0 for simple acceptance)")
    floor = -math.inf if low is None else low
    ceiling = math.inf if high is None else high
    if floor > ceiling:
        raise ValueError(f"lower limit {floor:g} is above upper limit {ceiling:g}")
    if value is None or math.isnan(value) or math.isnan(floor) or math.isnan(ceiling):
        return "not tested"
    if not 0 <= uncertainty < math.inf:
        return "not tested"
    return _word(value, guard * uncertainty, floor, ceiling)


def _word(value: float, band: float, floor: float, ceiling: float) -> Word:
    if floor + band <= value <= ceiling - band:
        return "pass"
    if value < floor - band or value > ceiling + band:
        return "fail"
    return "conditional pass" if floor <= value <= ceiling else "conditional fail"


def conformity(value: float, standard: float, *, low: float | None, high: float | None) -> float:
    """Return the probability that the true value lies within the limits, for a normal error.

    JCGM 106:2012, 7.2 to 7.4. `standard` is above zero.
    """
    above = 1.0 if low is None else _normal((value - low) / standard)
    beyond = 0.0 if high is None else _normal((value - high) / standard)
    return above - beyond


def _normal(z: float) -> float:
    """Return the standard normal distribution function at z."""
    return 0.5 * math.erfc(-z / math.sqrt(2))
