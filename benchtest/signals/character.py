"""The character of a light that repeats itself, in the words of those who publish such lights.

The period is the smallest number of flashes after which lit and dark times come again. In it, flashes closer together
than others form a group; the order of groups depends on where one begins, so a period begins after its longest
darkness, and among equals with the largest group. A light that is lit for more than half its period is described by its
eclipses. Two rates are given, for they differ where flashes come in groups: flashes over time, and the mean of the
rates from flash to flash.

Source: IHO S-32 by S-57 and M-12 (June 2004) and Chart 1, P-10, for the classes: quick 50 to 79 a minute, very quick 80
to 159, ultra quick from 160, long flash from 2 s; a short flash is at most a third of a long one (IALA text of 1998, in
translation). Morse by ITU-R M.1677 (from memory).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from benchtest.signals.levels import States
from benchtest.signals.series import Moments

SAME: Final = 0.12
"""Relative difference of two durations that are meant to be equal."""
SEPARATES: Final = 1.4
"""A darkness so many times the shortest one ends a group."""
LONG: Final = 2.0
"""Seconds of a long flash."""
SHORT: Final = 1 / 3 + 0.05
"""Of a long flash or a dash: what a short flash or a dot is at most."""
SPEEDS: Final = (
    (159.5, "ultra quick", "UQ"),
    (79.5, "very quick", "VQ"),
    (49.5, "quick", "Q"),
    (0.0, "flashing", "Fl"),
)
"""Flashes a minute from which a light has a name, whole numbers meant; and its abbreviation."""
LETTERS: Final = {
    ".-": "A", "-...": "B", "-.-.": "C", "-..": "D", ".": "E", "..-.": "F", "--.": "G", "....": "H", "..": "I",
    ".---": "J", "-.-": "K", ".-..": "L", "--": "M", "-.": "N", "---": "O", ".--.": "P", "--.-": "Q", ".-.": "R",
    "...": "S", "-": "T", "..-": "U", "...-": "V", ".--": "W", "-..-": "X", "-.--": "Y", "--..": "Z",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True, slots=True)
class LightCharacter:
    """What a light does again and again."""

    title: str
    """`fixed`, `dark`, `isophase`, `group very quick plus long flash`, …, or `irregular`."""
    abbreviation: str
    """As charts have it: `VQ(6)+LFl 10s`."""
    groups: tuple[int, ...] = ()
    """Flashes of each group, or eclipses of an occulting light; the long flash of a period is not among them."""
    letter: str = ""
    """Of a light that gives Morse."""
    period: float | None = None
    """Seconds."""
    flashes: int = 0
    """In a period."""
    share: float | None = None
    """Lit share of the period, 0 to 1."""
    per_minute: float | None = None
    """Flashes over time."""
    mean_of_rates: float | None = None
    """Mean of the rates from each flash to the next, a minute; more than `per_minute` where there are groups."""
    inner_per_minute: float | None = None
    """Rate inside a group; None where there is none."""
    most_in_a_second: int = 0
    """Flashes that begin within any one second."""


def describe(states: States) -> LightCharacter:
    """Return the character of a light from a record of at least two periods; lit is above."""
    lengths = np.diff(states.moments)
    if not states.moments.size:
        word = {True: ("fixed", "F"), False: ("dark", ""), None: ("irregular", "")}[states.first]
        return LightCharacter(title=word[0], abbreviation=word[1])
    first = 0 if states.rising[0] else 1
    count = (lengths.size - first) // 2
    lit, dark = lengths[first : first + 2 * count : 2], lengths[first + 1 : first + 2 * count : 2]
    most = _most_in(states.moments[states.rising], 1.0)
    period = _period(lit, dark, 2 * float(states.doubts.max()))
    if not period:
        return LightCharacter(title="irregular", abbreviation="", most_in_a_second=most)
    whole = count // period * period
    means = [part[:whole].reshape(-1, period).mean(axis=0) for part in (lit, dark)]
    return _described(means[0], means[1], most)


def _most_in(moments: Moments, seconds: float) -> int:
    """Return how many moments lie within any so many seconds."""
    inside = np.searchsorted(moments, moments + seconds * (1 - 1e-9), side="left") - np.arange(moments.size)
    return int(inside.max()) if inside.size else 0


def _period(lit: Moments, dark: Moments, doubt: float) -> int:
    """Return after how many flashes both come again; 0 when they were not seen to."""
    for period in range(1, lit.size // 2 + 1):
        pairs = ((part[period:], part[:-period]) for part in (lit, dark))
        if all((np.abs(later - sooner) <= SAME * sooner + doubt).all() for later, sooner in pairs):
            return period
    return 0


def _described(lit: Moments, dark: Moments, most: int) -> LightCharacter:
    period = float(lit.sum() + dark.sum())
    share = float(lit.sum()) / period
    eclipsed = share > 0.5 + SAME / 4
    marks, gaps = (dark, np.roll(lit, -1)) if eclipsed else (lit, dark)
    marks, gaps, groups = _grouped(marks, gaps)
    inner = [mark + gap for mark, gap, size in zip(marks, gaps, _sizes(groups), strict=True) if size]
    inner_rate = 60.0 / float(np.mean(inner)) if inner else None
    title, short, letter = _named(marks, gaps, groups, inner_rate, eclipsed=eclipsed)
    return LightCharacter(
        title=title,
        abbreviation=f"{short} {round(period, 1):g}s" if len(marks) > 1 or period >= 60 / 49.5 else short,
        groups=tuple(size for size, long in groups if not long),
        letter=letter,
        period=period,
        flashes=lit.size,
        share=share,
        per_minute=60.0 * lit.size / period,
        mean_of_rates=float(np.mean(60.0 / (lit + dark))),
        inner_per_minute=inner_rate,
        most_in_a_second=most,
    )


Groups = list[tuple[int, bool]]
"""Size of each group in order, and whether it is a long flash."""


def _grouped(marks: Moments, gaps: Moments) -> tuple[Moments, Moments, Groups]:
    """Return marks and gaps turned so that a period begins where it should, and the groups they form."""
    long = (marks >= LONG) & (marks.min() <= SHORT * marks.max())
    ends = (gaps > SEPARATES * gaps.min()) | (long != np.roll(long, -1))
    if not ends.any():
        ends[-1] = True
    best: tuple[tuple[float, list[int]], int, Groups] | None = None
    for end in np.flatnonzero(ends):
        turn = int(end) + 1
        places = np.flatnonzero(np.roll(ends, -turn))
        sizes = np.diff(places, prepend=-1).tolist()
        groups = [(size, bool(np.roll(long, -turn)[place])) for size, place in zip(sizes, places, strict=True)]
        rank = (round(float(gaps[end]) / (SAME * float(gaps.max()))), sizes)
        if best is None or rank > best[0]:
            best = rank, turn, groups
    _, turn, groups = best or ((0.0, []), 0, [])
    return np.roll(marks, -turn), np.roll(gaps, -turn), groups


def _sizes(groups: Groups) -> list[bool]:
    """Return, for each mark, whether the gap after it lies inside a group."""
    return [place < size - 1 for size, _ in groups for place in range(size)]


def _named(
    marks: Moments, gaps: Moments, groups: Groups, inner: float | None, *, eclipsed: bool
) -> tuple[str, str, str]:
    """Return title, abbreviation and letter."""
    sizes = [size for size, long in groups if not long]
    numbers = f"({'+'.join(map(str, sizes))})" if sizes not in ([1], []) else ""
    kind = "" if not numbers else "group" if len(sizes) == 1 else "composite group"
    if eclipsed:
        return f"{kind}-occulting".lstrip("-"), f"Oc{numbers}", ""
    if (letter := _letter(marks, groups)) is not None:
        return "Morse", f"Mo({letter})", letter
    rate = 60.0 / float(marks[0] + gaps[0]) if len(marks) == 1 else inner or 0.0
    speed, short = next((name, short) for least, name, short in SPEEDS if rate >= least)
    if len(marks) == 1 and speed == "flashing":
        if abs(marks[0] - gaps[0]) <= SAME * gaps[0]:
            return "isophase", "Iso", ""
        return ("long-flashing", "LFl", "") if marks[0] >= LONG else ("flashing", "Fl", "")
    more = any(long for _, long in groups)
    joined = f"{kind}-flashing" if speed == "flashing" else f"{kind or 'continuous'} {speed}"
    return joined + " plus long flash" * more, f"{short}{numbers}" + "+LFl" * more, ""


def _letter(marks: Moments, groups: Groups) -> str | None:
    """Return the letter of dots and dashes in one group; None when it is none."""
    if len(groups) != 1 or not marks.min() <= SHORT * marks.max() or marks.max() >= LONG:
        return None
    middle = float(np.sqrt(marks.min() * marks.max()))
    return LETTERS.get("".join("-" if mark > middle else "." for mark in marks))
