"""The rows of a table as numbers, a block at a time.

Three ways, each tried when the one before fails on a block: numpy's reader on the bytes as they are; the same after
every word for "no reading" became a number too large to be one; cell by cell, which also reads stamps and states and
finds the line of what cannot be read. So a clean file is read at the speed of numpy's reader, and one with a few words
in it not much slower.
"""

import csv
import io
import os
import re
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchtest.captures.cells import NO_READING, SCPI_INFINITY, is_no_reading, reader_of
from benchtest.captures.layout import Column, Layout
from benchtest.errors import CaptureError

Numbers = NDArray[np.float64]
_TOO_LARGE: Final = 1e301
"""Times its place in NO_READING, from 1: stands for a word in a block of numbers."""
_BEYOND: Final = 0.999 * SCPI_INFINITY
_COMMENT = re.compile(rb"^#.*\n", re.MULTILINE)
_EMPTY_LINES = re.compile(rb"^[ \t,;\x1a]*\n", re.MULTILINE)


@dataclass(kw_only=True, slots=True)
class Rows:
    """Reads chosen columns of a table; remembers what it left out."""

    layout: Layout
    columns: tuple[Column, ...]
    left_out: list[Counter[str]] = field(default_factory=list)
    """Words for "no reading" of each column, counted."""
    readers: list[Callable[[str, str], float]] = field(default_factory=list)
    count: int = 0
    """Rows read so far."""

    def __post_init__(self) -> None:
        self.left_out = [Counter() for _ in self.columns]
        self.readers = [reader_of(column.kind) for column in self.columns]

    def blocks(self) -> Iterator[Numbers]:
        """Yield blocks of rows, shape (rows, columns); not-a-number where there is no reading."""
        line = 1
        skip = self.layout.skip
        for block in self.layout.text.blocks():
            first, line = line, line + _count(block, "\n")
            if line <= skip + 1:
                continue
            rows = block
            if first <= skip:
                rows = rows.split(b"\n", skip + 1 - first)[-1]
                first = skip + 1
            numbers = self._read(rows, first)
            if numbers.shape[0]:
                self.count += numbers.shape[0]
                yield numbers

    def _read(self, block: bytes, line: int) -> Numbers:
        if any(column.kind not in {"number", "none"} for column in self.columns):
            return self._cell_by_cell(block, line)
        plain = _without_asides(block)
        if not plain:
            return np.empty((0, len(self.columns)))
        for clean in (lambda text: text, self._with_codes):
            try:
                return self._marked(self._fast(clean(plain)))
            except ValueError:
                continue
        return self._cell_by_cell(block, line)

    def _fast(self, block: bytes) -> Numbers:
        """Return the numbers of a block that holds nothing else; raise ValueError otherwise."""
        delimiter = self.layout.delimiter
        if b'"' in block:
            block = self._unquoted(block)
        lines = _count(block, "\n")
        if delimiter not in {"", " "} and _count(block, delimiter) != (self.layout.width - 1) * lines:
            raise ValueError("rows of other lengths")
        if delimiter == self.layout.decimal:
            raise ValueError("decimal commas within quotes")
        if self.layout.decimal == ",":
            if b"." in block:
                raise ValueError("points among decimal commas")
            block = block.replace(b",", b".")
        places = [column.place for column in self.columns]
        between = delimiter if delimiter.strip() or delimiter == "\t" else None
        with _as_file(block) as file:
            numbers = np.loadtxt(file, delimiter=between, usecols=places, comments=None, ndmin=2, encoding="latin-1")
        if numbers.shape[0] != lines:
            raise ValueError("lines that are no rows")
        return numbers

    def _unquoted(self, block: bytes) -> bytes:
        if re.search(
            rb'"[^"\n]*' + re.escape(self.layout.delimiter.encode() or b"\n") + rb'[^"\n]*"(?=[,;\t\n])', block
        ):
            raise ValueError("a delimiter within quotes")
        return block.replace(b'"', b"")

    def _with_codes(self, block: bytes) -> bytes:
        """Return the block with a number for every word that says there is no reading."""
        edge = re.escape(self.layout.delimiter.encode())
        cells = rb"(?<=[\n%s])(?:(?! *[+-]?[0-9.])[^\n%s]*|[+-]?1[.,]#[A-Z0-9]+|[+-]?0L)(?=[\n%s])" % (edge, edge, edge)
        return re.sub(cells, _coded, b"\n" + block, flags=re.IGNORECASE)[1:]

    def _marked(self, numbers: Numbers) -> Numbers:
        """Return the numbers with not-a-number for codes, infinities and what meters print for them."""
        for place, left_out in enumerate(self.left_out):
            column = numbers[:, place]
            wrong = ~(np.abs(column) < _BEYOND)
            if wrong.any():
                left_out.update(_word(value) for value in column[wrong])
                column[wrong] = np.nan
        return numbers

    def _cell_by_cell(self, block: bytes, line: int) -> Numbers:
        found: list[list[float]] = []
        lines = block.decode("utf-8" if self.layout.text.encoding.startswith("utf") else "latin-1", "replace").split(
            "\n"
        )
        for number, text in enumerate(lines, line):
            if not text.strip().strip(",;\t\x1a") or text.startswith("#"):
                continue
            found.append(self._row(self._cells(text), number, text))
        return np.array(found, float).reshape(len(found), len(self.columns))

    def _cells(self, text: str) -> list[str]:
        delimiter = self.layout.delimiter
        if delimiter == " ":
            return text.split()
        if '"' in text:
            return next(csv.reader([text], delimiter=delimiter or "\x1f", skipinitialspace=True), [])
        return text.split(delimiter) if delimiter else [text]

    def _row(self, cells: list[str], line: int, text: str) -> list[float]:
        while len(cells) > self.layout.width and not cells[-1].strip():
            cells.pop()
        needed = max(column.place for column in self.columns)
        if len(cells) > self.layout.width or len(cells) <= needed:
            raise CaptureError(
                self.layout.text.path,
                f"{len(cells)} cells in {text[:60]!r}",
                place=f"line {line}",
                expected=f"{self.layout.width} cells as in the rows before",
                hint="a second table, a footer or a torn row: cut the file there",
            )
        return [self._value(which, cells[column.place], line) for which, column in enumerate(self.columns)]

    def _value(self, which: int, cell: str, line: int) -> float:
        try:
            value = self.readers[which](cell, self.layout.decimal)
        except ValueError as problem:
            if not is_no_reading(cell):
                raise self._unread(which, cell, line, str(problem)) from None
            self.left_out[which][cell.strip() or "empty"] += 1
            return np.nan
        if abs(value) < _BEYOND:
            return value
        self.left_out[which][_word(value)] += 1
        return np.nan

    def _unread(self, which: int, cell: str, line: int, problem: str) -> CaptureError:
        column = self.columns[which]
        mark = "comma" if self.layout.decimal == "," else "point"
        return CaptureError(
            self.layout.text.path,
            f"{cell.strip()[:40]!r} in column {column.place + 1} '{column.name}' ({problem})",
            place=f"line {line}",
            expected=f"{column.kind if column.kind != 'none' else 'number'}s with a decimal {mark}",
            hint="a second table, another decimal mark or a torn row: say --decimal or cut the file there",
        )


