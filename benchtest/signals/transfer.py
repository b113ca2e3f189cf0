"""Transfer of a change-over contact (form C): whether it breaks before it makes, and how long it is in between.

The transit time runs from the first opening of the contact that breaks to the first closing of the one that makes,
bounce excluded. It makes before it breaks when both are made at once, however that came about: a late break, or a
bounce of the one onto the other. Both series lie on one time base, or nothing could be compared.

Source: MIL-R-5757J, 6.8 (form C transfers break before make), from memory; bridging told from bouncing is our choice.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from benchtest.signals.contact import Made, absences, settling
from benchtest.signals.found import Found
from benchtest.signals.levels import States

Order = Literal["break before make", "make before break", "undecided"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Transfer:
    """What a change-over contact did."""

    order: Order
    transit: Found
    """Seconds from the first break to the first make; below zero when the make came first."""
    bridged: Found
    """Seconds in which both contacts were made, longest at a time; 0 when never."""
    reason: str = ""
    """Why the order is undecided."""


def transfer(
    breaking: States,
    making: States,
    *,
    made: Made = "below",
    since: float | None = None,
    until: float | None = None,
) -> Transfer:
    """Return how a change-over went from the one contact to the other, between two moments in seconds.

    Raises ValueError when the two were not watched at the same time.
    """
    start, stop = max(breaking.begin, making.begin), min(breaking.end, making.end)
    if not start < stop:
        raise ValueError(
            f"no common time: {breaking.begin:g} s to {breaking.end:g} s and {making.begin:g} s to {making.end:g} s"
        )
    start, stop = start if since is None else max(start, since), stop if until is None else min(stop, until)
    broke = settling(breaking, made=made, way="break", since=start, until=stop, quiet=0.0)
    made_then = settling(making, made=made, way="make", since=start, until=stop, quiet=0.0)
    transit = made_then.first.since(broke.first)
    if transit.value is None:
        return Transfer(order="undecided", transit=transit, bridged=transit, reason=transit.reason)
    bridged = _bridged(breaking, making, made=made, start=start, stop=stop)
    order, reason = _order(transit, bridged)
    return Transfer(order=order, transit=transit, bridged=bridged, reason=reason)


def _order(transit: Found, bridged: Found) -> tuple[Order, str]:
    assert transit.value is not None
    assert bridged.value is not None
    if bridged.value > bridged.doubt / 2:
        return "make before break", ""
    if bridged.value > 0 or abs(transit.value) <= transit.doubt / 2:
        return "undecided", f"break and make lie within {transit.doubt:g} s, closer than the record tells"
    return "break before make", ""


def _bridged(breaking: States, making: States, *, made: Made, start: float, stop: float) -> Found:
    """Return the longest time in which both were made."""
    above = made == "above"
    one, other = (absences(contact, above=not above, since=start, until=stop) for contact in (breaking, making))
    begins = np.maximum.outer(one.begins, other.begins)
    lengths = np.minimum.outer(one.ends, other.ends) - begins
    if not lengths.size or lengths.max() <= 0:
        return Found.known(0.0)
    where = np.unravel_index(int(np.argmax(lengths)), lengths.shape)
    return Found.known(lengths[where], one.spreads[where[0]] + other.spreads[where[1]])
