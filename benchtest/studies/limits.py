"""Limits from boards that are known to be good: where a stated share of such boards lies, with a stated confidence.

Of each board the last reading counts, so that readings are independent. Normal readings get exact tolerance limits;
others get the readings of certain ranks where there are boards enough, else nothing and the number that is missing.
What the readings of one limit give up for normality is shared among them: one relay does not refuse for twelve.

What the bench adds to the spread, reading by reading, is taken out. A smaller share never makes limits closer, so that
they hold at least what they state while at most MOST_SCATTER of the variance is believed to be the bench's. Readings
that differ less than the bench alone would let them speak against what it is said to add: then nothing is taken out.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Final, Literal, TypeAlias

import numpy as np
from scipy import special

from benchtest.errors import StudyError
from benchtest.metrology.normality import FEWEST, Normality, normality
from benchtest.metrology.tolerance_limits import needed, one_sided, ranked, two_sided
from benchtest.studies.readings import Numbers, Quantity, Readings, Series

Method: TypeAlias = Literal["auto", "normal", "ranks"]
GIVEN_UP: Final = 0.05
"""Probability with which all readings of one limit are taken for normal although one is said not to be."""
MOST_SCATTER: Final = 0.8
"""Share of the variance that is taken out at most."""
DOUBTFUL: Final = 0.01
"""Probability of readings that differ so little, while the bench adds what it is said to, below which it is doubted."""
LEAST_RATIO: Final = 4.0
"""Tolerance over U from which a bench resolves a limit as the trade wants it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Wanted:
    """What limits are asked for."""

    coverage: float = 0.95
    confidence: float = 0.95
    method: Method = "auto"
    scatter: float | None = None
    """Standard uncertainty that differs from reading to reading; None takes it from the readings."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Found:
    """What the boards say of one reading."""

    quantity: Quantity
    boards: int
    mean: float
    deviation: float
    """As read."""
    least: float
    most: float
    normality: float
    """Anderson and Darling's probability; NaN for fewer than eight boards."""
    correlation: float
    """Of the probability plot."""
    scatter: float
    """Standard uncertainty that was taken out; 0 for none."""
    method: str
    """`normal`, `ranks`, or empty where there are no limits."""
    doubted: float
    """Scatter that the readings speak against, and that was left in; 0 for none."""
    factor: float
    """k of the tolerance limits, for the standard deviation as read; NaN for ranks."""
    low: float
    high: float
    reason: str
    """Why there are no limits; empty where there are."""
    expanded: float
    """Largest expanded uncertainty of the readings, at least of the scatter taken out; NaN where none is known."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Proposal:
    """A limit of the profile, and what it could be."""

    place: str
    """file:line, or the quantity where there is no profile."""
    titles: tuple[str, ...]
    unit: str
    low: float
    high: float
    new_low: float
    new_high: float
    word: str
    """tighter, looser, moved, unchanged, new; empty without a proposal."""
    reason: str
    outside: int
    """Readings of good boards that lie outside of the proposal."""
    ratio: float
    """Tolerance over expanded uncertainty; NaN where it is not known."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LimitStudy:
    """All of it."""

    boards: int
    wanted: Wanted
    found: tuple[Found, ...]
    proposals: tuple[Proposal, ...]
    enough: int
    """Boards from which ranks give two-sided limits."""


def study_limits(readings: Readings, wanted: Wanted) -> LimitStudy:
    """Return what the boards say of every limit. Raises StudyError for fewer than three boards."""
    groups: dict[str, list[Series]] = defaultdict(list)
    boards = 0
    for series in readings:
        last = of_boards(series)
        boards = max(boards, last.count)
        groups[series.quantity.place or series.quantity.id].append(last)
    if boards < 3:
        raise StudyError(
            f"{readings.source}: readings of {boards} board{'s' if boards != 1 else ''} (limits need three at least, "
            f"{FEWEST} to look at their distribution, and some thirty to be of use)"
        )
    found = {place: tuple(_found(one, wanted, of=len(group)) for one in group) for place, group in groups.items()}
    return LimitStudy(
        boards=boards,
        wanted=wanted,
        found=tuple(one for group in found.values() for one in group),
        proposals=tuple(_proposal(place, group, groups[place]) for place, group in found.items()),
        enough=needed(sides=2, coverage=wanted.coverage, confidence=wanted.confidence),
    )


