"""A contact's resistance from recorded volts and amps: four wires, the current both ways, several actuations.

Steady stretches of the test current are found in the record; one way and the other in turn make one reading, in which
the thermal e.m.f. cancels. A record with one direction only is measured too, and says what it could not cancel.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from benchtest.measure import stated
from benchtest.measure.measured import Input, Mark, Measured, Quantity, Trace, Unmeasurable
from benchtest.measure.stated import Instrument
from benchtest.signals.coil import Plateau, plateaus
from benchtest.signals.found import Found
from benchtest.signals.resistance import (
    CC0,
    CC1,
    CC2,
    Category,
    FourWire,
    Resistance,
    actuations,
    one_way,
    reversed_current,
)
from benchtest.signals.series import Sampled, Uneven, cut

CATEGORIES: Final = {"CC0": CC0, "CC1": CC1, "CC2": CC2}
Named = Literal["CC0", "CC1", "CC2"]
STEADY: Final = 0.05
"""Of the largest current: a steady stretch stays within this (common practice)."""
LASTS: Final = 10
"""Samples of a steady stretch at least."""
FLOWS: Final = 0.2
"""Of the largest current: less is none."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ResistanceFile:
    """What a person hands in."""

    volts: Input
    amps: Input
    open_volts: float
    """Open-circuit voltage of the test supply."""
    category: Category = CC2


def measure_resistance(file: str, asked: ResistanceFile, volts: Instrument, amps: Instrument) -> Measured:
    """Return the resistance of every actuation in the record, the first named first.

    Raises Unmeasurable for channels of states, or without a steady current.
    """
    across, through = asked.volts.samples, asked.amps.samples
    steady = _steady(through)
    if not steady:
        raise Unmeasurable(f"{asked.amps.name}: no steady test current in the record")
    readings = list(_readings(across, through, steady, asked))
    found = actuations([reading.ohms for reading in readings])
    relative = Instrument(of_reading=volts.of_reading + amps.of_reading)
    quantities: list[Quantity] = []
    definition = "four-wire, mean of both directions of current" if _reversed(steady) else "four-wire, one direction"
    for number, reading in enumerate(readings, 1):
        quantities += _told(reading, f" {number}" if len(readings) > 1 else "", definition, relative, volts)
    if len(readings) > 1:
        quantities += [
            stated.value("worst", found.worst, "Ω", "largest of all actuations", relative),
            stated.value("mean", found.mean, "Ω", "mean of all actuations", relative),
            stated.value("scatter", found.scatter, "Ω", "standard deviation of one actuation", Instrument()),
        ]
    notes = dict.fromkeys((*asked.volts.notes, *asked.amps.notes, *(w for one in readings for w in one.warnings)))
    marks = tuple(Mark(at=one.begin, text="→" if one.volts > 0 else "←") for one in steady)
    return Measured(
        kind="resistance",
        file=file,
        quantities=tuple(quantities),
        notes=tuple(notes),
        traces=(
            Trace(name=asked.amps.name, unit=asked.amps.unit or "A", series=through, marks=marks),
            Trace(name=asked.volts.name, unit=asked.volts.unit or "V", series=across),
        ),
        settled=found.first.value is not None,
    )


def _told(reading: Resistance, name: str, definition: str, relative: Instrument, volts: Instrument) -> list[Quantity]:
    quantities = [
        stated.value(f"contact resistance{name}", reading.ohms, "Ω", definition, relative),
        stated.value(f"test current{name}", Found.known(reading.amps), "A", "larger of both directions", Instrument()),
    ]
    if reading.emf.value is not None:
        words = "volts left without current: warm joints"
        quantities.append(stated.value(f"thermal e.m.f.{name}", reading.emf, "V", words, volts))
    return quantities


def _steady(amps: Sampled | Uneven) -> tuple[Plateau, ...]:
    """Return the steady stretches in which current flows, with their sign."""
    moments, values = cut(amps)
    if values.size < LASTS:
        return ()
    largest = float(np.abs(values).max())
    gap = float(moments[-1] - moments[0]) / (values.size - 1)
    found = plateaus(amps, tolerance=max(STEADY * largest, 1e-12), shortest=LASTS * gap)
    flowing = (one for one in found if one.volts >= FLOWS * largest)
    return tuple(
        Plateau(begin=one.begin, end=one.end, volts=one.volts * _sign(moments, values, one)) for one in flowing
    )


def _sign(moments: np.ndarray, values: np.ndarray, part: Plateau) -> float:
    inside = values[(moments >= part.begin) & (moments <= part.end)]
    return float(np.sign(inside.mean()))


def _reversed(steady: tuple[Plateau, ...]) -> bool:
    return len({one.volts > 0 for one in steady}) == 2


def _readings(
    across: Sampled | Uneven, through: Sampled | Uneven, steady: tuple[Plateau, ...], asked: ResistanceFile
) -> Iterator[Resistance]:
    """Yield one reading per pair of directions; per stretch where the current was never reversed."""
    wires = [_wire(across, through, part) for part in steady]
    if not _reversed(steady):
        yield from (one_way(wire, open_volts=asked.open_volts, category=asked.category) for wire in wires)
        return
    pending: FourWire | None = None
    for wire in wires:
        if pending is not None and pending.amps * wire.amps < 0:
            yield reversed_current(pending, wire, open_volts=asked.open_volts, category=asked.category)
            pending = None
        else:
            pending = wire


def _wire(across: Sampled | Uneven, through: Sampled | Uneven, part: Plateau) -> FourWire:
    """Return the means of a steady stretch, its first quarter left out: leads and contact have settled by then."""
    since = part.begin + (part.end - part.begin) / 4
    _, volts = cut(across, since=since, until=part.end)
    _, amps = cut(through, since=since, until=part.end)
    return FourWire(volts=_mean(volts), amps=_mean(amps))


def _mean(values: np.ndarray) -> float:
    return float(values.mean()) if values.size else float("nan")
