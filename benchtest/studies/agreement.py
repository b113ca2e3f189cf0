"""Whether two benches read the same, or a board has changed between as found and as left.

Readings are paired by board. Where a board was read several times on a side, its last reading there counts, and it is
said how many were set aside: pairs must be independent.
"""

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np

from benchtest.errors import StudyError
from benchtest.metrology.paired_differences import Agreement, agreement
from benchtest.studies.readings import Numbers, Quantity, Readings, Series

Between: TypeAlias = Literal["bench", "phase", "operator"]
PHASES: Final = ("as found", "as left")


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class AgreementStudy:
    """One reading, compared."""

    quantity: Quantity
    first: Numbers
    second: Numbers
    boards: tuple[str, ...]
    found: Agreement
    aside: int
    """Readings that are no pair, or not the last of their board."""
    agrees: bool | None
    """Both limits of agreement with all of their confidence within what is allowed; None while that is open."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Compared:
    """All readings, and those of which nothing can be said."""

    sides: tuple[str, str]
    studies: tuple[AgreementStudy, ...]
    left_out: tuple[str, ...]


def study_agreement(
    readings: Readings,
    *,
    between: Between,
    sides: tuple[str, str] | None = None,
    allowed: float | None = None,
    confidence: float = 0.95,
) -> Compared:
    """Return the comparison of each reading. Raises StudyError when there are not two sides, or no pairs."""
    named = sides or _sides(readings, between)
    studies, left_out = list[AgreementStudy](), list[str]()
    for series in readings:
        try:
            studies.append(_study(series, between, named, allowed, confidence))
        except ValueError as cause:
            left_out.append(f"{series.quantity.title}: {cause}")
    if not studies:
        raise StudyError(f"{readings.source}: nothing can be compared ({'; '.join(left_out[:3])})")
    return Compared(sides=named, studies=tuple(studies), left_out=tuple(left_out))


def _sides(readings: Readings, between: Between) -> tuple[str, str]:
    names = [name for name in readings.factors[between].names if name]
    if between == "phase" and set(PHASES) <= set(names):
        return PHASES
    if len(names) != 2:
        there = ", ".join(names[:6]) or "none is named"
        several = "benches" if between == "bench" else f"{between}s"
        count = f"{len(names)} {between if len(names) == 1 else several}"
        raise StudyError(f"{readings.source}: {count} ({there}); expected two (choose them with --sides)")
    return names[0], names[1]


def _study(
    series: Series, between: Between, sides: tuple[str, str], allowed: float | None, confidence: float
) -> AgreementStudy:
    pair = [series.where(between, side).last_of_each("board") for side in sides]
    first, second = ({one.factors["board"].names[code]: value for code, value in _coded(one)} for one in pair)
    boards = [board for board in first if board in second]
    if boards == [""]:
        raise ValueError("readings without boards cannot be paired (give the table a column 'board')")
    if len(boards) < 3:
        raise ValueError(f"{len(boards)} boards were read on both sides (expected three or more)")
    one, other = (np.array([side[board] for board in boards], np.float64) for side in (first, second))
    found = agreement(one, other, confidence=confidence)
    return AgreementStudy(
        quantity=series.quantity,
        first=one,
        second=other,
        boards=tuple(boards),
        found=found,
        aside=series.count - 2 * len(boards),
        agrees=None if allowed is None else _agrees(found, allowed),
    )


def _coded(series: Series) -> list[tuple[int, float]]:
    return list(zip(series.factors["board"].codes.tolist(), series.values.tolist(), strict=True))


def _agrees(found: Agreement, allowed: float) -> bool | None:
    """Return whether the benches agree as far as is allowed; None where the confidence limits leave it open."""
    if found.lower.low >= -allowed and found.upper.high <= allowed:
        return True
    return False if found.lower.high < -allowed or found.upper.low > allowed else None
