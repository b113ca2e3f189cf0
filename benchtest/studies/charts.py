"""The pictures of studies: drawn by matplotlib without a screen, as SVG whose text stays text.

Values are drawn in the prefix in which they read well. More points than can be seen are thinned to the outermost of
each column, so that what lies outside a limit is never left out.
"""

import io
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any, Final, TypeAlias

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from numpy.typing import NDArray

from benchtest.metrology.control_chart import Chart
from benchtest.metrology.figures import PREFIXED
from benchtest.metrology.normality import normal_scores
from benchtest.metrology.paired_differences import Agreement
from benchtest.studies.report import Picture

Numbers: TypeAlias = NDArray[np.float64]
MOST: Final = 12
"""Quantities of a study that are drawn."""
COLUMNS: Final = 600
INK, POINT, LIMIT, SIGNAL, PALE = "#222222", "#4a5a6a", "#b45309", "#b00020", "#9aa5b1"
SIZE: Final = (5.2, 3.1)
_STYLE: Final[dict[Any, Any]] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "benchtest",
    "font.family": "DejaVu Sans",
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
}


def drawn(title: str, alternative: str, draw: Callable[[Figure], None], *, tall: float = 1.0) -> Picture:
    """Return a picture that `draw` makes on an empty figure."""
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(SIZE[0], SIZE[1] * tall), layout="constrained")
        FigureCanvasSVG(figure)
        draw(figure)
        file = io.StringIO()
        figure.savefig(file, format="svg", metadata={"Date": None, "Creator": None})
    text = file.getvalue()
    return Picture(title=title, svg=text[text.index("<svg") :], alternative=alternative)


class Scale:
    """One prefix for all values of a picture."""

    def __init__(self, values: Numbers, unit: str) -> None:
        largest = float(np.max(np.abs(values), initial=0.0))
        self.factor, prefix = 1.0, ""
        if unit == "%":
            self.factor = 100.0
        elif unit in PREFIXED and largest > 0:
            steps = ((1e-9, "n"), (1e-6, "µ"), (1e-3, "m"), (1.0, ""), (1e3, "k"), (1e6, "M"))
            size, prefix = next((one for one in reversed(steps) if largest >= one[0]), steps[0])
            self.factor = 1 / size
        self.unit = prefix + unit

    def __call__(self, values: Numbers | float) -> Numbers:
        """Return values as they are drawn."""
        return np.asarray(values, np.float64) * self.factor

    def label(self, name: str) -> str:
        """Return the words of an axis."""
        return f"{name} / {self.unit}" if self.unit else name


def probability_plot(values: Numbers, unit: str, title: str, *, lines: Sequence[tuple[str, float]]) -> Picture:
    """Draw sorted readings over normal scores, the line of mean and deviation, and limits as level lines."""
    ordered, scale = np.sort(values), Scale(values, unit)
    scores = normal_scores(ordered.size)
    kept = _thinned(ordered.size)

    def draw(figure: Figure) -> None:
        axis = figure.add_subplot()
        axis.plot(scores[kept], scale(ordered[kept]), ".", color=POINT, markersize=4)
        ends = np.array([scores[0], scores[-1]])
        axis.plot(ends, scale(ordered.mean() + ends * ordered.std(ddof=1)), color=INK, linewidth=0.8)
        for name, value in lines:
            _level(axis, float(scale(value)), name)
        axis.set_xlabel("normal score")
        axis.set_ylabel(scale.label("reading"))

    return drawn(title, f"Probability plot of {title}: {ordered.size} readings against normal scores.", draw)


