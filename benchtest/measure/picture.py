"""A picture of a capture with the found edges, levels and codes marked on the trace.

Long records are thinned to the lowest and highest sample of each column, so that no spike gets lost; stamped changes
are drawn as steps. Drawn by matplotlib without a screen, which takes a while to load; text stays text in SVG, so that
it can be found and read out.
"""

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
from benchtest.signals.series import Series, Stamped

COLUMNS: Final = 1200
"""Columns of a drawn trace; each gives two points at most."""
WIDTH, LANE, MARGIN = 9.0, 2.2, 0.9
"""Inches: of the picture, of each trace, for title and foot."""
MOST_TEXTS: Final = 24
"""Marks with a text; the others are lines alone, so that texts do not lie on one another."""
INK, TRACE, FOUND, LEVEL = "#222222", "#4a5a6a", "#0a7285", "#b45309"
SCALES: Final = ((1e-6, "µ"), (1e-3, "m"), (1.0, ""))
Points = NDArray[np.float64]


def draw(measured: Measured, path: Path) -> None:
    """Write the picture to `path`, as SVG or PNG by its suffix. Raises ValueError for another suffix."""
    if path.suffix.lower() not in {".svg", ".png"}:
        raise ValueError(f"a picture is written as .svg or .png, not {path.suffix or path.name!r}")
    with mpl.rc_context(
        {"svg.fonttype": "none", "svg.hashsalt": "benchtest", "font.family": "DejaVu Sans", "font.size": 9}
    ):
        lanes = max(1, len(measured.traces))
        figure = Figure(figsize=(WIDTH, MARGIN + LANE * lanes), layout="constrained", dpi=120)
        FigureCanvasAgg(figure)
        axes = figure.subplots(lanes, 1, sharex=True, squeeze=False)[:, 0]
        unit, scale = _time_scale(measured.traces)
        for axis, trace in zip(axes, measured.traces, strict=False):
            _lane(axis, trace, scale)
        axes[-1].set_xlabel(f"time / {unit}s")
        figure.suptitle(f"{measured.kind}: {measured.file}", fontsize=10, color=INK)
        figure.savefig(path, metadata={"Date": None} if path.suffix.lower() == ".svg" else None)


def _time_scale(traces: tuple[Trace, ...]) -> tuple[str, float]:
    """Return the prefix and the scale in which the longest trace reads well."""
    span = max((trace.series.end - trace.series.begin for trace in traces), default=1.0)
    return next(((name, scale) for scale, name in SCALES if span < 1000 * scale), ("", 1.0))


def _lane(axis: Axes, trace: Trace, scale: float) -> None:
    times, values = points(trace.series)
    stamped = isinstance(trace.series, Stamped)
    axis.plot(times / scale, values, color=TRACE, linewidth=0.8, drawstyle="steps-post" if stamped else "default")
    for level in trace.levels:
        axis.axhline(level.value, color=LEVEL, linewidth=0.7, linestyle=(0, (4, 3)))
        axis.annotate(level.text, (1.0, level.value), xycoords=("axes fraction", "data"), ha="right", va="bottom",
                      fontsize=7, color=LEVEL)  # fmt: skip
    for number, mark in enumerate(trace.marks):
        axis.axvline(mark.at / scale, color=FOUND, linewidth=0.8)
        if number < MOST_TEXTS:
            axis.annotate(mark.text, (mark.at / scale, 1.0), xycoords=("data", "axes fraction"), rotation=90,
                          ha="right", va="top", fontsize=7, color=FOUND)  # fmt: skip
    axis.set_ylabel(f"{trace.name} / {trace.unit}" if trace.unit else trace.name)
    if stamped:
        axis.set_yticks([0, 1], ["below", "above"])
    axis.margins(x=0.01, y=0.18)
    axis.grid(visible=True, color="#dddddd", linewidth=0.5)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)


def points(series: Series) -> tuple[Points, Points]:
    """Return what is drawn of a series: seconds and values, thinned to the extremes of each column."""
    if isinstance(series, Stamped):
        first = series.first if series.first is not None else (not series.rising[0] if series.rising.size else False)
        times = np.concatenate(([series.begin], series.times, [series.end]))
        states = np.concatenate(([bool(first)], series.rising, series.rising[-1:] if series.rising.size else [first]))
        return times, states.astype(float)
    size = series.values.size
    if size <= 2 * COLUMNS:
        return series.moments(np.arange(size)), series.values.astype(float)
    edges = np.linspace(0, size, COLUMNS + 1).astype(np.intp)
    chosen: list[int] = []
    for start, stop in pairwise(edges):
        chosen += _extremes(series.values[start:stop], int(start))
    picked = np.array(chosen, np.intp)
    return series.moments(picked), series.values[picked].astype(float)


def _extremes(part: NDArray[Any], start: int) -> list[int]:
    """Return the positions of the lowest and the highest number of a column, in order; none where there is none."""
    numbers = np.flatnonzero(~np.isnan(part)) if np.issubdtype(part.dtype, np.floating) else np.arange(part.size)
    if not numbers.size:
        return []
    found = part[numbers]
    return sorted({start + int(numbers[found.argmin()]), start + int(numbers[found.argmax()])})
