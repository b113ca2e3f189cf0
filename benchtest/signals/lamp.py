"""Lamp codes: brightness → light and dark → rhythm → code, with a stated confidence.

A code is read from two or more complete equal repeats (`repeats`); where these are not there, where noise might have
made them, or where nobody looked for as long as a flash, the word is `doubtful` and nothing is guessed. `dark` and
`steady` are said only of a record longer than the rhythm could leave the lamp so, and only where thresholds or both
levels tell which it is; else `dark or steady`: no flash stands out. `irregular` is a lamp that does something which the
rhythm does not know, `flashing` one that flashes evenly where no rhythm was declared.

Source: flash-group languages of navigation lights (IHO S-32, group flashing) for the idea.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from benchtest.procedure import Rhythm
from benchtest.signals.brightness import CERTAIN, SEPARATE, Light, light_of
from benchtest.signals.repeats import DOUBTFUL, IRREGULAR, SURE, UNREAD, Reading, odds, read_repeats
from benchtest.signals.rhythm import BY_CHANCE, Kinds, Stretch, extremes, kinds_of, learned, plain_stretches, turning
from benchtest.signals.series import Sampled, Series, Stamped, Uneven

SHOWN: Final = 16
"""Stretches that a raw pattern shows."""
QUIET: Final = 0.02
"""Of the level; where no threshold says what a flash is, noise of less hides none."""
LONGEST_DARK: Final = 5.0
"""Seconds after which a lamp is dark or steady where no rhythm says it (common practice: pauses are shorter)."""
EVEN: Final = 0.2
"""Relative spread of the stretches of a lamp that flashes evenly."""

DARK, STEADY, UNCHANGING, FLASHING = "dark", "steady", "dark or steady", "flashing"
NEITHER: Final = "neither lit nor dark"
_STATES: Final = {DARK: "off", STEADY: "on", UNCHANGING: "unchanged"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Code:
    """What a lamp gave."""

    word: str
    """`3`, `11 12`, or dark, steady, dark or steady, flashing, irregular, doubtful."""
    pattern: str
    """Raw: `… 1.20 off 0.20 on 0.20 off …`, seconds; stretches cut by the record's ends are dots."""
    confidence: float
    """Probability that the word is right, 0 to 1; 0 for doubtful."""
    repeats: tuple[str, ...] = ()
    """What each complete repeat gave, in order; `?` for one that could not be read."""
    carrier: float | None = None
    """Hertz of a dimming or mains flicker that was seen and looked through; folded where sampled slower than that."""
    rhythm: Rhythm | None = None
    """The declared rhythm or the learned one; None when there is none."""
    stretches: tuple[Stretch, ...] = ()
    """What was lit and dark, in order, as it was read."""


def decode(
    series: Series | ArrayLike,
    rhythm: Rhythm | None = None,
    low: float | None = None,
    high: float | None = None,
    *,
    rate: float | None = None,
) -> Code:
    """Return the code that a lamp gives.

    `series` is brightness in any unit, or stamped changes; plain samples need their `rate` in hertz. A lamp whose level
    lies at or above `high` is lit, at or below `low` dark; without thresholds the record's own levels are all there is.
    Without a rhythm it is learned from the record. Raises ValueError for thresholds that tell nothing apart.
    """
    thresholds = _thresholds(low, high)
    record = _series(series, rate)
    known = rhythm or learn(record)
    light, stretches, reading = _read(record, known, thresholds)
    return Code(
        word=reading.word,
        pattern=pattern(stretches),
        confidence=reading.confidence,
        repeats=reading.repeats,
        carrier=light.carrier,
        rhythm=known,
        stretches=tuple(stretches),
    )


def learn(series: Series | ArrayLike, *, rate: float | None = None) -> Rhythm | None:
    """Return the rhythm that a record shows; None when it shows none that ends in a pause.

    Flashes of one length make a counting rhythm, of two lengths one of slow and quick digits.
    """
    return learned(plain_stretches(turning(light_of(_series(series, rate)), BY_CHANCE)))


def pattern(stretches: Sequence[Stretch]) -> str:
    """Return the whole stretches as people write them down, shortened."""
    if len(stretches) == 1:
        only = stretches[0]
        state = _STATES.get(only.kind, only.kind)
        return state if state == NEITHER else f"{only.duration:.2f} {state} throughout"
    whole = [f"{stretch.duration:.2f} {'on' if stretch.lit else 'off'}" for stretch in stretches if stretch.whole]
    return " ".join(("…", *whole[:SHOWN], "…"))


Thresholds = tuple[float, float] | None
"""At or below the first a level is dark, at or above the second lit."""