def _thinned(count: int) -> NDArray[np.intp]:
    """Return places in sorted readings: all ends, and an even choice between."""
    if count <= 2 * COLUMNS:
        return np.arange(count)
    edge = np.arange(COLUMNS // 4)
    return np.unique(np.concatenate((edge, np.linspace(0, count - 1, COLUMNS).astype(np.intp), count - 1 - edge)))


def _level(axis: Axes, value: float, name: str) -> None:
    if np.isfinite(value):
        axis.axhline(value, color=LIMIT, linewidth=0.8, linestyle=(0, (4, 3)))
        axis.annotate(name, (1.0, value), xycoords=("axes fraction", "data"), ha="right", va="bottom", fontsize=7,
                      color=LIMIT)  # fmt: skip


def histogram(values: Numbers, unit: str, title: str, *, lines: Sequence[tuple[str, float]]) -> Picture:
    """Draw how readings are distributed, with the permitted limits."""
    scale = Scale(np.append(values, [value for _, value in lines if np.isfinite(value)]), unit)

    def draw(figure: Figure) -> None:
        axis = figure.add_subplot()
        axis.hist(scale(values), bins=min(60, max(8, round(np.sqrt(values.size)))), color=PALE, edgecolor="white")
        for name, value in lines:
            if np.isfinite(value):
                axis.axvline(float(scale(value)), color=LIMIT, linewidth=0.9, linestyle=(0, (4, 3)))
                axis.annotate(name, (float(scale(value)), 1.0), xycoords=("data", "axes fraction"), ha="center",
                              va="bottom", fontsize=7, color=LIMIT)  # fmt: skip
        axis.set_xlabel(scale.label("reading"))
        axis.set_ylabel("readings")

    return drawn(title, f"Histogram of {title}: {values.size} readings and the permitted limits.", draw)


def control_charts(
    charts: Sequence[Chart], unit: str, title: str, *, marked: dict[str, set[int]], baseline: int
) -> Picture:
    """Draw charts above one another, their limits as steps, points that raise a signal marked."""

    def draw(figure: Figure) -> None:
        for row, chart in enumerate(charts):
            axis = figure.add_subplot(len(charts), 1, row + 1)
            first = 1 + charts[0].points.size - chart.points.size  # a moving range belongs to the later reading
            _chart(axis, chart, Scale(chart.points, unit), marked.get(chart.kind, set()), first)
            if baseline < charts[0].points.size:
                axis.axvline(baseline + 0.5, color=PALE, linewidth=0.8)

    told = "; ".join(f"{chart.kind}: {len(marked.get(chart.kind, set()))} points with a signal" for chart in charts)
    return drawn(title, f"Control charts of {title}. {told}.", draw, tall=0.75 * len(charts))


def _chart(axis: Axes, chart: Chart, scale: Scale, marked: set[int], first: int) -> None:
    numbers = np.arange(first, first + chart.points.size)
    kept = _outermost(chart.points, marked)
    axis.plot(numbers[kept], scale(chart.points[kept]), color=POINT, linewidth=0.7, marker=".", markersize=3)
    out = np.array(sorted(marked), np.intp)
    if out.size:
        axis.plot(numbers[out], scale(chart.points[out]), "s", color=SIGNAL, markersize=4, markerfacecolor="none")
    axis.axhline(float(scale(chart.centre)), color=INK, linewidth=0.7)
    for limit in (chart.low, chart.high):
        axis.plot(numbers[kept], scale(limit[kept]), color=LIMIT, linewidth=0.8, linestyle=(0, (4, 3)))
    axis.set_ylabel(scale.label(chart.kind), fontsize=8)


def _outermost(points: Numbers, marked: set[int]) -> NDArray[np.intp]:
    """Return the places of the lowest and highest point of each column, and of the marked ones."""
    if points.size <= 2 * COLUMNS:
        return np.arange(points.size)
    edges = np.linspace(0, points.size, COLUMNS + 1).astype(np.intp)
    chosen = {int(a + f(points[a:b])) for a, b in pairwise(edges) for f in (np.argmin, np.argmax)}
    return np.array(sorted(chosen | set(list(marked)[: 4 * COLUMNS])), np.intp)


def by_cell(cells: Numbers, parts: Sequence[str], operators: Sequence[str], unit: str, title: str) -> Picture:
    """Draw every reading of a gauge study over its board, one colour and mark for each operator."""
    scale = Scale(cells, unit)
    shades, marks = ("#0a7285", "#b45309", "#4a5a6a", "#7a3e9d"), "osD^v"

    def draw(figure: Figure) -> None:
        axis = figure.add_subplot()
        for number, operator in enumerate(operators):
            shift = (number - (len(operators) - 1) / 2) * 0.7 / max(2, len(operators))
            colour, mark = shades[number % len(shades)], marks[number % len(marks)]
            for part in range(len(parts)):
                there = scale(cells[part, number])
                axis.plot(np.full(there.size, part + shift), there, mark, color=colour, markersize=3.5,
                          label=operator or "readings" if part == 0 else None)  # fmt: skip
            axis.plot(np.arange(len(parts)) + shift, scale(cells[:, number].mean(axis=1)), color=colour, linewidth=0.7)
        axis.set_xticks(range(len(parts)), list(parts), rotation=45 if len(parts) > 12 else 0, fontsize=7)
        axis.set_xlabel("board")
        axis.set_ylabel(scale.label("reading"))
        axis.legend(
            fontsize=7, frameon=False, ncols=min(5, len(operators)), loc="upper center", bbox_to_anchor=(0.5, 1.14)
        )

    words = f"{len(parts)} boards, {len(operators)} operators, {cells.shape[2]} repeats"
    return drawn(title, f"Readings of {title} by board and operator: {words}.", draw)


def bars(names: Sequence[str], groups: Sequence[tuple[str, Sequence[float]]], title: str, label: str) -> Picture:
    """Draw bars in groups: what a spread is made of."""

    def draw(figure: Figure) -> None:
        axis = figure.add_subplot()
        width = 0.8 / len(groups)
        for number, (name, values) in enumerate(groups):
            colour = (POINT, "#0a7285", LIMIT)[number % 3]
            axis.bar(
                np.arange(len(names)) + (number - (len(groups) - 1) / 2) * width,
                values,
                width,
                label=name,
                color=colour,
            )
        axis.set_xticks(range(len(names)), list(names), fontsize=8)
        axis.set_ylabel(label)
        axis.legend(fontsize=7, frameon=False)

    told = "; ".join(f"{name}: " + ", ".join(f"{v:.3g}" for v in values) for name, values in groups)
    return drawn(title, f"{title} of {', '.join(names)}. {told}.", draw)


def differences(first: Numbers, second: Numbers, found: Agreement, unit: str, title: str) -> Picture:
    """Draw differences over the means of their pairs, with the limits of agreement and their confidence as bands."""
    means, gaps = (first + second) / 2, second - first
    across, up = Scale(means, unit), Scale(gaps, unit)

    def draw(figure: Figure) -> None:
        axis = figure.add_subplot()
        axis.plot(across(means), up(gaps), ".", color=POINT, markersize=5)
        for name, one, colour in (
            ("upper limit\nof agreement", found.upper, LIMIT),
            ("mean\ndifference", found.mean, INK),
            ("lower limit\nof agreement", found.lower, LIMIT),
        ):
            axis.axhspan(float(up(one.low)), float(up(one.high)), color=colour, alpha=0.12, linewidth=0)
            axis.axhline(float(up(one.value)), color=colour, linewidth=0.8)
            axis.annotate(name, (1.01, float(up(one.value))), xycoords=("axes fraction", "data"), ha="left",
                          va="center", fontsize=7, color=colour, annotation_clip=False)  # fmt: skip
        axis.set_xlabel(across.label("mean of the pair"))
        axis.set_ylabel(up.label("difference"))

    return drawn(
        title, f"Differences of {title} over the means of {found.pairs} pairs, with limits of agreement.", draw
    )
