"""A supply that was recorded: d.c. mean, ripple by each definition, sags; a.c. r.m.s., frequency, crest factor."""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from benchtest.measure import stated
from benchtest.measure.measured import Input, Level, Mark, Measured, Quantity, Trace
from benchtest.measure.picture_text import level_text, mark_text
from benchtest.measure.stated import Instrument
from benchtest.signals.cycles import alternating
from benchtest.signals.series import Sampled, Uneven, cut
from benchtest.signals.supply import Ripple, Sags, direct, recovery, sags
from benchtest.signals.transitions import state_levels

Nature = Literal["dc", "ac"]
SWINGS: Final = 0.5
"""Alternating part over r.m.s. from which a record is taken for alternating, where nobody said (a full-wave rectified
sine has 0.44, computed)."""
SAG: Final = 0.9
"""Of nominal: at or below, it is a sag (IEC 61000-4-30, 90 % dip threshold, from memory)."""
BACK: Final = 0.92
"""Of nominal: back again; 2 % of hysteresis (IEC 61000-4-30, from memory)."""
RIPPLES: Final = {
    "ripple, peak to peak": Ripple.PEAK_TO_PEAK,
    "ripple, half of it": Ripple.HALF,
    "ripple, r.m.s.": Ripple.EFFECTIVE,
}
MOST: Final = 20
"""Sags that are told one by one."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SupplyFile:
    """What a person hands in, and how it shall be read."""

    supply: Input
    nature: Nature | None = None
    nominal: float | None = None
    """Volts; sags are looked for below a share of it."""
    saturation: tuple[float, float] | None = None
    """Where the converter ends, in the channel's unit."""


def measure_supply(file: str, asked: SupplyFile, instrument: Instrument) -> Measured:
    """Return what a supply gave. Raises Unmeasurable for a channel of states."""
    series = asked.supply.samples
    nature, why = _nature(series, asked.nature)
    saturation = asked.saturation
    notes = [*asked.supply.notes, why]
    if saturation is None and state_levels(series).clipped:
        notes.append("the record sits at its own extreme: it may be clipped (say where the converter ends: --clips)")
    quantities, levels = (_direct if nature == "dc" else _alternating)(series, asked, instrument)
    marks: tuple[Mark, ...] = ()
    if nature == "dc" and asked.nominal is not None:
        more, marks = _sags(series, asked.nominal, instrument)
        quantities += more
    trace = Trace(name=asked.supply.name, unit=asked.supply.unit or "V", series=series, marks=marks, levels=levels)
    return Measured(
        kind="supply",
        file=file,
        quantities=tuple(quantities),
        notes=tuple(note for note in notes if note),
        traces=(trace,),
        settled=quantities[0].value is not None,
    )


def _nature(series: Sampled | Uneven, said: Nature | None) -> tuple[Nature, str]:
    """Return whether a supply is d.c. or a.c., and how that is known."""
    if said is not None:
        return said, ""
    _, values = cut(series)
    square = float(np.mean(values**2)) if values.size else 0.0
    share = float(values.std()) / np.sqrt(square) if square else 0.0
    nature: Nature = "ac" if share > SWINGS else "dc"
    return (
        nature,
        f"taken for {nature[0]}.{nature[1]}.: the alternating part is {share:.0%} of the r.m.s. (say --dc or --ac)",
    )


def _direct(
    series: Sampled | Uneven, asked: SupplyFile, instrument: Instrument
) -> tuple[list[Quantity], tuple[Level, ...]]:
    found, unit = direct(series, saturation=asked.saturation), asked.supply.unit or "V"
    over = f"over {found.cycles} whole cycles of the ripple" if found.cycles else "over the whole record"
    quantities = [
        stated.value("mean", found.mean, unit, f"mean {over}", instrument),
        *(stated.ratio(name, found.ripple(rule), "%", f"{rule}, over the mean") for name, rule in RIPPLES.items()),
        stated.value("lowest", found.lowest, unit, "lowest sample", instrument),
        stated.value("highest", found.highest, unit, "highest sample", instrument),
    ]
    return quantities, _levels({"mean": found.mean.value}, unit)


def _alternating(
    series: Sampled | Uneven, asked: SupplyFile, instrument: Instrument
) -> tuple[list[Quantity], tuple[Level, ...]]:
    found, unit = alternating(series, saturation=asked.saturation), asked.supply.unit or "V"
    over = f"over {found.cycles} whole cycles"
    quantities = [
        stated.value("r.m.s.", found.effective, unit, f"root of the mean square {over}, d.c. included", instrument),
        stated.value("frequency", found.frequency, "Hz", f"whole cycles over their time, {over}", Instrument()),
        stated.ratio("crest factor", found.crest, "", f"largest deviation from zero over r.m.s., {over}"),
        stated.value("d.c. part", found.mean, unit, f"mean {over}", instrument),
        stated.value("peak", found.peak, unit, "largest deviation from zero, either sign", instrument),
    ]
    return quantities, _levels({"r.m.s.": found.effective.value, "d.c. part": found.mean.value}, unit)


def _levels(named: dict[str, float | None], unit: str) -> tuple[Level, ...]:
    known = {name: value for name, value in named.items() if value is not None}
    return tuple(Level(value=value, text=level_text(name, value, unit)) for name, value in known.items())


def _sags(series: Sampled | Uneven, nominal: float, instrument: Instrument) -> tuple[list[Quantity], tuple[Mark, ...]]:
    """Return the sags below nine tenths of nominal, and how long the last one took to come back for good."""
    found: Sags = sags(series, limit=SAG * nominal, back=BACK * nominal, nominal=nominal)
    definition = f"at or below {SAG:.0%} of nominal, until {BACK:.0%} is reached again"
    note = found.reason or (f"the first {MOST} are told one by one" if len(found.each) > MOST else "")
    quantities = [Quantity(name="sags", value=float(len(found.each)), definition=definition, note=note)]
    marks: list[Mark] = []
    for number, sag in enumerate(found.each[:MOST], 1):
        quantities += [
            stated.value(f"sag {number}, depth", sag.depth, "V", "nominal less the lowest sample", instrument),
            stated.time(f"sag {number}, duration", sag.duration, definition, instrument),
        ]
        if sag.begin.value is not None:
            marks.append(Mark(at=sag.begin.value, text=mark_text("sag", sag.begin.value)))
    if found.each and (begin := found.each[-1].begin.value) is not None:
        back = recovery(series, low=BACK * nominal, high=(2 - BACK) * nominal, since=begin)
        words = f"begin of the last sag until inside {BACK:.0%} to {2 - BACK:.0%} of nominal for good"
        quantities.append(stated.time("recovery", back, words, instrument))
    return quantities, tuple(marks)