def _count(block: bytes, sign: str) -> int:
    """Return how often one sign occurs; numpy counts frequent ones four times as fast as `bytes.count`."""
    return int(np.count_nonzero(np.frombuffer(block, np.uint8) == ord(sign)))


@contextmanager
def _as_file(block: bytes) -> Iterator[str | io.StringIO]:
    """Yield the block as numpy's reader likes it best: as the name of a file, which it takes in large pieces.

    The file lies in memory where the system has such files; elsewhere the reader gets the text line by line.
    """
    if not hasattr(os, "memfd_create"):
        yield io.StringIO(block.decode("latin-1"))
        return
    with os.fdopen(os.memfd_create("rows"), "wb") as file:
        file.write(block)
        file.flush()
        yield f"/proc/self/fd/{file.fileno()}"


def _without_asides(block: bytes) -> bytes:
    """Return the block without comments and without empty lines."""
    if b"#" in block:
        block = _COMMENT.sub(b"", block)
    feeds = np.frombuffer(block, np.uint8) == ord("\n")
    if feeds[:1].any() or (feeds[1:] & feeds[:-1]).any():
        block = _EMPTY_LINES.sub(b"", block)
    return block


def _word(value: float) -> str:
    """Return the word for "no reading" that a number stands for."""
    if not np.isfinite(value):
        return "nan" if np.isnan(value) else "inf"
    code = round(abs(value) / _TOO_LARGE)
    if 1 <= code <= len(NO_READING):
        return NO_READING[code - 1] or "empty"
    return f"{value:.4G}".replace("E+", "E")


def _coded(match: re.Match[bytes]) -> bytes:
    """Return the number that stands for a word, or the cell as it is when it is none of them."""
    cell = match[0].decode("latin-1").strip().strip('"').upper().replace("1,#", "1.#")
    word = cell if cell in _CODES else cell.lstrip("+-")
    return b"%de301" % _CODES[word] if word in _CODES else match[0]


_CODES: Final = {word: place for place, word in enumerate(NO_READING, 1)}