def of_boards(series: Series) -> Series:
    """Return the last reading of each board; readings without boards' names are those of as many boards."""
    return series if series.factors["board"].names == ("",) else series.last_of_each("board")


def _found(series: Series, wanted: Wanted, *, of: int) -> Found:
    values, quantity, mean = series.values, series.quantity, float(series.values.mean())
    spread = float(values.std(ddof=1)) if series.count > 1 else 0.0
    seen, reason = _seen(values, spread)
    low = high = factor = math.nan
    scatter, doubted, method = 0.0, 0.0, ""
    if seen is not None:
        method, reason = _method(seen, wanted, quantity, of=of)
    if method == "normal":
        scatter, doubted = _scatter(series, spread, wanted)
        factor = _factor(series, (scatter / spread) ** 2, wanted)
        low, high = mean - factor * spread, mean + factor * spread
    elif method == "ranks":
        low, high = _by_ranks(values, wanted, quantity)
    return Found(
        quantity=quantity,
        boards=series.count,
        mean=mean,
        deviation=spread,
        least=float(values.min()),
        most=float(values.max()),
        normality=seen.probability if seen is not None else math.nan,
        correlation=seen.correlation if seen is not None else math.nan,
        scatter=scatter,
        doubted=doubted,
        method=method,
        factor=factor,
        low=low if sides(quantity) != "high" else -math.inf,
        high=high if sides(quantity) != "low" else math.inf,
        reason=reason,
        expanded=float(np.fmax(_largest(series.expanded), 2 * scatter or math.nan)),
    )


def _seen(values: Numbers, spread: float) -> tuple[Normality | None, str]:
    """Return what readings say of their distribution, or nothing and why."""
    if values.size < 3:
        return None, f"{values.size} boards"
    if not spread > 1e-12 * float(np.max(np.abs(values))):
        return None, "all readings are the same number: the spread does not show"
    return normality(values), ""


def _largest(values: Numbers) -> float:
    there = values[~np.isnan(values)]
    return float(there.max()) if there.size else math.nan


def sides(quantity: Quantity) -> str:
    """Return which limits a reading has now: `both`, `low` or `high`; both where it has none yet."""
    if math.isfinite(quantity.low) == math.isfinite(quantity.high):
        return "both"
    return "low" if math.isfinite(quantity.low) else "high"


def _method(seen: Normality, wanted: Wanted, quantity: Quantity, *, of: int) -> tuple[str, str]:
    """Return by which method the limits come, or an empty word and why by none."""
    if wanted.method == "normal":
        return "normal", ""
    number = 2 if sides(quantity) == "both" else 1
    least = needed(sides=number, coverage=wanted.coverage, confidence=wanted.confidence)
    level = 1 - (1 - GIVEN_UP) ** (1 / of)
    if wanted.method == "auto":
        if seen.probability >= level:
            return "normal", ""
        if seen.count >= least:
            return "ranks", ""
        if math.isnan(seen.probability):
            return "", f"{seen.count} boards do not show a distribution (expected {FEWEST} or more)"
        return "", f"not normal (p = {seen.probability:.2g}); ranks need {least} boards"
    return ("ranks", "") if seen.count >= least else ("", f"ranks need {least} boards")


def _scatter(series: Series, spread: float, wanted: Wanted) -> tuple[float, float]:
    """Return the scatter to take out, and one that the readings speak against."""
    stated = wanted.scatter
    if stated is None:
        there = series.scatter[~np.isnan(series.scatter)]
        stated = math.sqrt(float(np.mean(there**2))) if there.size == series.count else 0.0
    share = believed((stated / spread) ** 2, series.count - 1)
    return spread * math.sqrt(share), stated if stated and not share else 0.0


