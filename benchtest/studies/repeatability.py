"""Is the gauge good enough? Boards × operators (or benches) × repeats, analysed.

Every cell must hold the same number of readings; what is missing is named, since a study with holes answers another
question. The interaction is pooled where its probability is above a stated one, and the report says so.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np

from benchtest.errors import StudyError
from benchtest.metrology.gauge_ranges import ByRanges, by_ranges
from benchtest.metrology.variance_components import POOL_ABOVE, Analysis, crossed
from benchtest.studies.readings import Numbers, Quantity, Readings, Series

Across: TypeAlias = Literal["operator", "bench"]
SIGMAS: Final = 6.0
"""Standard deviations of a study's spread."""
NAMED: Final = 4
"""Cells that an error names."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class GaugeStudy:
    """One reading, studied."""

    quantity: Quantity
    across: Across
    boards: tuple[str, ...]
    operators: tuple[str, ...]
    cells: Numbers
    """In the shape (boards, operators, repeats)."""
    analysis: Analysis
    ranges: ByRanges
    tolerance: float
    """Between both limits; with one, twice the distance from the mean to it; NaN without a limit."""
    mean: float

    @property
    def of_tolerance(self) -> tuple[float, float, float]:
        """Six standard deviations of the gauge over the tolerance, with confidence limits."""
        gauge = self.analysis.components.gauge
        low, value, high = (SIGMAS * math.sqrt(one) / self.tolerance for one in (gauge.low, gauge.value, gauge.high))
        return value, low, high


def study_repeatability(
    readings: Readings, *, across: Across = "operator", pool_above: float = POOL_ABOVE, confidence: float = 0.95
) -> tuple[GaugeStudy, ...]:
    """Return a study of each reading. Raises StudyError that names what is missing."""
    missing = "".join(f"; {note}" for note in readings.notes if note.endswith("no value"))
    return tuple(_study(series, readings.source + missing, across, pool_above, confidence) for series in readings)


def _study(series: Series, source: str, across: Across, pool_above: float, confidence: float) -> GaugeStudy:
    where = f"{source}: {series.quantity.title}"
    boards, operators = series.factors["board"].names, series.factors[across].names
    cells = _cells(series, where, across)
    if not float(np.ptp(cells)) > 0:
        raise StudyError(f"{where}: all {cells.size} readings are the same number (a finer resolution is needed)")
    if not float(np.max(np.ptp(cells, axis=2))) > 0:
        raise StudyError(
            f"{where}: the repeats of every board are the same number, so that repeatability does not show (a finer "
            "resolution is needed; until then its share is resolution / 3.46)"
        )
    return GaugeStudy(
        quantity=series.quantity,
        across=across,
        boards=tuple(boards[number] for number in _order(boards)),
        operators=operators,
        cells=cells[_order(boards)],
        analysis=crossed(cells, pool_above=pool_above, confidence=confidence),
        ranges=by_ranges(cells),
        tolerance=_tolerance(series.quantity, float(cells.mean())),
        mean=float(cells.mean()),
    )


def _order(names: Sequence[str]) -> list[int]:
    """Return names in the order in which people count: 2 before 10."""
    return sorted(
        range(len(names)), key=lambda n: (not names[n].isdigit(), int(names[n]) if names[n].isdigit() else 0, names[n])
    )


def _cells(series: Series, where: str, across: Across) -> Numbers:
    """Return the readings by board, operator and repeat; raise StudyError for cells that lack some."""
    boards, operators = series.factors["board"], series.factors[across]
    if len(boards.names) < 2:
        found = f"board {boards.names[0]!r} alone" if boards.names[0] else "no boards named"
        raise StudyError(f"{where}: {found} (a gauge study needs two boards at least, ten to know their spread)")
    width = len(operators.names)
    cell = boards.codes.astype(np.intp) * width + operators.codes
    counts = np.bincount(cell, minlength=len(boards.names) * width)
    repeats = int(Counter(counts[counts > 0].tolist()).most_common(1)[0][0])
    if wrong := [number for number, count in enumerate(counts) if count != repeats]:
        named = [f"{_cell(boards.names, operators.names, n, across)} has {counts[n]}" for n in wrong[:NAMED]]
        more = f", and {len(wrong) - NAMED} cells more" if len(wrong) > NAMED else ""
        raise StudyError(
            f"{where}: most cells have {repeats} readings, but {', '.join(named)}{more} (read what is "
            "missing, or leave the board out of the table)"
        )
    if repeats < 2:
        raise StudyError(f"{where}: one reading a cell says nothing of repeatability (expected two or more)")
    order = np.argsort(cell, kind="stable")
    return series.values[order].reshape(len(boards.names), width, repeats)


def _cell(boards: Sequence[str], operators: Sequence[str], number: int, across: Across) -> str:
    operator = operators[number % len(operators)]
    return f"board {boards[number // len(operators)]}" + (f" by {across} {operator}" if operator else "")


def _tolerance(quantity: Quantity, mean: float) -> float:
    if math.isfinite(quantity.low) and math.isfinite(quantity.high):
        return quantity.high - quantity.low
    if not quantity.limited:
        return math.nan
    return 2 * abs((quantity.high if math.isfinite(quantity.high) else quantity.low) - mean)
