"""From a value and its uncertainty to a word.

The guard band is w = guard · U on each side of each limit. Four rules decide with it:

non-binary            pass and fail outside doubt, conditional pass and conditional fail within w of a limit
guarded acceptance    pass inside the limits by w or more, else fail: also a value that lies inside by less
simple acceptance     pass inside the limits, else fail; there is no guard band
guarded rejection     fail outside the limits by more than w, else pass: what is stated holds until it is refuted

Where w is zero they say the same. Anything that is not a number, value, uncertainty or limit, leaves the question open:
nothing passes by accident.

A value on a limit is within it, whatever its last bits are: a time is a difference of two moments, and 71 samples come
out as 7.100000000000002 ms in one place of a recording and as 7.1 ms in another (common practice, no source).

Source: ILAC-G8:09/2019, 4.1 (guard band), 4.2.1 (binary statement for simple acceptance), 4.2.2 (binary statement with
guard band) and 4.2.3 (non-binary statement with guard band); the words of 4.2 and 4.2.3 were read in a public copy, the
numbers of its first two paragraphs are from memory. JCGM 106:2012, 8.3.3, for guarded rejection.
"""

import math
from typing import Final, Literal

Word = Literal["pass", "conditional pass", "conditional fail", "fail", "not tested"]
Rule = Literal["simple acceptance", "guarded acceptance", "non-binary", "guarded rejection"]

BINARY: Final[dict[Rule, Word]] = {"guarded acceptance": "fail", "guarded rejection": "pass"}
"""What a rule with two words calls a value that the guard band covers."""

LAST_BITS: Final = 1e-9
"""Of a value and a limit, relative: no instrument tells so little apart, and arithmetic on floats loses less."""


def decide(
    value: float | None,
    uncertainty: float,
    *,
    low: float | None,
    high: float | None,
    guard: float = 1.0,
    rule: Rule = "non-binary",
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
    band = 0.0 if rule == "simple acceptance" else guard * uncertainty
    word = _word(value, band, floor, ceiling)
    return BINARY.get(rule, word) if word in {"conditional pass", "conditional fail"} else word


def _word(value: float, band: float, floor: float, ceiling: float) -> Word:
    if _between(floor + band, value, ceiling - band):
        return "pass"
    if not _between(floor - band, value, ceiling + band):
        return "fail"
    return "conditional pass" if _between(floor, value, ceiling) else "conditional fail"


def inside(value: float, *, low: float | None, high: float | None) -> bool:
    """Return whether a value lies within the limits themselves; never when it is not a number."""
    return _between(-math.inf if low is None else low, value, math.inf if high is None else high)


def _between(low: float, value: float, high: float) -> bool:
    return _reaches(value, low) and _reaches(high, value)


def _reaches(one: float, other: float) -> bool:
    """Return whether `one` is `other` or more, but for the last bits of either."""
    return one >= other or math.isclose(one, other, rel_tol=LAST_BITS)
