"""What a d.c. supply gives: mean, ripple, sags and recovery.

Ripple has at least three definitions, which differ by a factor of three and more for one and the same voltage: a figure
without its definition says nothing. All are given, each relative to the mean. Mean and r.m.s. are taken over whole
cycles of the ripple where it has two or more, so that a broken cycle at an end does not lean on them.

Source: IEC 61131-2 and IEC 60204-1 limit ripple by different definitions (second hand); sag, its depth and duration as
in IEC 61000-4-30 (from memory), without its r.m.s. windows.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from benchtest.signals.cycles import extremes, summed, whole
from benchtest.signals.found import Found
from benchtest.signals.levels import states
from benchtest.signals.series import Sampled, Series, Stamped, Uneven, cut, stretch

FEWEST_CYCLES: Final = 2
"""Cycles of ripple for which the rest of a stretch is left out; a single rise may be the one after a sag."""


class Ripple(StrEnum):
    """What a ripple figure means; each is relative to the mean."""

    PEAK_TO_PEAK = "peak to peak"
    HALF = "half of peak to peak"
    EFFECTIVE = "r.m.s. of the alternating part"


@dataclass(frozen=True, kw_only=True, slots=True)
class Direct:
    """A d.c. voltage (or current) over a stretch."""

    mean: Found
    lowest: Found
    highest: Found
    alternating: Found
    """R.m.s. of what is left without the mean."""
    cycles: int
    """Whole cycles of the ripple that mean and r.m.s. were taken over; 0 when the stretch was taken whole."""
    unread: int
    """Samples left out because they were not numbers."""

    def ripple(self, rule: Ripple) -> Found:
        """Return the ripple by a named definition, as a share of the mean."""
        if self.mean.value is None or self.lowest.value is None or self.highest.value is None:
            return self.mean if self.mean.value is None else self.highest
        if self.alternating.value is None or self.mean.value == 0:
            return Found.unknown("the mean is zero: no ripple relative to it")
        swing = self.highest.value - self.lowest.value
        part = {Ripple.PEAK_TO_PEAK: swing, Ripple.HALF: swing / 2, Ripple.EFFECTIVE: self.alternating.value}
        return Found.known(part[rule] / abs(self.mean.value))


@dataclass(frozen=True, kw_only=True, slots=True)
class Sag:
    """One time below a limit."""

    begin: Found
    """Moment in seconds of falling to the limit."""
    duration: Found
    """Seconds until the voltage is back."""
    lowest: Found
    depth: Found
    """From the nominal value to the lowest."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Sags:
    """Every time below a limit that a record shows."""

    each: tuple[Sag, ...]
    gap: float
    """Seconds that a sag may last without being seen."""
    reason: str = ""
    """Why there may be others, or none can be told."""


def direct(
    series: Sampled | Uneven,
    *,
    since: float = -np.inf,
    until: float = np.inf,
    saturation: tuple[float, float] | None = None,
) -> Direct:
    """Return mean and extremes of a stretch between two moments in seconds.

    Where samples are at or beyond `saturation`, the extremes were not seen, and a mean of what is left would lie:
    all are undecided.
    """
    part = stretch(series, since=since, until=until)
    span = extremes(part)
    reason = "" if span.lowest <= span.highest else "no sample could be read"
    if not reason and np.isinf(part.gap):
        reason = "one sample stands for no time"
    if saturation is not None and span.reaches(saturation) and not reason:
        reason = f"the converter was at its end ({saturation[0]:g} or {saturation[1]:g})"
    if reason:
        none = Found.unknown(reason)
        return Direct(mean=none, lowest=none, highest=none, alternating=none, cycles=0, unread=span.unread)
    turns = whole(part, span)
    cycles = turns.count if turns.count >= FEWEST_CYCLES else 0
    begin, end = (turns.begin, turns.end) if cycles else (-np.inf, np.inf)
    sums = summed(part, begin=begin, end=end, around=span.middle)
    return Direct(
        mean=Found.known(sums.mean),
        lowest=Found.known(span.lowest),
        highest=Found.known(span.highest),
        alternating=Found.known(sums.deviation),
        cycles=cycles,
        unread=span.unread,
    )


def sags(series: Series, *, limit: float, back: float, nominal: float) -> Sags:
    """Return every time at or below `limit`, each until `back` is reached again.

    A slope is timed at the middle between the two. Of stamped changes (True is back) there are times but no volts.
    Raises ValueError unless `limit` lies below `back`.
    """
    found = states(series, low=limit, high=back)
    if found.first is None:
        return Sags(each=(), gap=found.gap, reason=f"neither at or below {limit:g} nor at or above {back:g} throughout")
    changes = [Found.known(*change) for change in zip(found.moments, found.doubts, strict=True)]
    if found.first is False:
        changes.insert(0, Found.unknown("below the limit already when the record begins"))
    if len(changes) % 2:
        changes.append(Found.unknown("not back when the record ends"))
    each = tuple(_sag(series, *pair, nominal) for pair in zip(changes[::2], changes[1::2], strict=True))
    reason = f"{found.unread} samples were not numbers" if found.unread else ""
    return Sags(each=each, gap=found.gap, reason=reason)


def _sag(series: Series, begin: Found, end: Found, nominal: float) -> Sag:
    lowest = Found.unknown("stamped changes carry no volts")
    if not isinstance(series, Stamped):
        since = series.begin if begin.value is None else begin.value - begin.doubt
        _, values = cut(series, since=since, until=series.end if end.value is None else end.value + end.doubt)
        lowest = Found.known(values.min())
    depth = lowest if lowest.value is None else Found.known(nominal - lowest.value)
    return Sag(begin=begin, duration=end.since(begin), lowest=lowest, depth=depth)


def recovery(series: Sampled | Uneven, *, low: float, high: float, since: float, until: float = np.inf) -> Found:
    """Return the seconds from a cause at `since` until a voltage is inside `low` to `high` for good.

    0 when it never left, its doubt the time to the first sample. Undecided when it is outside at the end.
    """
    moments, values = cut(series, since=since, until=until)
    outside = np.flatnonzero((values < low) | (values > high))
    if not values.size:
        return Found.unknown("no sample could be read")
    if not outside.size:
        return Found.known(0.0, float(moments[0] - since))
    last = int(outside[-1])
    if last + 1 == values.size:
        return Found.unknown(f"outside {low:g} to {high:g} at the end")
    edge = low if values[last] < low else high
    share = (edge - values[last]) / (values[last + 1] - values[last])
    gap = float(moments[last + 1] - moments[last])
    return Found.known(float(moments[last] - since) + float(share) * gap, gap)
