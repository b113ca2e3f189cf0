"""Lamp codes from brightness.

Brightness becomes stretches of lit and dark; every whole stretch must be of a kind that the rhythm knows, within 20 %,
or nearer than midway to the next kind. The stretches cut by the two ends of the record are used only for what they
certainly show: a dark one that is already as long as a pause is one. What lies between two pauses is one repeat.

A code is read only from two or more complete repeats that are all equal: gap, marks, gap, marks, gap. A repeat seen
half says nothing, and nothing is guessed: the word is then `doubtful`. `dark` and `steady` are said only of a record
longer than the rhythm could leave the lamp so.

Source: flash-group languages of navigation lights (IHO S-32, group flashing) for the idea; the tolerance is our choice.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from benchtest.procedure import CountRhythm, DigitsRhythm, Rhythm
from benchtest.signals.levels import Samples, crossings

TOLERANCE: Final = 0.2
"""Relative; twice what two clocks of ±5 % and a slow sampling add up to."""
MOST_FLASHES: Final = 20
"""A longer group is no code but a lamp that keeps flashing: nobody counts so far (common practice)."""
HIGHEST_DIGIT: Final = 9
SHOWN: Final = 16
"""Stretches that a raw pattern shows."""

DARK, STEADY, IRREGULAR, DOUBTFUL = "dark", "steady", "irregular", "doubtful"


@dataclass(frozen=True, kw_only=True, slots=True)
class Stretch:
    """A time of one state."""

    lit: bool
    duration: float
    """Seconds; of a cut stretch, what was seen of it."""
    whole: bool
    """Both its ends were seen."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Code:
    """What a lamp gave."""

    word: str
    """`3`, `11 12`, or dark, steady, irregular, doubtful."""
    pattern: str
    """Raw: `… 1.20 off 0.20 on 0.20 off …`, seconds; stretches cut by the record's ends are dots."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Kind:
    """A stretch that a rhythm knows."""

    name: str
    shortest: float
    longest: float


Token = tuple[bool, str]
"""Lit, and the name of the kind."""


def decode(samples: Samples, *, rate: float, low: float, high: float, rhythm: Rhythm) -> Code:
    """Return the code in the brightness `samples`, taken `rate` times a second; lit at `high`, dark at `low`."""
    stretches = stretches_of(samples, rate=rate, low=low, high=high)
    return Code(word=read(stretches, rhythm), pattern=pattern(stretches))


def stretches_of(samples: Samples, *, rate: float, low: float, high: float) -> tuple[Stretch, ...]:
    """Return lit and dark stretches in order; empty when no sample is either."""
    changes = crossings(samples, low=low, high=high)
    if changes.first is None:
        return ()
    edges = [0.0, *(changes.index / rate), samples.size / rate]
    states = [changes.first, *changes.rising]
    last = len(states) - 1
    return tuple(
        Stretch(lit=bool(lit), duration=float(end - start), whole=0 < position < last)
        for position, (lit, (start, end)) in enumerate(zip(states, pairwise(edges), strict=True))
    )


def pattern(stretches: Sequence[Stretch]) -> str:
    """Return the whole stretches as people write them down, shortened."""
    if not stretches:
        return "neither lit nor dark"
    if len(stretches) == 1:
        return f"{stretches[0].duration:.2f} {'on' if stretches[0].lit else 'off'} throughout"
    whole = [f"{stretch.duration:.2f} {'on' if stretch.lit else 'off'}" for stretch in stretches if stretch.whole]
    return " ".join(("…", *whole[:SHOWN], "…"))


def read(stretches: Sequence[Stretch], rhythm: Rhythm) -> str:
    """Return the code or the word for what is seen instead."""
    lit, dark = _kinds(rhythm)
    if not stretches:
        return DOUBTFUL
    if len(stretches) == 1:
        only = stretches[0]
        if only.duration <= (lit if only.lit else dark)[-1].longest:
            return DOUBTFUL
        return STEADY if only.lit else DARK
    tokens = [_token(stretch, lit if stretch.lit else dark) for stretch in stretches]
    known = [token for token in tokens if token is not None]
    if len(known) < len(tokens) or _endless(known, rhythm):
        return IRREGULAR
    codes = [_code(repeat, rhythm) for repeat in _repeats(known)]
    if any(code is None for code in codes):
        return IRREGULAR
    return codes[0] or DOUBTFUL if len(codes) >= 2 and len(set(codes)) == 1 else DOUBTFUL


def _kinds(rhythm: Rhythm) -> tuple[tuple[Kind, ...], tuple[Kind, ...]]:
    """Return the kinds of lit and of dark stretches, shortest first; the last dark one is the pause."""
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
    return _windows(lit), _windows(dark)


def _windows(durations: dict[str, float]) -> tuple[Kind, ...]:
    ordered = sorted(durations.items(), key=lambda item: item[1])
    middles = [(short + long) / 2 for (_, short), (_, long) in pairwise(ordered)]
    lowest, highest = [0.0, *middles], [*middles, float("inf")]
    return tuple(
        Kind(name=name, shortest=max(least, usual * (1 - TOLERANCE)), longest=min(most, usual * (1 + TOLERANCE)))
        for (name, usual), least, most in zip(ordered, lowest, highest, strict=True)
    )


def _token(stretch: Stretch, kinds: tuple[Kind, ...]) -> Token | None:
    """Return what a stretch is; None when it is of no kind. A cut one is `cut` unless it shows a pause already."""
    if stretch.whole:
        kind = next((kind for kind in kinds if kind.shortest <= stretch.duration <= kind.longest), None)
        return None if kind is None else (stretch.lit, kind.name)
    longest = kinds[-1]
    if stretch.duration > longest.longest:
        return None
    shown = not stretch.lit and stretch.duration >= longest.shortest
    return stretch.lit, longest.name if shown else "cut"


def _endless(tokens: Iterable[Token], rhythm: Rhythm) -> bool:
    """Return whether the lamp flashes on and on without a pause."""
    most = 2 * HIGHEST_DIGIT * rhythm.probes if isinstance(rhythm, DigitsRhythm) else MOST_FLASHES
    flashes = 0
    for lit, name in tokens:
        flashes = 0 if name == "pause" else flashes + lit
        if flashes > most:
            return True
    return False


def _repeats(tokens: Sequence[Token]) -> list[Sequence[Token]]:
    """Return what lies between pauses, each with a pause before and after."""
    pauses = [position for position, (_, name) in enumerate(tokens) if name == "pause"]
    return [tokens[start + 1 : end] for start, end in pairwise(pauses)]


def _code(repeat: Sequence[Token], rhythm: Rhythm) -> str | None:
    """Return the code of one repeat, which begins and ends lit; None when it is none."""
    if isinstance(rhythm, DigitsRhythm):
        probes = _split(repeat, "probes")
        codes = [_two_digits(probe) for probe in probes]
        return " ".join(code for code in codes if code) if all(codes) and len(codes) == rhythm.probes else None
    return str(sum(lit for lit, _ in repeat))


def _two_digits(probe: Sequence[Token]) -> str | None:
    digits = _split(probe, "digits")
    if len(digits) != 2:
        return None
    slow, quick = digits
    pure = all(name == "slow" for _, name in slow) and all(name == "quick" for _, name in quick)
    first, second = (sum(lit for lit, _ in digit) for digit in digits)
    return f"{first}{second}" if pure and 1 <= first <= HIGHEST_DIGIT and 1 <= second <= HIGHEST_DIGIT else None


def _split(tokens: Sequence[Token], name: str) -> list[Sequence[Token]]:
    at = [position for position, token in enumerate(tokens) if token == (False, name)]
    return [tokens[start + 1 : end] for start, end in pairwise([-1, *at, len(tokens)])]
