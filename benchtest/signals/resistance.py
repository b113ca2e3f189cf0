"""Contact resistance: four wires, the current both ways, several actuations.

The two directions of current cancel what the thermal e.m.f. of the sense wires adds; it is reported, for it shows a
warm joint. The test supply decides what is measured: too many volts break a film that a dry circuit would not, so a
category has limits, and a measurement beyond them is refused for that category. Of several actuations the first stays
on record, and the worst counts, never the best.

Source: contact categories CC0, CC1, CC2 of IEC 61810-7 (second hand); MIL-R-83407C, 4.5.8 (100 mA at 6 V d.c., three
actuations, one reading each, four-wire), read in a public copy.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from benchtest.signals.found import Found

OVER: Final = 1e-9
"""Relative; the last bits of a float at a limit that is permitted itself."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Category:
    """What a test supply may be."""

    name: str
    volts: float
    """Largest open-circuit voltage, without its sign."""
    amps: float
    """Largest current."""
    meaning: str


CC0: Final = Category(name="CC0", volts=30e-3, amps=10e-3, meaning="dry circuit: no film may be broken")
CC1: Final = Category(name="CC1", volts=10.0, amps=100e-3, meaning="low load without arc")
CC2: Final = Category(name="CC2", volts=30.0, amps=1.0, meaning="load with arc")


@dataclass(frozen=True, kw_only=True, slots=True)
class FourWire:
    """One reading: volts at the sense wires, amperes in the others, with their signs."""

    volts: float
    amps: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Resistance:
    """A contact's resistance and the conditions it was read under."""

    ohms: Found
    emf: Found
    """Volts in the sense wires without current; undecided from one direction alone."""
    amps: float
    """Test current, the larger of both directions, without its sign."""
    open_volts: float
    """Open-circuit voltage of the test supply, without its sign."""
    category: Category
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Actuations:
    """The resistances of several actuations in ohms, in their order."""

    each: tuple[Found, ...]
    first: Found
    """Of the first actuation, whatever came later."""
    worst: Found
    """The largest; undecided when one is, for it may have been worse."""
    mean: Found
    scatter: Found
    """Standard deviation of one actuation; undecided for fewer than two."""


def beyond(category: Category, *, open_volts: float, amps: float) -> tuple[str, ...]:
    """Return what a test supply exceeds; empty when the category permits it."""
    said = []
    if not abs(open_volts) <= category.volts * (1 + OVER):
        said.append(f"{abs(open_volts):g} V open is more than {category.volts:g} V of {category.name}")
    if not abs(amps) <= category.amps * (1 + OVER):
        said.append(f"{abs(amps):g} A is more than {category.amps:g} A of {category.name}")
    return tuple(f"{words} ({category.meaning})" for words in said)


def reversed_current(
    forward: FourWire, backward: FourWire, *, open_volts: float, category: Category, refuse: bool = True
) -> Resistance:
    """Return the resistance from readings with the current one way and the other; the e.m.f. is cancelled.

    R = (V₁ - V₂) / (I₁ - I₂), e.m.f. = (V₂·I₁ - V₁·I₂) / (I₁ - I₂). Beyond the category's limits there is no value, or
    a warning where `refuse` is False.
    """
    amps = max(abs(forward.amps), abs(backward.amps))
    warnings = beyond(category, open_volts=open_volts, amps=amps)
    reason = _unusable(forward, backward) or ("; ".join(warnings) if refuse else "")
    if reason:
        ohms = emf = Found.unknown(reason)
    else:
        between = forward.amps - backward.amps
        ohms = Found.known((forward.volts - backward.volts) / between)
        emf = Found.known((backward.volts * forward.amps - forward.volts * backward.amps) / between)
    return Resistance(ohms=ohms, emf=emf, amps=amps, open_volts=abs(open_volts), category=category, warnings=warnings)


def _unusable(forward: FourWire, backward: FourWire) -> str:
    """Return why two readings give no resistance; empty when they do."""
    readings = (forward.volts, forward.amps, backward.volts, backward.amps)
    if not all(math.isfinite(reading) for reading in readings):
        return "a reading is not a finite number"
    if not forward.amps * backward.amps < 0:
        return f"the current was not reversed ({forward.amps:g} A and {backward.amps:g} A)"
    return ""


def one_way(reading: FourWire, *, open_volts: float, category: Category, refuse: bool = True) -> Resistance:
    """Return the resistance from one direction of current; a thermal e.m.f. stays in it unknown, and it says so."""
    limits = beyond(category, open_volts=open_volts, amps=reading.amps)
    warnings = (*limits, "thermal e.m.f. not cancelled: one direction of current only")
    reason = "; ".join(limits) if refuse else ""
    if not (math.isfinite(reading.volts) and math.isfinite(reading.amps)) or reading.amps == 0:
        reason = "no current flowed, or a reading is not a finite number"
    return Resistance(
        ohms=Found.unknown(reason) if reason else Found.known(reading.volts / reading.amps),
        emf=Found.unknown("one direction of current only"),
        amps=abs(reading.amps),
        open_volts=abs(open_volts),
        category=category,
        warnings=warnings,
    )


def actuations(readings: Sequence[Found]) -> Actuations:
    """Return first, worst, mean and scatter of the resistances of successive actuations.

    Raises ValueError without any.
    """
    if not readings:
        raise ValueError("no actuation was measured")
    undecided = next((number for number, reading in enumerate(readings, 1) if reading.value is None), None)
    if undecided is not None:
        why = Found.unknown(f"actuation {undecided}: {readings[undecided - 1].reason}")
        return Actuations(each=tuple(readings), first=readings[0], worst=why, mean=why, scatter=why)
    ohms = np.array([reading.value for reading in readings], float)
    scatter = Found.known(ohms.std(ddof=1)) if ohms.size > 1 else Found.unknown("one actuation has no scatter")
    return Actuations(
        each=tuple(readings),
        first=readings[0],
        worst=readings[int(np.argmax(ohms))],
        mean=Found.known(ohms.mean()),
        scatter=scatter,
    )
