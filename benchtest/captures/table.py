"""Tables of readings in text files: what instruments and loggers export as CSV.

The head tells the dialect and the layout; reading streams the rows of one channel. Where the header and the rows
disagree about the step between samples, the rows are believed.
"""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np

from benchtest.captures.capture import Capture, Channel, Options, Recorded, room
from benchtest.captures.cells import Stamps, kind_of, printed_step
from benchtest.captures.changes import read_changes
from benchtest.captures.dialect import find_dialect
from benchtest.captures.layout import Column, Layout, lay_out
from benchtest.captures.lines import Text
from benchtest.captures.moments import Moments, place
from benchtest.captures.rows import Numbers, Rows
from benchtest.captures.units import Unit, read_unit
from benchtest.errors import CaptureError
from benchtest.signals.series import Sampled, Series, Values


def open_table(text: Text, options: Options) -> Capture:
    """Return a table of readings; raise CaptureError when its head cannot be read in exactly one way."""
    lines = text.head()
    layout = lay_out(text, find_dialect(text.path, lines, options), options)
    if not layout.columns:
        raise CaptureError(text.path, "no column holds readings", expected="numbers or states beside the time")
    channels = tuple(
        Channel(number=number, name=column.name, unit=_unit(column, options, text.path).symbol)
        for number, column in enumerate(layout.columns, 1)
    )
    return Capture(
        path=text.path,
        kind_of_file="table of readings",
        channels=channels,
        notes=layout.notes,
        reader=lambda channel: _read(layout, options, channel),
    )


def _unit(column: Column, options: Options, path: Path) -> Unit:
    if options.unit is None:
        return column.unit
    unit = read_unit(options.unit)
    if unit is None:
        raise CaptureError(path, f"'{options.unit}' is no unit known here", expected="one such as 'mV', 'A' or 'ms'")
    return unit


def _read(layout: Layout, options: Options, channel: Channel) -> Recorded:
    path = layout.text.path
    column = layout.columns[channel.number - 1]
    unit = _unit(column, options, path)
    expected = int(path.stat().st_size / max(layout.row_bytes, 2)) + 1000
    with closing(Moments(expected)) as moments:
        values, rows = _stream(layout, column, moments, np.empty(expected + expected // 10, room(path, expected)))
        notes = [*_width_notes(values), *_check(layout, column, values, rows)]
        if unit.factor != 1:
            values *= unit.factor
        series, more = _timed(layout, options, values, moments)
    notes += [*_begin(layout, rows), *more]
    states = read_changes(layout, column, series, options)
    if states is not None:
        series, more = states
        notes += more
    return Recorded(channel=channel, series=series, notes=tuple(notes))


def _width_notes(values: Values) -> list[str]:
    """Return what to say about how the samples are kept."""
    return ["kept with 32 bits per sample, because there are so many"] if values.dtype == np.float32 else []


def _stream(layout: Layout, column: Column, moments: Moments, values: Values) -> tuple[Values, Rows]:
    """Return the values and the reader with its counts; the times go to `moments`."""
    rows = Rows(layout=layout, columns=tuple(part for part in (column, layout.time, layout.date) if part is not None))
    count = 0
    day = 0.0
    for block in rows.blocks():
        end = count + block.shape[0]
        if end > values.size:
            room(layout.text.path, end)
            values = np.concatenate([values, np.empty(values.size // 4 + block.shape[0], values.dtype)])
        values[count:end] = block[:, 0]
        if layout.time is not None:
            day = float(block[0, 2]) if layout.date is not None and not count else day
            moments.append(_times(layout, layout.time, block, count, day))
        count = end
    return values[:count], rows


def _times(layout: Layout, time: Column, block: Numbers, before: int, day: float) -> Numbers:
    times = block[:, 1] * time.unit.factor if time.unit.factor != 1 else block[:, 1].copy()
    if layout.date is not None:
        times += block[:, 2] - day
    bad = np.flatnonzero(~np.isfinite(times))
    if bad.size:
        found = f"no time in column {time.place + 1} '{time.name}'"
        raise CaptureError(
            layout.text.path, found, place=f"data row {before + int(bad[0]) + 1}", expected="a time in every row"
        )
    return times


def _check(layout: Layout, column: Column, values: Values, rows: Rows) -> Iterator[str]:
    """Yield what to say about readings left out and rows missing; refuse when nothing is left."""
    left_out = rows.left_out[0]
    total = sum(left_out.values())
    words = ", ".join(f"{word} {count}" for word, count in left_out.most_common(8))
    if not values.size:
        raise CaptureError(layout.text.path, "no rows", expected="at least one row of readings")
    if total == values.size:
        raise CaptureError(
            layout.text.path, f"column '{column.name}' holds no reading at all in {total} rows ({words})"
        )
    if total:
        yield f"'{column.name}': {total} of {values.size} readings left out as not a number ({words})"
    told = layout.preamble.count
    if told is not None and told != values.size:
        yield f"the header says {told} samples, the file has {values.size} rows: the rows are believed"


def _begin(layout: Layout, rows: Rows) -> list[str]:
    if layout.date is not None:
        return ["time counts from the beginning of the first day"]
    return [
        f"time counts from {reader.begin}" for reader in rows.readers if isinstance(reader, Stamps) and reader.begin
    ]


def _timed(layout: Layout, options: Options, values: Values, moments: Moments) -> tuple[Series, list[str]]:
    told = 1 / options.rate if options.rate else layout.preamble.step
    if layout.time is not None:
        return place(layout.text.path, values, moments, quantum=_quantum(layout), told=told)
    if told is None:
        raise CaptureError(layout.text.path, "no time and no rate", hint="say the samples per second with 'rate'")
    return Sampled(values=values, rate=1 / told, start=layout.preamble.start or 0.0), []


def _quantum(layout: Layout) -> float:
    """Return the rounding step of the printed times in seconds, from rows of the beginning and of the end."""
    assert layout.time is not None
    cells = [*layout.samples[:200], *_last_cells(layout, layout.time)]
    if layout.time.kind != "number":
        fractions = [len(cell.strip().rstrip("Zz").replace(",", ".").split("+")[0].partition(".")[2]) for cell in cells]
        return float(10.0 ** -max(fractions, default=0))
    numbers = [cell for cell in cells if kind_of(cell, layout.decimal) == "number"]
    return printed_step(numbers) * layout.time.unit.factor


def _last_cells(layout: Layout, time: Column) -> list[str]:
    """Return the times of the last rows, as printed."""
    with layout.text.path.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(max(0, size - 16384) & ~1)
        tail = file.read()
    wide = "utf-16-be" if tail[:1] == b"\0" else "utf-16-le"
    text = tail.decode(wide if layout.text.encoding.startswith("utf-16") else "latin-1", "replace")
    rows = [line.split(layout.delimiter or None) for line in text.splitlines()[1:][-200:] if line.strip()]
    return [row[time.place].strip().strip('"') for row in rows if len(row) > time.place]
