"""Rhythms: the kinds of stretches that a declared one knows, and those learned from a record.

A kind is within 20 % of its usual time and nearer to it than midway to the next kind, and one look of the record more.
Where no rhythm is declared, what noise alone may do is left out, and the durations that remain are grouped by their
logarithm: times that differ by less than a third are one kind.

Source: the tolerance and the third are our choice: two clocks of ±5 %, and kinds that people tell apart.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from benchtest.procedure import TEMPO, CountRhythm, DigitsRhythm, Rhythm
from benchtest.signals.brightness import Light
from benchtest.signals.levels import States

CLOCK: Final = 0.05
"""Relative spread of a duration, between two clocks."""
BY_CHANCE: Final = 12.0
"""Nats; white noise makes one swing so high in some hundred thousand means."""
APART: Final = 1.33
"""Ratio of durations of two kinds, where none is declared."""
PAUSE: Final = 2.0
"""A dark time of so many flashes, after a flash that is alone, is a pause (common practice)."""

ODD_KIND, CUT = "odd", "cut"


@dataclass(frozen=True, kw_only=True, slots=True)
class Stretch:
    """A time of one state."""

    lit: bool
    begin: float
    """Seconds."""
    duration: float
    """Seconds; of a cut stretch, what was seen of it."""
    whole: bool
    """Both its ends were seen."""
    evidence: float
    """Nats for this state over the other; below zero when the rhythm alone speaks for it."""
    kind: str = ""
    """Name of the kind, `odd` for none, `cut` for one that an end of the record cuts."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Kind:
    """A stretch that a rhythm knows."""

    name: str
    usual: float
    shortest: float
    longest: float
    spread: float
    """Standard deviation in seconds about the usual time."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Kinds:
    """All stretches that a rhythm knows, shortest first; the last dark one is the pause."""

    lit: tuple[Kind, ...]
    dark: tuple[Kind, ...]

    def of(self, lit: bool) -> tuple[Kind, ...]:
        """Return the kinds of one state."""
        return self.lit if lit else self.dark

    @property
    def pause(self) -> Kind:
        """The longest dark kind."""
        return self.dark[-1]

    @property
    def cycle(self) -> float:
        """Seconds of one flash more and its gap."""
        return self.lit[0].usual + self.dark[0].usual


def extremes(rhythm: Rhythm) -> tuple[float, float]:
    """Return the shortest and the longest usual time of a rhythm, in seconds."""
    if isinstance(rhythm, CountRhythm):
        return min(rhythm.flash, rhythm.gap), rhythm.pause
    return min(rhythm.quick, rhythm.between_digits), max(rhythm.pause, rhythm.slow)


def kinds_of(rhythm: Rhythm, *, look: float = 0.0) -> Kinds:
    """Return the kinds of a rhythm; each is wider by `look`, the seconds between two looks."""
    if isinstance(rhythm, CountRhythm):
        lit, dark = {"flash": rhythm.flash}, {"gap": rhythm.gap, "pause": rhythm.pause}
    else:
        lit = {"quick": rhythm.quick, "slow": rhythm.slow}
        dark = {
            "quick": rhythm.quick,
            "slow": rhythm.slow,
            "digits": rhythm.between_digits,
            "probes": rhythm.between_probes,
            "pause": rhythm.pause,
        }
    return Kinds(lit=_windows(lit, look), dark=_windows(dark, look))


def _windows(durations: dict[str, float], look: float) -> tuple[Kind, ...]:
    ordered = sorted(durations.items(), key=lambda item: item[1])
    middles = [(short + long) / 2 for (_, short), (_, long) in pairwise(ordered)]
    lowest, highest = [0.0, *middles], [*middles, float("inf")]
    return tuple(
        Kind(
            name=name,
            usual=usual,
            shortest=max(least, usual * (1 - TEMPO) - look),
            longest=min(most, usual * (1 + TEMPO) + look),
            spread=math.hypot(CLOCK * usual, look / 2) or 1e-9,
        )
        for (name, usual), least, most in zip(ordered, lowest, highest, strict=True)
    )


def turning(light: Light, least: float) -> Light:
    """Return the light without swings of evidence below `least` nats."""
    heights = light.sums.tolist()
    kept = [0]
    for place in range(1, len(heights)):
        while len(kept) >= 2 and (heights[kept[-1]] - heights[kept[-2]]) * (heights[place] - heights[kept[-1]]) >= 0:
            kept.pop()  # no turn: it goes on in the same direction
        kept.append(place)
        while len(kept) >= 4 and _slight(heights, kept, least):
            del kept[-3:-1]
    return replace(light, turns=light.turns[kept], sums=light.sums[kept], places=light.places[kept])


def _slight(heights: Sequence[float], kept: Sequence[int], least: float) -> bool:
    """Return whether the last swing but one is slight, and no larger than both its neighbours."""
    before, middle, after = (abs(heights[kept[at + 1]] - heights[kept[at]]) for at in (-4, -3, -2))
    return middle < least and middle <= before and middle <= after


def changes(light: Light) -> States:
    """Return the light as changes of state, without what noise may do."""
    clear = turning(light, BY_CHANCE)
    rising = clear.sums[1:] > clear.sums[:-1]
    moments = clear.turns[1:-1]
    return States(
        moments=moments,
        doubts=np.full(moments.shape, light.look),
        rising=rising[1:],
        first=bool(rising[0]) if moments.size or light.contrast == np.inf else None,
        begin=float(clear.turns[0]),
        end=float(clear.turns[-1]),
        gap=light.gap,
    )


def plain_stretches(light: Light) -> tuple[Stretch, ...]:
    """Return each swing of the evidence as a stretch."""
    last = light.turns.size - 2
    return tuple(
        Stretch(
            lit=after > before,
            begin=start,
            duration=end - start,
            whole=0 < place < last,
            evidence=abs(after - before),
            kind="" if 0 < place < last else CUT,
        )
        for place, ((start, end), (before, after)) in enumerate(
            zip(pairwise(light.turns.tolist()), pairwise(light.sums.tolist()), strict=True)
        )
    )


def learned(stretches: Sequence[Stretch]) -> Rhythm | None:
    """Return the rhythm of whole stretches; None when they have none that ends in a pause."""
    lit = _grouped([stretch for stretch in stretches if stretch.whole and stretch.lit])
    dark = _grouped([stretch for stretch in stretches if stretch.whole and not stretch.lit])
    if len(lit) == 1:
        return _counting(lit[0], dark)
    return _digits(lit, dark) if len(lit) == 2 else None


def _grouped(stretches: Sequence[Stretch]) -> list[float]:
    """Return the usual durations of the kinds that occur more than once, shortest first."""
    groups: list[list[float]] = []
    for duration in sorted(stretch.duration for stretch in stretches):
        if groups and duration < groups[-1][-1] * APART:
            groups[-1].append(duration)
        else:
            groups.append([duration])
    return [float(np.median(group)) for group in groups if len(group) > 1]


def _counting(flash: float, dark: Sequence[float]) -> CountRhythm | None:
    match dark:
        case [pause] if pause >= PAUSE * flash:
            return CountRhythm(flash=flash, gap=flash, pause=pause)
        case [gap, pause]:
            return CountRhythm(flash=flash, gap=gap, pause=pause)
        case _:
            return None


def _digits(lit: Sequence[float], dark: Sequence[float]) -> DigitsRhythm | None:
    """Return the rhythm of slow and quick flashes; gaps as long as these belong to them."""
    quick, slow = lit
    longer = [time for time in dark if not any(1 / APART < time / flash < APART for flash in lit)]
    match longer:
        case [digits, pause]:
            return DigitsRhythm(
                slow=slow,
                quick=quick,
                between_digits=digits,
                between_probes=(digits + pause) / 2,
                pause=pause,
                probes=1,
            )
        case [digits, probes, pause]:
            return DigitsRhythm(
                slow=slow, quick=quick, between_digits=digits, between_probes=probes, pause=pause, probes=2
            )
        case _:
            return None
