"""A picture of a capture with the found edges, levels and codes marked on the trace.

Long records are thinned to the lowest and highest sample of each column, so that no spike gets lost; stamped changes
are drawn as steps. Drawn by matplotlib without a screen, which takes a while to load; text stays text in SVG, so that
it can be found and read out.
"""

import textwrap
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from benchtest.measure.measured import Measured, Trace
from benchtest.signals.series import Sampled, Series, Stamped, Uneven

COLUMNS: Final = 1200
"""Columns of a drawn trace; each gives two points at most."""
WIDTH, LANE, MARGIN = 9.0, 2.0, 0.9
"""Inches: of the picture, of each lane, for title and foot."""
MOST_TEXTS: Final = 24
"""Marks that are numbered and told in words; the others are lines alone."""
MOST_CLOSE_UPS: Final = 3
NARROW: Final = 0.25
"""Of a record: marks that lie within this of one another are drawn once more, close up."""
FLAT: Final = 1e-6
"""Of a trace's level: what moves less is drawn as a line."""
INK, TRACE, FOUND, LEVEL = "#222222", "#4a5a6a", "#0a7285", "#b45309"
SCALES: Final = ((1e-6, "µ"), (1e-3, "m"), (1.0, ""))
Points = NDArray[np.float64]
Stretch = tuple[float, float]


def draw(measured: Measured, path: Path) -> None:
    """Write the picture to `path`, as SVG or PNG by its suffix. Raises ValueError for another suffix."""
    if path.suffix.lower() not in {".svg", ".png"}:
        raise ValueError(f"a picture is written as .svg or .png, not {path.suffix or path.name!r}")
    with mpl.rc_context(
        {"svg.fonttype": "none", "svg.hashsalt": "benchtest", "font.family": "DejaVu Sans", "font.size": 9}
    ):
        lanes = [(trace, _close_ups(trace)) for trace in measured.traces]
        rows = sum(1 + bool(stretches) for _, stretches in lanes)
        figure = Figure(figsize=(WIDTH, MARGIN + LANE * max(1, rows)), layout="constrained", dpi=120)
        FigureCanvasAgg(figure)
        grid, row, last = figure.add_gridspec(max(1, rows), 12), 0, None
        for trace, stretches in lanes:
            axis = figure.add_subplot(grid[row, :], sharex=last)
            last = axis if last is None else last
            _lane(axis, trace, (trace.series.begin, trace.series.end), told=True)
            row += 1
            for number, stretch in enumerate(stretches):
                share = 12 // len(stretches)
                _lane(figure.add_subplot(grid[row, number * share : (number + 1) * share]), trace, stretch, told=False)
            row += bool(stretches)
        figure.suptitle(f"{measured.kind}: {measured.file}", fontsize=10, color=INK)
        figure.savefig(path, metadata={"Date": None} if path.suffix.lower() == ".svg" else None)


def _close_ups(trace: Trace) -> tuple[Stretch, ...]:
    """Return the stretches around groups of marks that would lie on one another in the whole record."""
    span = trace.series.end - trace.series.begin
    groups: list[list[float]] = []
    for at in sorted(mark.at for mark in trace.marks):
        if groups and at - groups[-1][-1] < NARROW * span / 2:
            groups[-1].append(at)
        else:
            groups.append([at])
    narrow = [group for group in groups if len(group) > 1 and group[-1] - group[0] < NARROW * span]
    return tuple(_around(group, trace.series) for group in narrow[:MOST_CLOSE_UPS])


def _around(group: list[float], series: Series) -> Stretch:
    width = max(group[-1] - group[0], 40 * series.gap if np.isfinite(series.gap) else 0.0)
    middle = (group[0] + group[-1]) / 2
    return max(series.begin, middle - 0.8 * width), min(series.end, middle + 0.8 * width)


def _scale(stretch: Stretch) -> tuple[str, float]:
    """Return the prefix and the scale in which the moments of a stretch read well."""
    largest = max(abs(stretch[0]), abs(stretch[1]))
    return next(((name, scale) for scale, name in SCALES if largest < 1000 * scale), ("", 1.0))


