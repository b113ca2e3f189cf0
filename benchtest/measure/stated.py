"""A finding of `signals` as a quantity: with the uncertainty that sampling and a stated instrument leave.

The doubt of a moment is the full width in which it lies, a rectangular distribution. What the person said of the
instrument, an accuracy of reading and an offset, and the relative error of its clock, joins it; what nobody stated is
not in U, and the definition says so.

Source: JCGM 100:2008, 4.3.7 (rectangular), F.2.2.1 (resolution), 5.1.2 (independent terms).
"""

import math
from dataclasses import dataclass
from typing import Final, Literal

from benchtest.measure.measured import Quantity
from benchtest.metrology.uncertainty import combined, expanded, rectangular, resolution
from benchtest.signals.found import Count, Found

COVERAGE: Final = 2.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Instrument:
    """What was said of the instrument that recorded; nothing said is nothing assumed."""

    of_reading: float = 0.0
    """Half-width, relative."""
    plus: float = 0.0
    """Half-width in the channel's SI unit."""
    clock: float = 0.0
    """Relative error of its time base, half-width."""


def value(name: str, found: Found, unit: str, definition: str, instrument: Instrument, *, note: str = "") -> Quantity:
    """Return a finding in the channel's unit."""
    known = found.value
    accuracy = 0.0 if known is None else rectangular(abs(known) * instrument.of_reading + instrument.plus)
    return _stated(name, found, unit, definition, accuracy, note)


def time(name: str, found: Found, definition: str, instrument: Instrument, *, note: str = "") -> Quantity:
    """Return a finding in seconds."""
    accuracy = 0.0 if found.value is None else rectangular(abs(found.value) * instrument.clock)
    return _stated(name, found, "s", definition, accuracy, note)


def ratio(name: str, found: Found, unit: Literal["", "%"], definition: str, *, note: str = "") -> Quantity:
    """Return a ratio of two readings of one channel, in which its gain cancels."""
    return _stated(name, found, unit, definition, 0.0, note)


def count(name: str, found: Count, definition: str) -> Quantity:
    """Return how often something happened; a lower bound says that it is one."""
    if found.exact:
        return Quantity(name=name, value=float(found.least), definition=definition)
    bound = f"at least {found.least}" if found.most is None else f"{found.least} to {found.most}"
    return Quantity(name=name, value=bound, definition=definition, note=found.reason)


def word(name: str, text: str, definition: str, *, note: str = "") -> Quantity:
    """Return a finding that is a word."""
    return Quantity(name=name, value=text, definition=definition, note=note)


def _stated(name: str, found: Found, unit: str, definition: str, accuracy: float, note: str) -> Quantity:
    if found.value is None:
        why = "; ".join(part for part in (found.reason, note) if part)
        return Quantity(name=name, value=None, unit=unit, definition=definition, note=why)
    doubt = resolution(found.doubt) if math.isfinite(found.doubt) else math.inf
    uncertainty = expanded(combined((doubt, accuracy)), COVERAGE)
    return Quantity(
        name=name,
        value=found.value,
        unit=unit,
        definition=definition,
        uncertainty=uncertainty or None,
        note=note,
    )
