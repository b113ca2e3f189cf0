"""What a contact did while it should not move: chatter, and misses and sticks of a contact that is cycled.

Chatter is every change of a contact that is held. Miss and stick need volts, not states: a closed contact may drop so
much, an open one must hold off so much, from some time after it changed. A rule is a row of the table with its source.

Source: MIL-R-5757J, 3.22 (miss detector), MIL-R-5757H, 3.13 (vibration: closed may open 10 µs, open may bridge 1 µs,
micro sign restored), MIL-PRF-22885/71C (electronic-logic load), all read in public copies.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from benchtest.signals.contact import Made, absences, counted
from benchtest.signals.found import Count, Found
from benchtest.signals.levels import States
from benchtest.signals.series import Sampled, Series, Stamped, Uneven, Values, cut

CLOSED_MAY_OPEN: Final = 10e-6
"""Seconds, in vibration. MIL-R-5757H, 3.13."""
OPEN_MAY_BRIDGE: Final = 1e-6
"""Seconds, in vibration. MIL-R-5757H, 3.13."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Chatter:
    """Changes of a contact that is held."""

    count: Count
    longest: Found
    """Seconds of the longest absence; 0 when there was none, which is then less than its doubt."""
    beyond: Count
    """Absences longer than what is allowed."""


@dataclass(frozen=True, kw_only=True, slots=True)
class MissRule:
    """When a contact has missed or stuck; shares are of the open-circuit voltage."""

    name: str
    """Its source."""
    closed_share: float
    """A closed contact that drops this much or more has missed; `closed_volts` says it in volts instead."""
    open_share: float
    """An open contact that holds off less has stuck."""
    wait: float
    """Seconds after the first change before it is looked at."""
    closed_volts: float | None = None


ELECTRONIC_LOGIC: Final = MissRule(
    name="MIL-PRF-22885/71C, electronic logic: 5 V, 10 mA",
    closed_share=0.42,
    closed_volts=2.1,
    open_share=0.9,
    wait=10e-3,
)
HIGH_LEVEL: Final = MissRule(name="MIL-R-5757J, 3.22, high level", closed_share=0.05, open_share=0.95, wait=0.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Hold:
    """A stretch for which a contact was told to be closed or open."""

    closed: bool
    begin: float
    """Seconds of the order."""
    end: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Held:
    """What a contact did in one hold."""

    hold: Hold
    word: Literal["held", "miss", "stick", "undecided"]
    rule: MissRule
    at: float | None = None
    """Seconds of the first sample that shows a miss or stick."""
    worst: float | None = None
    """Volts: the largest drop of a closed contact, the smallest of an open one."""
    reason: str = ""


def chatter(
    states: States, *, made: Made = "below", closed: bool = True, since: float, until: float, allowed: float = 0.0
) -> Chatter:
    """Return how a contact held closed (or open) between two moments in seconds chattered.

    Undecided where it was not in that state at the begin: then it did not chatter, it was not held.
    """
    above = (made == "above") == closed
    if states.at(since) is not above or since < states.begin or until > states.end:
        why = f"not {'closed' if closed else 'open'} at {since:g} s"
        if since < states.begin or until > states.end:
            why = f"watched only from {states.begin:g} s to {states.end:g} s"
        none = Count(least=0, most=None, reason=why)
        return Chatter(count=none, longest=Found.unknown(why), beyond=none)
    gone = absences(states, above=above, since=since, until=until)
    return Chatter(
        count=counted(gone, gap=states.gap),
        longest=_longest(gone.durations, gone.spreads, gap=states.gap),
        beyond=_beyond(gone.durations, gone.spreads, gap=states.gap, allowed=allowed),
    )


def _longest(durations: Values, spreads: Values, *, gap: float) -> Found:
    if not durations.size:
        return Found.known(0.0, gap) if np.isfinite(gap) else Found.unknown("fewer than two samples")
    longest = int(np.argmax(durations))
    return Found.known(durations[longest], 2 * spreads[longest])


def _beyond(durations: Values, spreads: Values, *, gap: float, allowed: float) -> Count:
    least = int(np.count_nonzero(durations - spreads > allowed))
    if gap > allowed:
        return Count(least=least, most=None, reason=f"{allowed:g} s may pass between two looks {gap:g} s apart")
    most = int(np.count_nonzero(durations + spreads > allowed))
    return Count(least=least, most=most, reason="" if least == most else f"looks {gap:g} s apart leave it open")


def held(series: Series, holds: Sequence[Hold], *, open_circuit: float, rule: MissRule) -> tuple[Held, ...]:
    """Return for each hold whether the contact missed or stuck; samples are volts across it, of either sign.

    `open_circuit` is the voltage of the open contact, of any sign but not zero; else ValueError.
    """
    if not abs(open_circuit) > 0:
        raise ValueError(f"open-circuit voltage {open_circuit!r} V (expected one that is not zero)")
    if isinstance(series, Stamped):
        why = "stamped changes carry no volts"
        return tuple(Held(hold=hold, word="undecided", rule=rule, reason=why) for hold in holds)
    return tuple(_held(series, hold, abs(open_circuit), rule) for hold in holds)


def _held(series: Sampled | Uneven, hold: Hold, open_circuit: float, rule: MissRule) -> Held:
    moments, volts = cut(series, since=hold.begin, until=hold.end)
    volts = np.abs(volts)
    drop = rule.closed_volts if rule.closed_volts is not None else rule.closed_share * open_circuit
    good = volts < drop if hold.closed else volts >= rule.open_share * open_circuit
    lapse: Literal["miss", "stick"] = "miss" if hold.closed else "stick"
    if not volts.size:
        return Held(hold=hold, word="undecided", rule=rule, reason="no sample in the hold could be read")
    if not good.any():
        worst = float(volts.min() if hold.closed else volts.max())
        return Held(hold=hold, word=lapse, rule=rule, at=float(moments[0]), worst=worst, reason="it never changed")
    late = moments >= moments[np.argmax(good)] + rule.wait
    if not late.any():
        why = f"the hold ends before {rule.wait:g} s after the first change are past"
        return Held(hold=hold, word="undecided", rule=rule, reason=why)
    worst = float(volts[late].max() if hold.closed else volts[late].min())
    bad = late & ~good
    if bad.any():
        return Held(hold=hold, word=lapse, rule=rule, at=float(moments[np.argmax(bad)]), worst=worst)
    slack = 1.01 * series.gap  # a record ends one interval before its duration
    if hold.begin < series.begin - slack or hold.end > series.end + slack:
        why = f"no lapse seen, but watched only from {series.begin:g} s to {series.end:g} s"
        return Held(hold=hold, word="undecided", rule=rule, worst=worst, reason=why)
    return Held(hold=hold, word="held", rule=rule, worst=worst)