def _lane(axis: Axes, trace: Trace, stretch: Stretch, *, told: bool) -> None:
    """Draw one trace over a stretch of time; `told` says the marks in words beside their numbers."""
    prefix, scale = _scale(stretch)
    times, values = points(trace.series, stretch)
    stamped = isinstance(trace.series, Stamped)
    axis.plot(times / scale, values, color=TRACE, linewidth=0.8, drawstyle="steps-post" if stamped else "default")
    if not stamped:
        _levels(axis, trace, told=told)
    _marks(axis, trace, stretch, scale)
    if told:
        _tell(axis, trace)
    axis.set_xlim(stretch[0] / scale, stretch[1] / scale)
    axis.set_xlabel(f"time / {prefix}s")
    if told or stamped:
        axis.set_ylabel(f"{trace.name} / {trace.unit}" if trace.unit else trace.name)
    if stamped:
        axis.set_yticks([0, 1], ["below", "above"])
    axis.margins(y=0.18)
    level = float(np.nanmax(np.abs(values), initial=0.0))
    if level and np.ptp(values[np.isfinite(values)]) < FLAT * level:  # else the last bits of a float fill the lane
        axis.set_ylim(float(np.nanmean(values)) - 0.1 * level, float(np.nanmean(values)) + 0.1 * level)
    axis.grid(visible=True, color="#dddddd", linewidth=0.5)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)


def _levels(axis: Axes, trace: Trace, *, told: bool) -> None:
    for level in trace.levels:
        axis.axhline(level.value, color=LEVEL, linewidth=0.7, linestyle=(0, (4, 3)))
        if told:
            axis.annotate(level.text, (1.0, level.value), xycoords=("axes fraction", "data"), ha="right", va="bottom",
                          fontsize=7, color=LEVEL)  # fmt: skip


def _marks(axis: Axes, trace: Trace, stretch: Stretch, scale: float) -> None:
    """Draw the marks with their numbers, neighbours at different heights."""
    height, before = 0, -np.inf
    for number, mark in enumerate(trace.marks, 1):
        if not stretch[0] <= mark.at <= stretch[1]:
            continue
        axis.axvline(mark.at / scale, color=FOUND, linewidth=0.8)
        height = (height + 1) % 4 if mark.at - before < 0.03 * (stretch[1] - stretch[0]) else 0
        before = mark.at
        if number <= MOST_TEXTS:
            axis.annotate(f"{number}", (mark.at / scale, 0.99 - 0.11 * height), xycoords=("data", "axes fraction"),
                          xytext=(2, 0), textcoords="offset points", va="top", fontsize=7, color=FOUND)  # fmt: skip


def _tell(axis: Axes, trace: Trace) -> None:
    """Say the marks in words, in a line or two above the lane."""
    texts = [f"{number} {mark.text}" for number, mark in enumerate(trace.marks[:MOST_TEXTS], 1)]
    more = len(trace.marks) - MOST_TEXTS
    texts += [f"and {more} more"] if more > 0 else []
    if texts:
        axis.set_title(textwrap.fill("   ".join(texts), 150), loc="left", fontsize=7, color=FOUND)


def points(series: Series, stretch: Stretch) -> tuple[Points, Points]:
    """Return what is drawn of a stretch: seconds and values, thinned to the extremes of each column."""
    if isinstance(series, Stamped):
        first = series.first if series.first is not None else (not series.rising[0] if series.rising.size else False)
        times = np.concatenate(([series.begin], series.times, [series.end]))
        states = np.concatenate(([bool(first)], series.rising, series.rising[-1:] if series.rising.size else [first]))
        return times, states.astype(float)
    begin, end = _positions(series, stretch)
    if end - begin <= 2 * COLUMNS:
        return series.moments(np.arange(begin, end)), series.values[begin:end].astype(float)
    edges = np.linspace(begin, end, COLUMNS + 1).astype(np.intp)
    chosen: list[int] = []
    for start, stop in pairwise(edges):
        chosen += _extremes(series.values[start:stop], int(start))
    picked = np.array(chosen, np.intp)
    return series.moments(picked), series.values[picked].astype(float)


def _positions(series: Sampled | Uneven, stretch: Stretch) -> tuple[int, int]:
    """Return the samples of a stretch, with one more at each end so that the line reaches it."""
    if isinstance(series, Uneven):
        begin, end = (int(np.searchsorted(series.times, moment)) for moment in stretch)
    else:
        begin, end = (int((moment - series.start) * series.rate) for moment in stretch)
    return max(0, begin - 1), min(series.values.size, end + 2)


def _extremes(part: NDArray[Any], start: int) -> list[int]:
    """Return the positions of the lowest and the highest number of a column, in order; none where there is none."""
    numbers = np.flatnonzero(~np.isnan(part)) if np.issubdtype(part.dtype, np.floating) else np.arange(part.size)
    if not numbers.size:
        return []
    found = part[numbers]
    return sorted({start + int(numbers[found.argmin()]), start + int(numbers[found.argmax()])})
