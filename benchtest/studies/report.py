"""What a study has found, ready for a terminal of 80 columns, for machines, and as one page.

A study fills in sentences, tables and pictures; how they are laid out is the same for all of them. Machines get the
findings themselves, unrounded, with a format and its version; what is no number there is null.
"""

import math
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, is_dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Final

from jinja2 import Environment, StrictUndefined, Template

WIDTH: Final = 80
NARROWEST: Final = 12
"""Columns that the names of a table have at least."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Table:
    """Rows under a title; the first column is words, the others are set to the right."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Picture:
    """A drawing with its text alternative."""

    title: str
    svg: str
    alternative: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Report:
    """A study for people, and its findings for machines."""

    kind: str
    """Last part of the format: `benchtest-study-limits/1`."""
    title: str
    source: str
    summary: tuple[str, ...]
    """What a reader wants first, in sentences."""
    tables: tuple[Table, ...]
    notes: tuple[str, ...]
    """How it was worked out, and what was set aside."""
    findings: Any
    """Dataclasses and plain data, unrounded."""
    pictures: tuple[Picture, ...] = ()


def to_json(report: Report) -> dict[str, Any]:
    """Return the findings as plain data."""
    head = {"format": f"benchtest-study-{report.kind}/1", "title": report.title, "source": report.source}
    return {**head, "summary": list(report.summary), **_plain(report.findings), "notes": list(report.notes)}


def _plain(found: Any) -> Any:
    """Return it as what JSON has: numbers that are none, and infinite ones, are null."""
    if is_dataclass(found) and not isinstance(found, type):
        return _plain(asdict(found))
    if isinstance(found, dict):
        return {str(key): _plain(value) for key, value in found.items()}
    if isinstance(found, list | tuple):
        return [_plain(value) for value in found]
    if isinstance(found, float):
        return found if math.isfinite(found) else None
    return found


def to_lines(report: Report, width: int = WIDTH, *, spell: Callable[[str], str] = str) -> Iterator[str]:
    """Yield the report line by line, none longer than `width` unless a single word or number is.

    `spell` puts plain spellings for what a terminal lacks, before anything is set in columns.
    """
    yield from _wrapped(spell(report.title), width)
    yield from _wrapped(spell(f"from {report.source}"), width)
    yield ""
    for sentence in report.summary:
        yield from _wrapped(spell(sentence), width)
    for table in report.tables:
        yield ""
        if table.title:
            yield spell(table.title)
        yield from _table([[spell(cell) for cell in row] for row in (table.head, *table.rows)], width)
    if report.notes:
        yield ""
    for note in report.notes:
        yield from _wrapped(spell(f"- {note}"), width, indent="  ")


def _wrapped(text: str, width: int, indent: str = "") -> list[str]:
    lines = textwrap.wrap(text, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
    return lines or [""]


def _table(rows: Sequence[Sequence[str]], width: int) -> Iterator[str]:
    """Yield rows in columns, the first of them the head."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    widths[0] = max(NARROWEST, min(widths[0], width - sum(widths[1:]) - 2 * (len(widths) - 1)))
    for number, row in enumerate(rows):
        yield from _row(row, widths)
        if number == 0:
            yield "  ".join("-" * one for one in widths)


def _row(row: Sequence[str], widths: Sequence[int]) -> Iterator[str]:
    """Yield a row; a name that is too long goes on below itself."""
    name = textwrap.wrap(row[0], widths[0]) or [""]
    rest = "".join(f"  {cell:>{width}}" for cell, width in zip(row[1:], widths[1:], strict=True))
    yield f"{name[0]:<{widths[0]}}{rest}".rstrip()
    yield from (f"{more:<{widths[0]}}".rstrip() for more in name[1:])


def to_html(report: Report) -> str:
    """Return the report as a page that loads nothing and runs nothing."""
    return _page().render(r=report)


@cache
def _page() -> Template:
    made = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return made.from_string(files("benchtest.studies").joinpath("report.html.j2").read_text(encoding="utf-8"))
