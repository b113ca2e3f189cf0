"""How a contact came to a state: first arrival, bounce, rest.

Operate and release time are defined in more than one way, and so is a bounce; every answer names the definition it
used. A contact jumps, so a moment from samples lies anywhere between two of them (its doubt); an opening shorter than
the time between two looks may have been missed, so a count from samples is a lower bound. A record that begins made
does not show the first make, and one that ends bouncing does not show the rest: both are said, with the reason.

Source: MIL-R-5757J, 6.8 (operate time excludes bounce and runs to the closing of all contacts; bounce from first make
to the end of making and breaking) and 4.6.8.5.1 (what counts as a bounce), read in a public copy; a relay maker's
glossary (bounce time to the last closing or opening); contact time including bounce is common practice, no source.

`arrival`, `bouncing` and `side` answer the same for the bare samples of a recording, in samples.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Literal

import numpy as np

from benchtest.signals.found import Count, Found
from benchtest.signals.levels import Samples, States, crossings
from benchtest.signals.series import Moments

Side = Literal["above", "below", "between", "changing"]
Made = Literal["above", "below"]
"""Side on which the contact is made: below for volts across it, above for volts behind it."""
Way = Literal["make", "break"]

BOUNCE_SHARE: Final = 0.9
"""Of the open-circuit voltage: an opening reaches it. MIL-R-5757J, 4.6.8.5.1; the high threshold for that rule."""
BOUNCE_LASTS: Final = 10e-6
"""Seconds at least. MIL-R-5757J, 4.6.8.5.1."""
QUIET: Final = 5e-3
"""Seconds without a change after which a contact has settled: small relays bounce no longer (common practice)."""


class TimeRule(StrEnum):
    """What an operate or release time runs to."""

    FIRST_CONTACT = "to the first change of the first contact, bounce excluded"
    LAST_CONTACT = "to the first change of the last contact, bounce excluded"
    SETTLED = "to the last change of the last contact, bounce included (contact time)"


class BounceRule(StrEnum):
    """What counts as a bounce."""

    EVERY = "every return that reaches the other threshold"
    MIL_R_5757J = "returns of at least 10 µs at 90 % of the open-circuit voltage (MIL-R-5757J, 4.6.8.5.1)"


@dataclass(frozen=True, kw_only=True, slots=True)
class Settling:
    """How a contact came to a state."""

    way: Way
    first: Found
    """Moment in seconds of the first change to the state."""
    settled: Found
    """Moment in seconds of the last change, after which it stayed."""
    bounce: Found
    """Seconds from first to settled."""
    returns: Count
    """How often it left the state again, by `rule`."""
    rule: BounceRule


@dataclass(frozen=True, kw_only=True, slots=True)
class Timed:
    """An operate or release time and what it means."""

    seconds: Found
    rule: TimeRule


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Absences:
    """Stretches in which a signal was not in a state."""

    begins: Moments
    ends: Moments
    """Seconds; the end of what was watched for one that goes on."""
    spreads: Moments
    """Seconds that each may be longer or shorter than it looks."""

    @property
    def durations(self) -> Moments:
        """Seconds."""
        return self.ends - self.begins


def settling(
    states: States,
    *,
    made: Made = "below",
    way: Way = "make",
    since: float | None = None,
    until: float | None = None,
    quiet: float = QUIET,
    rule: BounceRule = BounceRule.EVERY,
) -> Settling:
    """Return how a contact made (or broke) between two moments in seconds, as far as the record reaches.

    For the MIL rule the states come from a high threshold at BOUNCE_SHARE of the open-circuit voltage.
    """
    start = states.begin if since is None else max(since, states.begin)
    stop = states.end if until is None else min(until, states.end)
    target, word = (made == "above") == (way == "make"), "made" if way == "make" else "open"
    first = _first(states, target=target, word=word, start=start, stop=stop)
    if first.value is None:
        return Settling(
            way=way,
            first=first,
            settled=first,
            bounce=first,
            returns=Count(least=0, most=None, reason=first.reason),
            rule=rule,
        )
    settled = _settled(states, target=target, word=word, stop=stop, quiet=quiet)
    gone = absences(states, above=target, since=first.value, until=stop)
    return Settling(
        way=way,
        first=first,
        settled=settled,
        bounce=settled.since(first),
        returns=counted(gone, gap=states.gap, rule=rule),
        rule=rule,
    )


def _first(states: States, *, target: bool, word: str, start: float, stop: float) -> Found:
    """Return the first change to the state after `start`."""
    before = states.at(start)
    if before is None:
        return Found.unknown("neither made nor open in the whole record")
    if before is target:
        return Found.unknown(f"{word} already at {start:g} s, so the first change was not observed")
    inside = (states.moments > start) & (states.moments <= stop) & (states.rising == target)
    if not inside.any():
        return Found.unknown(f"not {word} until {stop:g} s")
    edge = int(np.argmax(inside))
    return Found.known(states.moments[edge], states.doubts[edge])


def _settled(states: States, *, target: bool, word: str, stop: float, quiet: float) -> Found:
    """Return the last change until `stop`, when the state was the wanted one long enough after it."""
    edge = int(np.searchsorted(states.moments, stop, side="right")) - 1
    if bool(states.rising[edge]) is not target:
        return Found.unknown(f"not {word} at {stop:g} s, so it has not settled")
    rest = stop - float(states.moments[edge])
    if rest < quiet:
        return Found.unknown(
            f"{word} for only {rest:g} s until {stop:g} s, so it may not have settled (at least {quiet:g} s)"
        )
    return Found.known(states.moments[edge], states.doubts[edge])


def absences(states: States, *, above: bool, since: float, until: float) -> Absences:
    """Return the stretches between two moments in which a signal was not `above` (or not below)."""
    inside = (states.moments > since) & (states.moments < until)
    moments, doubts = states.moments[inside], states.doubts[inside]
    leaves = states.rising[inside] != above
    begins, begin_doubts = moments[leaves], doubts[leaves]
    ends, end_doubts = moments[~leaves], doubts[~leaves]
    before = states.at(since)
    if before is not None and before is not above:
        begins, begin_doubts = np.concatenate(([since], begins)), np.concatenate(([0.0], begin_doubts))
    if ends.size < begins.size:
        ends, end_doubts = np.concatenate((ends, [until])), np.concatenate((end_doubts, [0.0]))
    return Absences(begins=begins, ends=ends, spreads=(begin_doubts + end_doubts) / 2)


def counted(gone: Absences, *, gap: float, rule: BounceRule = BounceRule.EVERY) -> Count:
    """Return how many absences count by a rule, when nothing was seen for `gap` seconds at a time."""
    if rule is BounceRule.EVERY:
        least = gone.begins.size
        if gap == 0:
            return Count(least=least, most=least)
        return Count(least=least, most=None, reason=f"what lasts less than {gap:g} s may not have been seen")
    almost = BOUNCE_LASTS * (1 - 1e-6)  # of a float's last bits
    least = int(np.count_nonzero(gone.durations - gone.spreads >= almost))
    if gap == 0:
        return Count(least=least, most=least)
    if gap > BOUNCE_LASTS * (1 + 1e-6):
        return Count(least=least, most=None, reason=f"10 µs may lie between two looks {gap:g} s apart")
    most = sum(_fitting(longest) for longest in (gone.durations + gone.spreads).tolist())
    return Count(least=least, most=most, reason="" if least == most else f"looks {gap:g} s apart leave it open")


def _fitting(longest: float) -> int:
    """Return how many bounces, each followed by a making, fit into less than `longest` seconds."""
    return max(0, math.ceil(longest / BOUNCE_LASTS - 1e-6) - 1)


def change_time(contacts: Sequence[Settling], *, cause: float, rule: TimeRule, cause_doubt: float = 0.0) -> Timed:
    """Return the operate or release time from a cause in seconds, by a named definition.

    Undecided when one contact is, with its reason. Raises ValueError without contacts.
    """
    if not contacts:
        raise ValueError("no contact to time")
    moments = [contact.settled if rule is TimeRule.SETTLED else contact.first for contact in contacts]
    undecided = next((moment for moment in moments if moment.value is None), None)
    if undecided is not None:
        return Timed(seconds=undecided, rule=rule)
    pick = min if rule is TimeRule.FIRST_CONTACT else max
    chosen = pick(moments, key=lambda moment: moment.value or 0.0)
    return Timed(seconds=chosen.since(Found.known(cause, cause_doubt)), rule=rule)


@dataclass(frozen=True, kw_only=True, slots=True)
class Arrival:
    """How a signal came to a state."""

    moment: float | None
    """Samples from the beginning, midway between two samples; None when it did not arrive."""
    already: bool = False
    """It was in the state before."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Bouncing:
    """How a contact settled."""

    duration: float
    """Samples from the first making to the last change."""
    count: int
    """How often it opened again, at least: what is shorter than a sample interval may not have been seen."""
    settled: bool
    """It was made at the end."""


