"""Stretches become repeats, and repeats that agree become a code.

What lies between two pauses is one repeat. A code is read only from two or more complete repeats that are all equal:
pause, marks, pause, marks, pause. A repeat seen half says nothing, and nothing is guessed. One repeat with a missing
or an extra flash is out-voted where three or more others agree; the first or the last flash of a group may be the one
that is missing, so a pause may be longer by one.

The confidence is one less the product of what may be wrong in the two worst repeats: for each stretch the odds that
its evidence is noise. It is calibrated by simulation (`tests/signals/test_lamp_traces.py`).

Source: the rule of succession (P. S. Laplace) for the confidence of a vote that is not unanimous.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

from benchtest.procedure import DigitsRhythm, Rhythm
from benchtest.signals.brightness import CLEAR, Light
from benchtest.signals.chain import chain, oddness
from benchtest.signals.rhythm import CUT, ODD_KIND, Kinds, Stretch

MOST_FLASHES: Final = 20
"""A longer group is no code but a lamp that keeps flashing: nobody counts so far (common practice)."""
HIGHEST_DIGIT: Final = 9
LEAST: Final = 0.95
"""Confidence below which no code is given."""
SURE: Final = 1 - 1e-6
"""Confidence that a lamp is irregular, below which it is doubtful."""
CAUTION: Final = 0.5
"""Share of the evidence that counts: the levels and the noise are found from the same record."""
IRREGULAR, DOUBTFUL = "irregular", "doubtful"
PAUSE, LONG_PAUSE = "pause", "long pause"


@dataclass(frozen=True, kw_only=True, slots=True)
class Reading:
    """What the stretches of a lamp say."""

    word: str
    confidence: float
    repeats: tuple[str, ...] = ()
    """What each complete repeat gave; `?` for one that could not be read."""


UNREAD: Final = Reading(word=DOUBTFUL, confidence=0.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Repeat:
    """What lies between two pauses, with these."""

    inner: tuple[Stretch, ...]
    outer: tuple[Stretch, ...]
    code: str | None
    """None when it is none."""

    @property
    def regular(self) -> bool:
        """Whether it is a code between two usual pauses."""
        return self.code is not None and all(pause.kind == PAUSE for pause in self.outer)

    @property
    def risk(self) -> float:
        """Chance that noise made it, 0 to 1."""
        return min(1.0, sum(odds(stretch) for stretch in (*self.inner, *self.outer)))


def read_repeats(light: Light, kinds: Kinds, rhythm: Rhythm) -> tuple[tuple[Stretch, ...], Reading]:
    """Return the stretches of a lamp that was seen to change, and its code or the word for what it does instead."""
    stretches = chain(light, kinds)
    named = [_named(stretch, kinds) for stretch in stretches]
    pauses = [place for place, stretch in enumerate(named) if stretch.kind in {PAUSE, LONG_PAUSE}]
    repeats = [_repeat(named[start : end + 1], rhythm) for start, end in pairwise(pauses)]
    codes = tuple(repeat.code or "?" for repeat in repeats)
    ends = [*named[: pauses[0]], *named[pauses[-1] + 1 :]] if pauses else named
    odd_ends = any(stretch.kind == ODD_KIND for stretch in ends)
    endless = _endless(named, rhythm)
    gone = any(stretch.kind == ODD_KIND and not stretch.whole for stretch in ends)
    word = None if gone or endless else _elected(repeats, others=odd_ends)
    if word is not None:
        return stretches, _certain(word, repeats, others=odd_ends)
    agreed = sum(repeat.regular for repeat in repeats) >= 2
    if not (gone or endless) and (agreed or not (odd_ends or any(not repeat.regular for repeat in repeats))):
        return stretches, replace(UNREAD, repeats=codes)
    return stretches, replace(_irregular(light, stretches, kinds, gone=gone), repeats=codes)


def _irregular(light: Light, stretches: Sequence[Stretch], kinds: Kinds, *, gone: bool) -> Reading:
    """Return irregular where that is certain, else doubtful.

    Where every stretch is of a kind and they spell nothing, noise may have joined two flashes to a longer one: all that
    speaks against it is that there is little noise.
    """
    if light.contrast < CLEAR:
        return UNREAD
    confidence = 1.0
    if gone or any(stretch.kind == ODD_KIND for stretch in stretches):
        confidence -= math.exp(-CAUTION * max(0.0, oddness(light, kinds)))
    return Reading(word=IRREGULAR, confidence=confidence) if confidence >= SURE else UNREAD


def odds(stretch: Stretch) -> float:
    """Return the chance that noise made a stretch."""
    return math.exp(-CAUTION * max(0.0, stretch.evidence))


def _named(stretch: Stretch, kinds: Kinds) -> Stretch:
    """Return a stretch with its kind; a cut one is `cut` unless it shows a pause already, or is too long for any."""
    longest = kinds.of(stretch.lit)[-1]
    if stretch.whole:
        one_more = longest.longest < stretch.duration <= longest.longest + kinds.cycle
        return replace(stretch, kind=LONG_PAUSE) if one_more and not stretch.lit else stretch
    if stretch.duration > longest.longest:
        return replace(stretch, kind=ODD_KIND)
    shown = not stretch.lit and stretch.duration >= longest.shortest
    return replace(stretch, kind=PAUSE if shown else CUT)


def _repeat(part: Sequence[Stretch], rhythm: Rhythm) -> Repeat:
    inner = tuple(part[1:-1])
    return Repeat(inner=inner, outer=(part[0], part[-1]), code=_code(inner, rhythm))


def _endless(stretches: Sequence[Stretch], rhythm: Rhythm) -> bool:
    """Return whether the lamp flashes on and on without a pause."""
    most = 2 * HIGHEST_DIGIT * rhythm.probes if isinstance(rhythm, DigitsRhythm) else MOST_FLASHES
    flashes = 0
    for stretch in stretches:
        flashes = 0 if stretch.kind in {PAUSE, LONG_PAUSE} else flashes + stretch.lit
        if flashes > most:
            return True
    return False


def _elected(repeats: Sequence[Repeat], *, others: bool) -> str | None:
    """Return the code that all repeats give, or all but one where at least three agree and that one has a reason.

    `others` says that there is something odd outside the repeats; it counts as one more that gives no code.
    """
    votes = Counter(repeat.code for repeat in repeats if repeat.regular)
    if not votes:
        return None
    word, agreed = votes.most_common(1)[0]
    against = [repeat.code for repeat in repeats if repeat.code != word] + [None] * others
    if word is None or agreed < 2 or (against and (agreed < 3 or len(against) > 1)):
        return None
    return word if all(_one_flash_apart(word, other) for other in against) else None


def _one_flash_apart(word: str, other: str | None) -> bool:
    """Return whether a missing or an extra flash explains the other repeat; it does when that is no code at all."""
    if other is None:
        return True
    if " " not in word and len(word) == len(other) == 1:
        return abs(int(word) - int(other)) == 1
    if len(word) != len(other):
        return word.isdecimal() and other.isdecimal() and abs(int(word) - int(other)) == 1
    pairs = [(mine, its) for mine, its in zip(word, other, strict=True) if mine != its]
    return len(pairs) == 1 and abs(int(pairs[0][0]) - int(pairs[0][1])) == 1


def _certain(word: str, repeats: Sequence[Repeat], *, others: bool) -> Reading:
    """Return the code with its confidence; doubtful when that is too low."""
    codes = tuple(repeat.code or "?" for repeat in repeats)
    agreeing = [repeat for repeat in repeats if repeat.code == word and repeat.regular]
    confidence = 1 - math.prod(sorted(repeat.risk for repeat in agreeing)[-2:])
    if confidence < LEAST:
        return replace(UNREAD, repeats=codes)
    if others or len(agreeing) < len(repeats):
        confidence = min(confidence, (len(agreeing) + 1) / (len(agreeing) + 3))
    return Reading(word=word, confidence=confidence, repeats=codes)


def _code(repeat: Sequence[Stretch], rhythm: Rhythm) -> str | None:
    """Return the code of one repeat, which begins and ends lit; None when it is none."""
    if any(stretch.kind == ODD_KIND for stretch in repeat):
        return None
    if isinstance(rhythm, DigitsRhythm):
        probes = _split(repeat, "probes")
        codes = [_two_digits(probe) for probe in probes]
        return " ".join(code for code in codes if code) if all(codes) and len(codes) == rhythm.probes else None
    return str(sum(stretch.lit for stretch in repeat))


def _two_digits(probe: Sequence[Stretch]) -> str | None:
    digits = _split(probe, "digits")
    if len(digits) != 2:
        return None
    slow, quick = digits
    pure = all(stretch.kind == "slow" for stretch in slow) and all(stretch.kind == "quick" for stretch in quick)
    first, second = (sum(stretch.lit for stretch in digit) for digit in digits)
    return f"{first}{second}" if pure and 1 <= first <= HIGHEST_DIGIT and 1 <= second <= HIGHEST_DIGIT else None


def _split(stretches: Sequence[Stretch], name: str) -> list[Sequence[Stretch]]:
    at = [place for place, stretch in enumerate(stretches) if not stretch.lit and stretch.kind == name]
    return [stretches[start + 1 : end] for start, end in pairwise([-1, *at, len(stretches)])]
