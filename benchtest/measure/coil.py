"""A coil that was recorded, switched on and off, or tried by a ramp or by steps with a contact beside it.

Switched: inrush dip, holding current, resistance at 20 °C, turn-off clamp. Ramp and steps: operate, hold and release
voltage; where both can be read from one record, the steps decide.
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from benchtest.measure import stated
from benchtest.measure.measured import Input, Mark, Measured, Quantity, Trace, Unmeasurable
from benchtest.measure.picture_text import mark_text
from benchtest.measure.stated import Instrument
from benchtest.measure.thresholds import two_states
from benchtest.signals.coil import CoilVoltages, Contact, by_ramp, by_steps, decided
from benchtest.signals.contact import Made
from benchtest.signals.copper import RELAYS, at_20
from benchtest.signals.found import Found
from benchtest.signals.inrush import coil_current, turn_off
from benchtest.signals.series import Moments, cut

Method = Literal["switched", "ramp", "steps"]
TAIL: Final = 0.1
"""Share of the energised time, at its end, in which volts and amps are steady (common practice)."""
ABOUT_ZERO: Final = 0.05
"""Of the largest value of either sign: not energised, and not clamped (common practice)."""
STEP_SHARE: Final = 0.01
"""Of the highest voltage: a step stays within this (common practice)."""
STEP_LASTS: Final = 0.05
"""Seconds that a step lasts at least, for the armature and the coil current to settle (common practice)."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CoilFile:
    """What a person hands in, and how it shall be read."""

    volts: Input | None = None
    amps: Input | None = None
    contacts: tuple[Input, ...] = ()
    made: Made = "below"
    low: float | None = None
    high: float | None = None
    form: Literal["make", "break"] = "make"
    method: Method = "switched"
    temperature: float | None = None
    """Of the winding, °C."""
    constant: float = RELAYS
    """Degrees below zero at which copper's resistance would vanish."""
    saturation: tuple[float, float] | None = None
    """Where the converter of the voltage ends, in volts."""


def measure_coil(file: str, asked: CoilFile, volts: Instrument, amps: Instrument) -> Measured:
    """Return what a coil did. Raises Unmeasurable where the channels cannot answer."""
    if asked.volts is None and asked.amps is None:
        raise Unmeasurable("neither the coil's voltage nor its current is named (give --voltage, --current, or both)")
    quantities: list[Quantity] = []
    marks: list[Mark] = []
    notes = [note for channel in (asked.volts, asked.amps, *asked.contacts) if channel for note in channel.notes]
    if asked.method == "switched":
        on, off, note = _switched(asked)
        notes.append(note)
        quantities += _currents(asked, on, off, amps, marks)
        quantities += _resistance(asked, on, off, volts, amps)
        quantities += _turn_off(asked, off, volts)
    else:
        quantities += _voltages(asked, volts)
    channels = [channel for channel in (asked.volts, asked.amps, *asked.contacts) if channel is not None]
    traces = tuple(
        Trace(
            name=channel.name,
            unit=channel.unit,
            series=channel.series,
            marks=tuple(marks) if channel is asked.amps else (),
        )
        for channel in channels
    )
    return Measured(
        kind="coil",
        file=file,
        quantities=tuple(quantities),
        notes=tuple(note for note in notes if note),
        traces=traces,
        settled=any(one.value is not None for one in quantities),
    )


def _switched(asked: CoilFile) -> tuple[float, float, str]:
    """Return when the coil was switched on and off: by its voltage, else by its current."""
    channel = asked.volts or asked.amps
    assert channel is not None
    series = channel.samples
    moments, values = cut(series)
    size = np.abs(values)
    if not size.size or not size.max() > 0:
        raise Unmeasurable(f"{channel.name}: nothing but zeros and no numbers; the coil was never switched on")
    on, last = _longest_stay(values)
    begin, end = float(moments[on]), float(moments[last])
    note = (
        f"{channel.name}: energised from {begin:.6g} s" if on else f"{channel.name}: energised when the record begins"
    )
    return begin, end, note + (f" to {end:.6g} s" if last + 1 < size.size else " to the end of the record")


def _longest_stay(values: Moments) -> tuple[int, int]:
    """Return the first and last sample of the longest time at the energised level, whichever sign it has.

    The level is the usual one of what is not about zero: a clamp is higher, but short and of the other sign.
    """
    there = values[np.abs(values) > ABOUT_ZERO * np.abs(values).max()]
    usual = float(np.median(there))
    above = values * np.sign(usual) >= abs(usual) / 2
    edges = np.flatnonzero(np.diff(np.concatenate(([0], above.astype(np.int8), [0]))))
    begins, ends = edges[::2], edges[1::2]
    longest = int(np.argmax(ends - begins))
    return int(begins[longest]), int(ends[longest]) - 1


