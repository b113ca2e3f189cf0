"""How slow this machine is just now, beside the one for which the limits in seconds were stated.

A limit in seconds says nothing on a machine that is busy or of another make, so such a limit is multiplied by how long
a fixed piece of plain Python takes in the same run; never by less than one.
"""

from time import process_time
from typing import Final

STATED_FOR: Final = 5.2e-3
"""Seconds that the piece of work takes where the limits were stated."""


def slowness() -> float:
    """Return how many times as long plain Python takes here and now; at least 1."""
    begin = process_time()
    sums: dict[str, float] = {}
    for place in range(20_000):
        key = f"X{place % 97}.{place % 13}"
        sums[key] = sums.get(key, 0.0) + float(place) * 1e-3
    sorted(sums.items())
    return max(1.0, (process_time() - begin) / STATED_FOR)
