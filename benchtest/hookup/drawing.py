"""A connector as a drawing: its pins from top to bottom, a line for each wire, words beside it. Ink alone, no colour.

Each role has a line of its own (thick, dashed, dotted) and always its word beside it, so that a grey or smeared print
still tells. Bridges of a jumper plug are thick brackets on the pins' other side. Plain SVG written as text, the same in
PDF and HTML; `currentColor` turns white on a dark screen.
"""

import textwrap
from collections.abc import Iterable, Iterator
from html import escape
from typing import Final

from benchtest.certificate.glyphs import shown_or_named
from benchtest.hookup.sheet import Pin

WIDTH: Final = 340.0
BODY: Final = 26.0
"""Left edge of the connector; brackets of bridges are left of it."""
BOX: Final = 22.0
"""Width of a pin."""
LINE: Final = 11.5
"""Height of one line of words."""
WORDS: Final = 96.0
"""Where words begin."""
COLUMNS: Final = 50
"""Characters that fit beside a pin."""
STYLE: Final = {
    "supply": 'stroke-width="3.2"',
    "drive": 'stroke-width="1.4"',
    "resistance": 'stroke-width="1.4" stroke-dasharray="9 3 2 3"',
    "sense": 'stroke-width="1.2" stroke-dasharray="6 3"',
    "contact": 'stroke-width="1.8" stroke-dasharray="1.8 2.6"',
    "ohms": 'stroke-width="0.9" stroke-dasharray="0.9 4"',
    "link": 'stroke-width="1.4" stroke-dasharray="14 3"',
}
"""Line of each role; the current of a supply goes through its own wire."""


def draw(pins: Iterable[Pin], bridges: tuple[tuple[int, int], ...], *, crossed: bool) -> tuple[str, float]:
    """Return a connector's drawing as SVG, and its height; `crossed` strikes out one that must stay empty."""
    parts, y, middles = list[str](), 4.0, dict[int, float]()
    top = y
    for pin in pins:
        lines = list(_lines(pin))
        height = max(17.0, LINE * len(lines) + 5)
        middles[pin.number] = y + height / 2
        parts += _pin(pin.number, y, height)
        start = y + (height - LINE * len(lines)) / 2
        for place, (style, strong, words) in enumerate(lines):
            parts += _wire(style, strong, words, start + LINE * (place + 0.5))
        y += height
    parts.append(_rectangle(BODY, top, BOX, y - top, 'stroke-width="1.8"'))
    parts += _brackets(bridges, middles)
    if crossed:
        parts += _cross(top, y)
    style = f'font-family="DejaVu Sans" font-stretch="condensed" font-size="9" viewBox="0 0 {WIDTH:g} {y + 4:g}"'
    size = f'width="{WIDTH:g}" height="{y + 4:g}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size} {style}>{"".join(parts)}</svg>', y + 4


def _lines(pin: Pin) -> Iterator[tuple[str, str, str]]:
    """Yield line style, strong words and plain words: what a pin is for beside its only wire, else above its wires."""
    if len(pin.entries) == 1 and len(pin.entries[0].text) + len(pin.purpose) < COLUMNS:
        yield pin.entries[0].style, pin.entries[0].text, pin.purpose
        return
    for part in textwrap.wrap(pin.purpose, COLUMNS):
        yield "", "", part
    for entry in pin.entries:
        for place, part in enumerate(textwrap.wrap(entry.text, COLUMNS)):
            yield (entry.style if place == 0 else ""), part, ""


def _pin(number: int, y: float, height: float) -> list[str]:
    return [
        _rectangle(BODY, y, BOX, height, 'stroke-width="0.7"'),
        _text(BODY + BOX / 2, y + height / 2, str(number), 'text-anchor="middle" font-weight="bold" font-size="10"'),
    ]


def _wire(style: str, strong: str, words: str, y: float) -> list[str]:
    line = STYLE.get(style)
    drawn = [] if line is None else [_line(BODY + BOX + 1, y, WORDS - 6, y, line)]
    bold = f'<tspan font-weight="bold">{_shown(strong)}</tspan>' if strong else ""
    between = "\u2003" if strong and words else ""  # an em of room
    placed = f'<text x="{WORDS:g}" y="{y + 3.2:g}" fill="currentColor">'
    return [*drawn, f"{placed}{bold}{between}{_shown(words)}</text>"]


def _brackets(bridges: tuple[tuple[int, int], ...], middles: dict[int, float]) -> list[str]:
    parts = []
    for place, (one, other) in enumerate(bridges):
        x, high, low = BODY - 8 - 5 * (place % 3), middles[one], middles[other]
        line = f'<path d="M{BODY:g} {high:g}H{x:g}V{low:g}H{BODY:g}" fill="none" stroke="currentColor" '
        parts.append(line + 'stroke-width="3.4"/>')
    return parts


def _cross(top: float, bottom: float) -> list[str]:
    right = BODY + BOX
    return [
        _line(BODY, top, right, bottom, 'stroke-width="1.1"'),
        _line(right, top, BODY, bottom, 'stroke-width="1.1"'),
    ]


def _line(x1: float, y1: float, x2: float, y2: float, style: str) -> str:
    return f'<path d="M{x1:g} {y1:g}L{x2:g} {y2:g}" fill="none" stroke="currentColor" {style}/>'


def _rectangle(x: float, y: float, width: float, height: float, style: str) -> str:
    place = f'x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}"'
    return f'<rect {place} fill="none" stroke="currentColor" {style}/>'


def _text(x: float, y: float, words: str, style: str) -> str:
    return f'<text x="{x:g}" y="{y + 3.2:g}" fill="currentColor" {style}>{_shown(words)}</text>'


def _shown(words: str) -> str:
    return escape(shown_or_named(words))