def arrival(samples: Samples, *, low: float, high: float, above: bool, after: int) -> Arrival:
    """Return the first arrival at the state later than sample `after`.

    `after` is the last sample that may not know of the cause; where it is in the state already, there is no arrival.
    With `after` below zero the first sample stands for it.
    """
    begin = max(after, 0)
    inside = samples[begin:] >= high if above else samples[begin:] <= low
    if not inside.size:
        return Arrival(moment=None)
    if inside[0]:
        return Arrival(moment=None, already=True)
    step = int(np.argmax(inside))
    return Arrival(moment=begin + step - 0.5 if step else None)


def bouncing(samples: Samples, *, low: float, high: float) -> Bouncing | None:
    """Return how a contact settled after its first making; None when it was never made.

    Made is below `low`, open above `high`; a partial opening is none.
    """
    changes = crossings(samples, low=low, high=high)
    made = 0 if changes.first is False else 1
    if changes.first is None or (made and not changes.index.size):
        return None
    start = int(changes.index[0]) if made else int(np.argmax(samples <= low))
    later = changes.index[made:]
    end = int(later[-1]) if later.size else start
    return Bouncing(duration=float(end - start), count=int(changes.rising[made:].sum()), settled=changes.last is False)


def side(samples: Samples, *, low: float, high: float) -> Side:
    """Return where all samples lie, `changing` when not all on one side.

    An empty window is `changing` too: it shows no state.
    """
    above, below = samples >= high, samples <= low
    if not samples.size:
        return "changing"
    if above.all():
        return "above"
    if below.all():
        return "below"
    return "changing" if above.any() or below.any() else "between"