def _thresholds(low: float | None, high: float | None) -> Thresholds:
    """Return both thresholds; one that is given alone stands for both."""
    if low is None and high is None:
        return None
    below, above = (high if low is None else low), (low if high is None else high)
    if below is None or above is None or not (below <= above if None in {low, high} else below < above):
        raise ValueError(f"threshold low {low!r} is not below high {high!r}")
    return below, above


def _series(series: Series | ArrayLike, rate: float | None) -> Series:
    if isinstance(series, Sampled | Uneven | Stamped):
        return series
    if rate is None:
        raise ValueError("plain samples need their rate (samples per second)")
    return Sampled(values=np.asarray(series), rate=rate)


Read = tuple[Light, Sequence[Stretch], Reading]


def _read(record: Series, rhythm: Rhythm | None, thresholds: Thresholds) -> Read:
    """Return light, stretches and what they say."""
    if rhythm is None:
        light = light_of(record)
        return light, *_without_rhythm(light, thresholds)
    shortest, longest = extremes(rhythm)
    light = light_of(record, shortest=shortest, longest=longest)
    stretches, reading = _with_rhythm(light, rhythm, thresholds)
    blind = not isinstance(record, Stamped) and light.gap >= shortest  # a whole flash may have gone unseen
    return light, stretches, replace(UNREAD, repeats=reading.repeats) if blind else reading


def _with_rhythm(light: Light, rhythm: Rhythm, thresholds: Thresholds) -> tuple[Sequence[Stretch], Reading]:
    kinds = kinds_of(rhythm, look=light.look)
    stretches, reading = read_repeats(light, kinds, rhythm)
    if len(stretches) == 1:
        only = _throughout(light, stretches[0], thresholds)
        return (only,), _settled(only, kinds.lit[-1].longest if only.kind == STEADY else kinds.pause.longest)
    return stretches, _beside(light, thresholds, kinds) or reading


def _without_rhythm(light: Light, thresholds: Thresholds) -> tuple[Sequence[Stretch], Reading]:
    stretches = plain_stretches(turning(light, BY_CHANCE))
    if len(stretches) == 1:
        only = _throughout(light, stretches[0], thresholds)
        return (only,), _settled(only, LONGEST_DARK)
    if (beside := _beside(light, thresholds, None)) is not None:
        return stretches, beside
    whole = {lit: [it.duration for it in stretches if it.whole and it.lit is lit] for lit in (True, False)}
    even = all(len(times) >= 2 and max(times) - min(times) <= EVEN * np.mean(times) for times in whole.values())
    confidence = 1 - min(1.0, sum(odds(stretch) for stretch in stretches))
    word = FLASHING if even else IRREGULAR
    return stretches, Reading(word=word, confidence=confidence) if confidence >= SURE else UNREAD


def _throughout(light: Light, only: Stretch, thresholds: Thresholds) -> Stretch:
    """Return the one stretch of a record with what it was as its kind."""
    if light.contrast > SEPARATE or only.evidence >= CERTAIN:
        return replace(only, kind=STEADY if only.lit else DARK)
    if thresholds is None:
        quiet = light.noise <= max(QUIET * abs(light.level), 2 * light.rounding)
        return replace(only, kind=UNCHANGING if quiet else DOUBTFUL)
    low, high = thresholds
    kind = STEADY if light.level >= high else DARK if light.level <= low else NEITHER
    hidden = not high - low >= SEPARATE * light.noise and low < high  # flashes might be there
    return replace(only, kind=DOUBTFUL if hidden else kind)


def _settled(only: Stretch, longest: float) -> Reading:
    """Return the word for a lamp that did not change."""
    if only.kind in {NEITHER, DOUBTFUL} or only.duration <= longest:
        return UNREAD
    return Reading(word=only.kind, confidence=1.0)


def _beside(light: Light, thresholds: Thresholds, kinds: Kinds | None) -> Reading | None:
    """Return what a lamp is whose levels do not lie on both sides of the thresholds; None when they do.

    A level is that of means; a lamp whose samples still reach the other side does something there.
    """
    if thresholds is None or light.dark is None or light.lit is None:
        return None
    low, high = thresholds
    duration = float(light.turns[-1] - light.turns[0])
    if light.dark <= low and (light.lit >= high or light.peaks[1] >= high):
        return None
    if light.lit <= low and duration > (kinds.pause.longest if kinds else LONGEST_DARK):
        return Reading(word=DARK, confidence=1.0)
    if light.dark >= high and light.peaks[0] > low and duration > (kinds.lit[-1].longest if kinds else LONGEST_DARK):
        return Reading(word=STEADY, confidence=1.0)
    return UNREAD
