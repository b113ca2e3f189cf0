"""Which characters the shipped fonts can show, and what to print for the others.

`coverage.txt` holds the code points that both the regular and the bold font have, and those of the font that stands in
for them (Chinese and Japanese), as ranges; a test holds it to the fonts. Private-use and invisible formatting
characters are left out: PDF/A forbids the first, and the second could turn a line around (ISO 19005-3, 6.2.11.7.3, from
memory).
"""

from bisect import bisect_right
from functools import cache
from importlib.resources import files


@cache
def _ranges() -> tuple[tuple[int, ...], tuple[int, ...]]:
    lines = files("benchtest.certificate").joinpath("fonts/coverage.txt").read_text(encoding="ascii").split()
    ends = [line.split("-") for line in lines]
    return tuple(int(end[0], 16) for end in ends), tuple(int(end[-1], 16) for end in ends)


def covered(character: str) -> bool:
    """Return whether the fonts can show a character."""
    first, last = _ranges()
    place = bisect_right(first, ord(character)) - 1
    return place >= 0 and ord(character) <= last[place]


def shown_or_named(text: str) -> str:
    """Return `text` with every character that cannot be shown replaced by its name, such as `[U+1F600]`."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(character if covered(character) else f"[U+{ord(character):04X}]" for character in text)
