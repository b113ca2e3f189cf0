"""Times in a recording: from a cause to an arrival, and how long a contact bounces.

A cause is the stamped moment of an order, never the planned one. An order of the bench is stamped by the adapter; an
order on the link by the host, whose knowledge of the recording's beginning is a further uncertainty.
"""

import math
from dataclasses import dataclass

from benchtest.instruments import Order, Recording
from benchtest.judge.finding import Case, Finding, NotSeen, Undecided, seconds
from benchtest.judge.window import NEARLY, levels, onwards, row, window
from benchtest.metrology.uncertainty import Budget, interval
from benchtest.procedure import Bounce, Delay, Interval, State
from benchtest.readings import Recorded
from benchtest.signals.contact import arrival, bouncing

ABOVE: frozenset[State] = frozenset({"broken", "lit", "high"})
"""States at or over a channel's high threshold; the others are at or under the low one."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Moment:
    """A moment in a recording."""

    at: float
    """Seconds."""
    stamps: tuple[float, ...]
    """Half-widths of its stamps."""
    sampled: tuple[float, ...] = ()
    """Sample interval, where it was found between two samples."""
    latency: float = 0.0
    """Half-width from its stamp to the terminals, of an order of the bench."""

    @property
    def earliest(self) -> float:
        """Seconds before which it cannot have been."""
        return self.at - sum(self.stamps) - sum(self.sampled) / 2 - self.latency


def find(case: Case, asked: Delay | Bounce) -> Finding:
    """Return a delay or a bounce time."""
    return _delay(case, asked) if isinstance(asked, Delay) else _bounce(case, asked)


def _delay(case: Case, asked: Delay) -> Finding:
    """Return seconds from the cause to the first arrival."""
    recorded = case.recorded(asked.evidence)
    cause = _cause(case, asked, recorded)
    moment = _arrived(case, recorded.recording, asked.channel, asked.state, since=cause)
    if moment is None:
        raise _not_happened(case, asked.state, watched=recorded.recording.duration - cause.at)
    waited = moment.at - cause.at
    return Finding(value=waited, budget=_budget(case, waited, cause, moment))


def _not_happened(case: Case, state: State, *, watched: float) -> Exception:
    """Return why there is no delay: it did not come, or the record ended before it had to."""
    permitted = case.check.permitted
    latest = permitted.high if isinstance(permitted, Interval) else None
    if latest is not None and watched < latest:
        return Undecided(f"not {state} within {seconds(watched)}, when the recording ended")
    return NotSeen(f"never {state} within {seconds(watched)}")


def _cause(case: Case, asked: Delay, recorded: Recorded) -> Moment:
    """Return the moment that a delay counts from."""
    since = asked.since
    ordered = _link_order(case, asked, recorded) if since.order == "link" else _bench_order(case, asked, recorded)
    if since.last_sent:
        ordered = _last_sent(case, since.last_sent, recorded, before=ordered)
    if since.channel is None or since.state is None:
        return ordered
    terminals = case.channel(since.channel).terminals
    try:
        moment = _arrived(case, recorded.recording, since.channel, since.state, since=ordered)
    except NotSeen as fact:
        raise Undecided(f"nothing to count from: {fact}") from None
    if moment is None:
        watched = seconds(recorded.recording.duration - ordered.at)
        raise Undecided(f"nothing to count from: {terminals} never {since.state} within {watched}")
    return moment


def _bench_order(case: Case, asked: Delay, recorded: Recorded) -> Moment:
    """Return when the adapter carried out the order planned for `since.at`."""
    planned = case.record(asked.evidence).orders
    position = _planned(tuple(order.at for order in planned), asked.since.at)
    wanted = planned[position]
    earlier = sum(_alike(order, wanted) for order in planned[:position])
    done = [order.at for order in recorded.recording.done if _alike(order, wanted)]
    if len(done) <= earlier:
        raise Undecided(f"the order of {asked.since.at:g} s was not carried out")
    return Moment(at=done[earlier], stamps=_stamps(case, wanted.channel), latency=case.procedure.timing.latency)


def _stamps(case: Case, channel: int) -> tuple[float, ...]:
    """Return the half-widths of a channel's moments: the adapter's stamp, and the host's where it polls or orders."""
    known, stamp = case.procedure.channels.get(channel), case.procedure.timing.stamp
    return (stamp, known.late) if known is not None and known.late else (stamp,)