def believed(share: float, freedom: int) -> float:
    """Return how much of the share of s² that the bench is said to have is taken out."""
    if share > 0 and float(special.chdtr(freedom, freedom / share)) < DOUBTFUL:
        return 0.0
    return min(share, MOST_SCATTER)


def _factor(series: Series, taken: float, wanted: Wanted) -> float:
    make = two_sided if sides(series.quantity) == "both" else one_sided
    count = series.count
    return make(count, count - 1, coverage=wanted.coverage, confidence=wanted.confidence, taken=taken)


def _by_ranks(values: Numbers, wanted: Wanted, quantity: Quantity) -> tuple[float, float]:
    number = 2 if sides(quantity) == "both" else 1
    found = ranked(values.size, sides=number, coverage=wanted.coverage, confidence=wanted.confidence)
    assert found is not None, "there are enough"
    ordered = np.sort(values)
    return float(ordered[found.rank - 1]), float(ordered[-found.rank])


# ---------------------------------------------------------------- proposals


def _proposal(place: str, found: Sequence[Found], series: Sequence[Series]) -> Proposal:
    """Return one proposal for all readings that a limit holds for: the closest one that holds for each."""
    first = found[0].quantity
    reasons = [f"{one.quantity.title}: {one.reason}" for one in found if not one.method]
    if len({(one.quantity.low, one.quantity.high, one.quantity.unit) for one in found}) > 1:
        reasons.append("the limits at this place differ from reading to reading")
    low = high = math.nan
    if not reasons:
        step = _step(min(one.deviation for one in found))
        low = rounded(min(one.low for one in found), step, ROUND_FLOOR)
        high = rounded(max(one.high for one in found), step, ROUND_CEILING)
    outside = sum(int(np.count_nonzero((one.values < low) | (one.values > high))) for one in series)
    return Proposal(
        place=place,
        titles=tuple(one.quantity.title for one in found),
        unit=first.unit,
        low=first.low,
        high=first.high,
        new_low=low,
        new_high=high,
        word="" if reasons else _word(first, low, high),
        reason=_few(reasons),
        outside=outside,
        ratio=_tolerance(first, low, high) / max(one.expanded for one in found),
    )


def _tolerance(quantity: Quantity, low: float, high: float) -> float:
    """Return what lies between both limits; with one, between it and zero, or all that a least share leaves."""
    if math.isinf(low) or math.isinf(high):
        return abs(high) if math.isinf(low) else 1 - low if quantity.unit == "%" else abs(low)
    return high - low


def resolved(proposal: Proposal) -> bool:
    """Return whether the bench that read the boards resolves the proposal, as far as its uncertainty is known."""
    return not proposal.ratio < LEAST_RATIO


def _few(reasons: Sequence[str]) -> str:
    more = f"; and {len(reasons) - 2} more" if len(reasons) > 2 else ""
    return "; ".join(reasons[:2]) + more


def _step(deviation: float) -> Decimal:
    """Return the power of ten that limits are rounded to: half a standard deviation or less."""
    return Decimal(1).scaleb(math.floor(math.log10(deviation / 2)))


def rounded(value: float, step: Decimal, way: str) -> float:
    """Round to a multiple of the step, away from the readings."""
    if not math.isfinite(value):
        return value
    return float((Decimal(repr(value)) / step).to_integral_value(rounding=way) * step)


def _word(now: Quantity, low: float, high: float) -> str:
    if not now.limited:
        return "new"
    if (low, high) == (now.low, now.high):
        return "unchanged"
    if low >= now.low and high <= now.high:
        return "tighter"
    return "looser" if low <= now.low and high >= now.high else "moved"


def told(proposals: Iterable[Proposal]) -> tuple[Proposal, ...]:
    """Return the proposals that change something."""
    return tuple(one for one in proposals if one.word and one.word != "unchanged")
