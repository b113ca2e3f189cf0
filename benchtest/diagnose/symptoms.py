"""What one result says about the board, in one word: in order, nothing, or how it is not in order.

A word is coarse on purpose: a fault that is a little worse must look the same. What was not tested says nothing.
"""

import math
from collections.abc import Iterable
from typing import Final

from benchtest.procedure import Interval
from benchtest.results import Result, Verdict

IN_ORDER: Final = "in order"
NOT_SEEN: Final = "not seen"
FAR: Final = 3.0
"""Times a limit, or a part of it, beyond which a value is far off and not just off."""


def symptom(result: Result) -> str | None:
    """Return the word of one result; None when it says nothing."""
    if result.verdict is Verdict.NOT_TESTED:
        return None
    if result.verdict is Verdict.PASS:
        return IN_ORDER
    value, permitted = result.value, result.check.permitted
    if value is None:
        return NOT_SEEN
    if isinstance(value, str) or isinstance(permitted, str):
        return f"reads {value}"
    return _off(value, permitted)


def symptoms(results: Iterable[Result]) -> dict[str, str]:
    """Return the word of every result that says something, by the check's id."""
    words = ((result.check.id, symptom(result)) for result in results)
    return {check: word for check, word in words if word is not None}


def _off(value: float, permitted: Interval) -> str:
    if not math.isfinite(value):
        return "open"
    if permitted.high is not None and value > permitted.high:
        far = permitted.high > 0 and value > FAR * permitted.high
        return "far too high" if far else "too high"
    if permitted.low is not None and value < permitted.low:
        far = permitted.low > 0 and value < permitted.low / FAR
        return "far too low" if far else "too low"
    return "doubtful"