def _alike(one: Order, other: Order) -> bool:
    return (one.channel, one.value) == (other.channel, other.value)


def _link_order(case: Case, asked: Delay, recorded: Recorded) -> Moment:
    """Return when the host carried out the link order planned for `since.at`."""
    planned = case.record(asked.evidence).link_orders
    position = _planned(tuple(order.at for order in planned), asked.since.at)
    if len(recorded.said) <= position:
        raise Undecided(f"the link order of {asked.since.at:g} s was not carried out")
    return Moment(at=recorded.said[position], stamps=(case.procedure.timing.link_stamp, recorded.start_uncertainty))


def _last_sent(case: Case, message: str, recorded: Recorded, *, before: Moment) -> Moment:
    """Return when a message last went out before an order, or with it."""
    latest = before.at + sum(before.stamps)
    moments = [m.at for m in recorded.messages if m.sent and m.name == message and m.at <= latest]
    if not moments:
        raise Undecided(f"nothing to count from: {message} was not sent before {seconds(before.at)}")
    return Moment(at=max(moments), stamps=(case.procedure.timing.link_stamp, recorded.start_uncertainty))


def _planned(moments: tuple[float, ...], at: float) -> int:
    """Return the position of the first order planned for a moment."""
    position = next((i for i, moment in enumerate(moments) if math.isclose(moment, at, abs_tol=1e-9)), None)
    if position is None:
        raise Undecided(f"the procedure has no order at {at:g} s")
    return position


def _arrived(case: Case, recording: Recording, number: int, state: State, *, since: Moment) -> Moment | None:
    """Return the first arrival of a channel at a state after a moment; None when it did not arrive.

    Raises NotSeen when it was there already: then the cause changed nothing.
    """
    channel, _ = case.watched(number), row(recording, number)
    after = max(0, math.ceil(since.earliest * recording.rate - NEARLY) - 1)
    for part in onwards(recording, after):
        _, samples = levels(case, recording, number, part)
        found = arrival(samples, low=channel.low, high=channel.high, above=state in ABOVE, after=0)
        if found.already and part.begin == after:
            raise NotSeen(f"{channel.terminals} was {state} already")
        if found.already or found.moment is not None:
            moment = part.begin + (-0.5 if found.moment is None else found.moment)
            return Moment(at=moment / recording.rate, stamps=_stamps(case, number), sampled=(1 / recording.rate,))
    return None


def _bounce(case: Case, asked: Bounce) -> Finding:
    """Return seconds from the first making of a contact to its last closing or opening."""
    recording = case.recorded(asked.evidence).recording
    part = window(recording, start=asked.since, end=asked.until)
    channel, samples = levels(case, recording, asked.channel, part)
    if samples[0] <= channel.low:
        raise NotSeen(f"{channel.terminals} was made already")
    found = bouncing(samples, low=channel.low, high=channel.high)
    if found is None:
        raise NotSeen(f"never made within {seconds(asked.until - asked.since)}")
    if not found.settled:
        raise NotSeen(f"made, but open again after {seconds(found.duration / recording.rate)}")
    duration = found.duration / recording.rate
    step = 1 / recording.rate
    note = f"at least {found.count} re-opening{'s' if found.count > 1 else ''}" if found.count else ""
    late = (channel.late, channel.late) if channel.late else ()
    budget = interval(duration, clock=case.procedure.timing.clock, stamps=late, sampled=(step, step))
    return Finding(value=duration, budget=budget, note=note)


def _budget(case: Case, value: float, *moments: Moment) -> Budget:
    stamps = tuple(stamp for moment in moments for stamp in moment.stamps)
    sampled = tuple(step for moment in moments for step in moment.sampled)
    latency = sum(moment.latency for moment in moments)
    return interval(value, clock=case.procedure.timing.clock, stamps=stamps, sampled=sampled, latency=latency)
