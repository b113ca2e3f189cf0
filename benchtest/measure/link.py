"""A log of a CAN bus: periods, jitter, gaps, load, latency, who is missing, and signals by a database."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from benchtest.measure import stated
from benchtest.measure.measured import Level, Mark, Measured, Quantity, Trace
from benchtest.measure.picture_text import level_text
from benchtest.measure.stated import Instrument
from benchtest.metrology.figures import plain
from benchtest.signals.bus_load import Bus
from benchtest.signals.decoding import Decoded, carrying, signals
from benchtest.signals.found import Found
from benchtest.signals.frames import Frames, Identifier
from benchtest.signals.latency import Shows, latency
from benchtest.signals.periods import Gap
from benchtest.signals.regularity import Row
from benchtest.signals.series import Uneven
from benchtest.signals.traffic import traffic

MOST_TRACES: Final = 8
"""Lanes that a picture shows: intervals first, then signals."""
Asked = Identifier | Shows


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LinkFile:
    """What a person hands in, and what is wanted of it."""

    frames: Frames
    notes: tuple[str, ...] = ()
    bit_rate: float | None = None
    nominal: Mapping[str, float] | None = None
    """Message name or identifier → required period in seconds."""
    database: Any = None
    """Of cantools."""
    request: Asked | None = None
    answer: Asked | None = None
    within: float | None = None
    """Seconds in which an answer is due."""
    signal_names: tuple[str, ...] = ()
    """Signals to draw; all, up to MOST_TRACES, when empty."""


def measure_link(file: str, asked: LinkFile, instrument: Instrument) -> Measured:
    """Return what went over a bus. Raises ValueError for figures that are no figures."""
    found = traffic(asked.frames, bit_rate=asked.bit_rate, nominal=asked.nominal, database=asked.database)
    quantities = [quantity for bus in found.buses for quantity in _bus(bus, several=len(found.buses) > 1)]
    for row in found.rows:
        quantities += _row(row, instrument, several=len(found.buses) > 1)
    quantities += _latency(asked, instrument)
    drawn, oddities = _signals(asked)
    traces = (*(trace for row in found.rows for trace in _interval_trace(asked, row)), *drawn)[:MOST_TRACES]
    return Measured(
        kind="link",
        file=file,
        quantities=tuple(quantities),
        notes=(*asked.notes, *found.notes, *oddities),
        traces=traces,
        settled=not (found.never_heard or found.missing_nodes),
    )


def _bus(bus: Bus, *, several: bool) -> Iterator[Quantity]:
    where = f"bus {bus.channel}: " if several else ""
    yield Quantity(name=f"{where}frames", value=float(bus.frames), definition="data, remote and error frames")
    yield Quantity(name=f"{where}error frames", value=float(bus.errors), definition="as the recorder marked them")
    load = Found.unknown("the bit rate was not said (--bit-rate), or frames of flexible data rate are among them")
    actual = load if bus.load is None else Found.known(bus.load)
    worst = load if bus.most_load is None else Found.known(bus.most_load)
    bits = "bits of all frames with 3 bits between frames, over bit rate and time"
    yield stated.ratio(f"{where}bus load", actual, "%", f"{bits}; actual stuff bits")
    yield stated.ratio(
        f"{where}bus load, worst case", worst, "%", f"{bits}; most stuff bits that data of this length can need"
    )


def _row(row: Row, instrument: Instrument, *, several: bool) -> Iterator[Quantity]:
    name = f"{row.channel} {row.name}" if several else row.name
    yield Quantity(name=f"{name} count", value=float(row.count), definition="frames of this identifier")
    for title, found, words in _intervals(row):
        yield stated.time(f"{name} {title}", found, words, instrument)
    if row.missing is not None:
        against = "the required period" if row.nominal else "the usual period"
        yield Quantity(
            name=f"{name} missing", value=float(row.missing), definition=f"frames that did not come, by {against}"
        )


def _intervals(row: Row) -> Iterator[tuple[str, Found, str]]:
    """Yield name, finding and meaning of what is known of a row's intervals."""
    none, found = Found.unknown("fewer than two frames, or the stamps step back between them"), row.period
    mean, peak, root = (none,) * 3
    if found is not None:
        mean, peak, root = (Found.known(value) for value in (found.mean, found.jitter_peak, found.jitter_rms))
    yield "period", mean, "mean interval, those with a frame missing in them left out"
    yield "jitter, peak", peak, "largest deviation of an interval from the mean"
    yield "jitter, r.m.s.", root, "root of the mean square deviation from the mean"
    yield "longest gap", none if row.gap is None else Found.known(row.gap.length), "longest interval without the frame"


def _latency(asked: LinkFile, instrument: Instrument) -> list[Quantity]:
    if asked.request is None or asked.answer is None:
        return []
    found = latency(
        asked.frames, request=asked.request, answer=asked.answer, within=asked.within, database=asked.database
    )
    nobody = Found.unknown("no request was answered")
    delays = found.delays
    words = "request to the first answer after it, by the recorder's stamps"
    return [
        Quantity(name="requests", value=float(found.requests), definition="requests in the log"),
        Quantity(
            name="unanswered", value=float(found.unanswered), definition="no answer before the next request or in time"
        ),
        stated.time("latency, mean", Found.known(delays.mean()) if delays.size else nobody, words, instrument),
        stated.time("latency, longest", Found.known(delays.max()) if delays.size else nobody, words, instrument),
    ]


def _signals(asked: LinkFile) -> tuple[tuple[Trace, ...], tuple[str, ...]]:
    """Return signals as traces, and what was odd in their messages."""
    if asked.database is None:
        return (), ()
    found = signals(asked.frames, asked.database)
    wanted = [one for one in found.series if not asked.signal_names or one.signal in asked.signal_names]
    oddities = tuple(
        f"{odd.message}: {odd.found}, {odd.count} times, first at {odd.at:.6g} s ({odd.frame})"
        for odd in found.oddities
    )
    return tuple(_trace(one) for one in wanted[:MOST_TRACES]), oddities


def _interval_trace(asked: LinkFile, row: Row) -> Iterator[Trace]:
    """Yield a row's intervals over time, its period as a level, its longest gap marked; none where there are none."""
    channel = asked.frames.channels.index(row.channel)
    moments = asked.frames.time[carrying(asked.frames, row.identifier, channel=channel)]
    forward = np.concatenate(([False], np.diff(moments) > 0))
    moments, intervals = moments[forward], np.diff(moments, prepend=moments[:1])[forward]
    if row.period is None or not (np.diff(moments) > 0).all():
        return
    marks = () if row.gap is None else (Mark(at=row.gap.begin + row.gap.length, text=_gap_text(row.gap)),)
    levels = (Level(value=row.period.mean, text=level_text("mean", row.period.mean, "s")),)
    series = Uneven(values=intervals, times=moments)
    yield Trace(name=f"{row.name}\ninterval", unit="s", series=series, marks=marks, levels=levels)


def _gap_text(gap: Gap) -> str:
    return f"longest gap {plain(gap.length, 's')}"


def _trace(one: Decoded) -> Trace:
    marks = tuple(
        Mark(at=one.series.begin, text=f"{number} = {text}") for number, text in list(one.choices.items())[:4]
    )
    return Trace(name=f"{one.message}\n{one.signal}", unit=one.unit, series=one.series, marks=marks)