def _currents(asked: CoilFile, on: float, off: float, instrument: Instrument, marks: list[Mark]) -> list[Quantity]:
    if asked.amps is None:
        return []
    found = coil_current(asked.amps.samples, since=on, until=off)
    dip = found.dip
    for name, moment in (("armature moves", dip.begin), ("armature seated", dip.bottom)):
        if moment.value is not None:
            marks.append(Mark(at=on + moment.value, text=mark_text(name, moment.value)))
    return [
        stated.value("inrush current", found.inrush, "A", "largest current after switching on, smoothed", instrument),
        stated.value("holding current", found.holding, "A", "mean of the last tenth of the energised time", instrument),
        stated.time("time constant", found.time_constant, "switching on to 63.2 % of the holding current", instrument),
        stated.time("armature moves", dip.begin, "switching on to the begin of the dip in the current", instrument),
        stated.time("armature seated", dip.bottom, "switching on to the bottom of the dip", instrument),
        stated.value("dip depth", dip.depth, "A", "lower peak beside the dip less its bottom", instrument),
    ]


def _resistance(asked: CoilFile, on: float, off: float, volts: Instrument, amps: Instrument) -> list[Quantity]:
    if asked.volts is None or asked.amps is None:
        return []
    since = off - TAIL * (off - on)
    _, across = cut(asked.volts.samples, since=since, until=off)
    _, through = cut(asked.amps.samples, since=since, until=off)
    definition = "mean volts over mean amps in the last tenth of the energised time"
    if not across.size or not through.size or abs(float(through.mean())) == 0:
        return [stated.value("coil resistance", Found.unknown("no current was read"), "Ω", definition, volts)]
    ohms = abs(float(across.mean()) / float(through.mean()))
    relative = Instrument(
        of_reading=float(np.hypot(_relative(volts, across), _relative(amps, through))),
    )
    quantities = [stated.value("coil resistance", Found.known(ohms), "Ω", definition, relative)]
    if asked.temperature is None:
        why = Found.unknown("the winding's temperature was not said (--temperature)")
        return [*quantities, stated.value("coil resistance at 20 °C", why, "Ω", _normal(asked), relative)]
    normal = Found.known(at_20(ohms, measured=asked.temperature, constant=asked.constant))
    return [*quantities, stated.value("coil resistance at 20 °C", normal, "Ω", _normal(asked), relative)]


def _normal(asked: CoilFile) -> str:
    return f"R·(k + 20)/(k + T) with k = {asked.constant:g} (copper, IEC 60028)"


def _relative(instrument: Instrument, values: np.ndarray) -> float:
    """Return the relative half-width of a mean."""
    return instrument.of_reading + instrument.plus / max(abs(float(values.mean())), 1e-12)


def _turn_off(asked: CoilFile, off: float, instrument: Instrument) -> list[Quantity]:
    if asked.volts is None:
        return []
    found = turn_off(asked.volts.samples, since=off, until=np.inf, saturation=asked.saturation)
    return [
        stated.value("clamp voltage", found.clamp, "V", "level held against the former polarity", instrument),
        stated.time("decay time", found.decay, "switching off until a tenth of the clamp voltage is left", instrument),
    ]


def _voltages(asked: CoilFile, instrument: Instrument) -> list[Quantity]:
    """Return operate, hold and release voltage; steps decide where both were tried."""
    if asked.volts is None or not asked.contacts:
        raise Unmeasurable("operate and release voltage need the coil's voltage and a contact (--voltage, --contact)")
    volts, contacts = asked.volts.samples, []
    for channel in asked.contacts:
        seen = two_states(channel, low=asked.low, high=asked.high)
        if seen.states is None:
            raise Unmeasurable(seen.note)
        contacts.append(Contact(states=seen.states, made=asked.made, form=asked.form))
    _, values = cut(volts)
    highest = float(np.abs(values).max()) if values.size else 0.0
    ramp = by_ramp(volts, contacts)
    if asked.method == "ramp":
        return _told(ramp, "by ramp", instrument)
    steps = by_steps(volts, contacts, tolerance=max(STEP_SHARE * highest, 1e-6), shortest=STEP_LASTS)
    chosen = {name: decided(getattr(ramp, name), getattr(steps, name)) for name in ("operate", "hold", "release")}
    return [
        stated.value(f"{name} voltage", found, "V", f"{MEANS[name]}, by {method}", instrument)
        for name, (found, method) in chosen.items()
    ]


MEANS: Final = {
    "operate": "rising: every contact had functioned",
    "hold": "falling: lowest at which no contact had changed",
    "release": "falling: every contact had restored",
}


def _told(found: CoilVoltages, how: str, instrument: Instrument) -> list[Quantity]:
    note = "a slow ramp warms the coil; steps decide a dispute (MIL-PRF-28776F, 4.8.7.2)"
    return [
        stated.value(f"{name} voltage", getattr(found, name), "V", f"{MEANS[name]}, {how}", instrument, note=note)
        for name in MEANS
    ]
