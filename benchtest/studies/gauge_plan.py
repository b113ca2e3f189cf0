"""The sheet of a gauge study: who reads which board when, in an order that a seed decides.

Every repeat is a round of its own. In each round the operators come in random order, and each of them reads all boards
in a random order of his own: nobody reads a board twice in a row, and what changes over the day meets all alike.
"""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from benchtest.errors import CaptureError, StudyError
from benchtest.studies.repeatability import Across

MOST: Final = 10_000
"""Readings of a study that somebody will do by hand."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """What a study consists of."""

    boards: tuple[str, ...]
    operators: tuple[str, ...]
    repeats: int
    seed: int
    across: Across = "operator"
    quantity: str = "reading"
    unit: str = ""
    low: str = ""
    high: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One reading to be made."""

    order: int
    board: str
    operator: str
    repeat: int


def planned(asked: Asked) -> tuple[Line, ...]:
    """Return all readings in their order. Raises StudyError where the plan would not answer the question."""
    for name, values, least in (("boards", asked.boards, 2), ("operators", asked.operators, 1)):
        if len(values) < least or len(set(values)) < len(values):
            raise StudyError(
                f"{len(set(values))} different {name} of {len(values)} (expected {least} or more, each once)"
            )
    count = len(asked.boards) * len(asked.operators) * asked.repeats
    if asked.repeats < 2 or count > MOST:
        raise StudyError(
            f"{asked.repeats} repeats, {count} readings (expected two repeats or more, {MOST} readings at most)"
        )
    chance, lines = np.random.default_rng(asked.seed), list[Line]()
    for repeat in range(1, asked.repeats + 1):
        for operator in chance.permutation(len(asked.operators)):
            for board in chance.permutation(len(asked.boards)):
                made = Line(
                    order=len(lines) + 1, board=asked.boards[board], operator=asked.operators[operator], repeat=repeat
                )
                lines.append(made)
    return tuple(lines)


def sheet(asked: Asked, lines: Sequence[Line]) -> str:
    """Return the sheet as a table to be filled in, which the study reads."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(("order", "quantity", "unit", "low", "high", "board", asked.across, "repeat", "value"))
    for line in lines:
        head = (line.order, asked.quantity, asked.unit, asked.low, asked.high)
        writer.writerow((*head, line.board, line.operator, line.repeat, ""))
    return text.getvalue()


@dataclass(slots=True)
class Sheet:
    """A sheet that is being filled in."""

    path: Path
    head: list[str]
    rows: list[list[str]]

    @classmethod
    def read(cls, path: Path) -> "Sheet":
        """Return the sheet of a file. Raises CaptureError when it is none."""
        try:
            text = path.read_text(encoding="utf-8-sig")
            rows = [row for row in csv.reader(io.StringIO(text), strict=True) if row]
        except OSError as cause:
            reason = (cause.strerror or str(cause)).lower()
            raise CaptureError(
                path, f"cannot be read: {reason}", expected="a sheet of 'benchtest study plan'"
            ) from cause
        except (UnicodeDecodeError, csv.Error) as cause:
            raise CaptureError(path, f"is no table: {cause}", expected="a sheet of 'benchtest study plan'") from cause
        if not rows or not {"board", "value"} <= set(rows[0]):
            found = ", ".join(rows[0]) if rows else "nothing"
            raise CaptureError(path, f"columns {found}", expected="a sheet of 'benchtest study plan'")
        wrong = next((n for n, row in enumerate(rows, 1) if len(row) != len(rows[0])), None)
        if wrong is not None:
            raise CaptureError(
                path, f"{len(rows[wrong - 1])} fields", place=f"line {wrong}", expected=str(len(rows[0]))
            )
        return cls(path=path, head=rows[0], rows=rows[1:])

    @property
    def open(self) -> list[int]:
        """Rows without a value, in order."""
        place = self.head.index("value")
        return [number for number, row in enumerate(self.rows) if not row[place].strip()]

    def says(self, number: int) -> str:
        """Return what is to be read next."""
        row = dict(zip(self.head, self.rows[number], strict=True))
        words = [f"{name} {row[name]}" for name in ("board", "operator", "bench") if row.get(name)]
        unit = f" in {row['unit']}" if row.get("unit") else ""
        return f"{', '.join(words)}: {row.get('quantity') or 'reading'}{unit}"

    def fill(self, number: int, value: str) -> None:
        """Put a value into a row."""
        self.rows[number][self.head.index("value")] = value

    def text(self) -> str:
        """Return the table as it now is."""
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerows([self.head, *self.rows])
        return text.getvalue()
