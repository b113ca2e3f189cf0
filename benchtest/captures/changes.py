"""Rows of states: looks at a signal, or its changes.

A table of two-state columns in which every row changes something is a list of changes, as event recorders and logic
analysers write it: nothing happened between the rows. A row that changes nothing is a look. Where the rows alone could
be either, the option `rows` settles it.
"""

import numpy as np

from benchtest.captures.capture import Options
from benchtest.captures.layout import Column, Layout
from benchtest.captures.rows import Rows
from benchtest.errors import CaptureError
from benchtest.signals.series import Sampled, Series, Stamped, Uneven

PIECE = 2**20
"""Samples that are looked at together: most columns show in the first piece that they hold no states."""


def read_changes(layout: Layout, column: Column, series: Series, options: Options) -> tuple[Series, list[str]] | None:
    """Return the stamped changes of a column of states; None when its rows are samples."""
    if (
        isinstance(series, Stamped)
        or layout.time is None
        or options.rows == "samples"
        or not _is_two_state(column, series)
    ):
        return None
    words = column.kind == "state"
    if options.rows != "changes":
        every = _every_row_changes(layout, column, series, words=words)
        even = isinstance(series, Sampled)
        if every and even and not words:
            _refuse(layout, column, "every row changes it, and the times are even")
        if not every and words and not even:
            _refuse(layout, column, f"row {_first_repeat(series) + 1} repeats the state before it")
        if not every:
            return None
    return _stamped(series, words=words)


def _is_two_state(column: Column, series: Sampled | Uneven) -> bool:
    if column.unit.symbol or series.values.size < 2:
        return False
    pieces = (series.values[place : place + PIECE] for place in range(0, series.values.size, PIECE))
    return all(bool(((piece == 0) | (piece == 1)).all()) for piece in pieces)


def _every_row_changes(layout: Layout, column: Column, series: Sampled | Uneven, *, words: bool) -> bool:
    if bool((np.diff(series.values) != 0).all()):
        return True
    if isinstance(series, Sampled) and not words:
        return False
    others = tuple(other for other in layout.columns if other.kind == column.kind)
    if len(others) < 2 or len(others) != len(layout.columns):
        return False
    return _any_changes(Rows(layout=layout, columns=others))


def _any_changes(rows: Rows) -> bool:
    before = np.empty((0, len(rows.columns)))
    for block in rows.blocks():
        if (
            not np.isin(block, (0.0, 1.0)).all()
            or not (np.diff(np.vstack([before, block]), axis=0) != 0).any(axis=1).all()
        ):
            return False
        before = block[-1:]
    return True


def _first_repeat(series: Sampled | Uneven) -> int:
    return int(np.argmax(np.diff(series.values) == 0)) + 1


def _refuse(layout: Layout, column: Column, why: str) -> None:
    raise CaptureError(
        layout.text.path,
        f"the rows of '{column.name}' may be changes or samples of it: {why}",
        hint="say --rows changes when nothing happened between them, --rows samples when nobody looked",
    )


def _stamped(series: Sampled | Uneven, *, words: bool) -> tuple[Stamped, list[str]]:
    times = series.moments(np.arange(series.values.size)) if isinstance(series, Sampled) else series.times
    states = series.values > 0.5
    changed = np.flatnonzero(states[1:] != states[:-1]) + 1
    notes = ["every row is a change: nothing happened between the rows"]
    if words:
        notes.append("high, open, on and lit count as above")
    stamped = Stamped(
        times=times[changed], rising=states[changed], first=bool(states[0]), begin=float(times[0]), end=float(times[-1])
    )
    return stamped, notes
