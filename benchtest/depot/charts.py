"""Drawings of a report: plain SVG written as text, in ink that follows the page, each with its words.

Bars lie, with their name above them, so that they can be read on a telephone. Nothing is told by colour alone: parts of
a column differ in how they are filled, and every number that is drawn stands in the table below.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

WIDTH: Final = 340.0
ROW: Final = 34.0
BAR: Final = 11.0
ROOM: Final = 58.0
"""Right of the longest bar, for its number."""
NUMBER: Final = 36.0
"""What a number takes."""
HEIGHT: Final = 130.0
"""Of a chart of columns."""
LEFT: Final = 34.0
FOOT: Final = 34.0
LONGEST: Final = 46
"""Characters of a name that fit above a bar."""
ACCENT: Final = "#0a7285"
FILLS: Final = (f'fill="{ACCENT}"', f'fill="url(#stripes)" stroke="{ACCENT}"', f'fill="none" stroke="{ACCENT}"')
STRIPES: Final = (
    '<defs><pattern id="stripes" width="4" height="4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    f'<rect width="2" height="4" fill="{ACCENT}"/></pattern></defs>'
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Bar:
    """One lying bar."""

    name: str
    share: float
    """Of the longest bar that there could be."""
    text: str
    """The number at its end."""
    low: float | None = None
    high: float | None = None
    """Limits of the share, drawn as a line."""
    running: float | None = None
    """Sum of the shares down to here, drawn as a dot."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Chart:
    """A drawing with its text alternative."""

    svg: str
    alternative: str


def bars(what: str, rows: Sequence[Bar]) -> Chart:
    """Return lying bars, as wide as their shares; the widest fills the room when none has limits or a running sum."""
    full = 1.0 if any(row.high is not None or row.running is not None for row in rows) else max(r.share for r in rows)
    drawn = "".join(_bar(row, number * ROW, full or 1.0) for number, row in enumerate(rows))
    words = "; ".join(f"{row.name}: {row.text}" for row in rows)
    return Chart(svg=_svg(len(rows) * ROW, drawn), alternative=f"{what}. {words}.")


def _x(share: float) -> float:
    return share * (WIDTH - ROOM)


def _bar(row: Bar, top: float, full: float) -> str:
    name = row.name if len(row.name) <= LONGEST else row.name[: LONGEST - 1] + "…"
    end = _x(row.share / full)
    parts = [
        f'<text x="0" y="{top + 11:.1f}" class="name">{escape(name)}</text>',
        f'<rect x="0" y="{top + 15:.1f}" width="{max(end, 0.5):.1f}" height="{BAR}" fill="{ACCENT}"/>',
    ]
    if row.low is not None and row.high is not None:
        middle = top + 15 + BAR / 2
        parts.append(_limits(_x(row.low), _x(row.high), middle))
        end = max(end, _x(row.high))
    if row.running is not None:
        parts.append(f'<circle cx="{_x(row.running):.1f}" cy="{top + 20:.1f}" r="2.5" fill="currentColor"/>')
        end = _x(row.running) if end - 4 <= _x(row.running) <= end + NUMBER else end  # the number would cover the dot
    return "".join([*parts, f'<text x="{end + 6:.1f}" y="{top + 24.5:.1f}">{escape(row.text)}</text>'])


def _limits(low: float, high: float, middle: float) -> str:
    ends = "".join(f"M{x:.1f} {middle - 4:.1f}v8" for x in (low, high))
    return f'<path d="M{low:.1f} {middle:.1f}H{high:.1f}{ends}" stroke="currentColor" fill="none"/>'


def columns(what: str, names: Sequence[str], stacks: Sequence[Sequence[int]], kinds: Sequence[str]) -> Chart:
    """Return standing columns, one a name, each a stack of counts from the bottom up, one a kind."""
    most = max((sum(stack) for stack in stacks), default=0) or 1
    pitch = (WIDTH - LEFT) / max(len(names), 1)
    drawn = [_axis(most)]
    for number, (name, stack) in enumerate(zip(names, stacks, strict=True)):
        drawn.append(_column(stack, LEFT + number * pitch, pitch, most))
        if number % max(1, round(len(names) / 6)) == 0:
            x = min(LEFT + (number + 0.5) * pitch, WIDTH - NUMBER / 2 - 4)
            drawn.append(f'<text x="{x:.1f}" y="{HEIGHT + 22:.1f}" text-anchor="middle">{escape(name)}</text>')
    words = "; ".join(
        f"{name}: {', '.join(f'{count} {kind}' for count, kind in zip(stack, kinds, strict=True))}"
        for name, stack in zip(names, stacks, strict=True)
    )
    return Chart(
        svg=_svg(HEIGHT + FOOT, (STRIPES if len(kinds) > 1 else "") + "".join(drawn)), alternative=f"{what}. {words}."
    )


def _axis(most: int) -> str:
    line = f'<path d="M{LEFT} {HEIGHT + 8:.1f}H{WIDTH}" stroke="currentColor"/>'
    return f'{line}<text x="0" y="14">{most}</text><text x="0" y="{HEIGHT + 8:.1f}">0</text>'


def _column(stack: Sequence[int], x: float, pitch: float, most: int) -> str:
    bottom, parts = HEIGHT + 8, []
    for count, fill in zip(stack, FILLS, strict=False):
        height = count / most * HEIGHT
        if count:
            place = f'x="{x + pitch * 0.15:.1f}" y="{bottom - height:.1f}" width="{pitch * 0.7:.1f}"'
            parts.append(f'<rect {place} height="{height:.1f}" {fill}/>')
        bottom -= height
    return "".join(parts)


def _svg(height: float, content: str) -> str:
    return f'viewBox="0 0 {WIDTH:.0f} {height:.0f}">{content}'
