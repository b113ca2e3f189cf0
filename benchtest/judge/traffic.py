"""What is read from the messages on the link."""

from typing import assert_never

from benchtest.judge.finding import Case, Finding, NotSeen, Undecided, seconds
from benchtest.metrology.uncertainty import Budget, interval
from benchtest.procedure import Interval, MessageAnswer, MessageGap, MessagePeriod, SignalValue
from benchtest.readings import Recorded
from benchtest.signals.link import answer, heard, last_value, longest_gap, mean_interval

ATTENTIVE = 0.05
"""Seconds that the host may be late and still know what a message is about; the plan's windows have that room."""
Asked = MessagePeriod | MessageGap | MessageAnswer | SignalValue


def find(case: Case, asked: Asked) -> Finding:
    """Return what is asked of the messages during a recording."""
    recorded = case.recorded(asked.evidence)
    match asked:
        case MessagePeriod():
            return _period(case, asked, recorded)
        case MessageGap():
            return _gap(case, asked, recorded)
        case MessageAnswer():
            return _answer(case, asked, recorded)
        case SignalValue():
            return _signal(asked, recorded)
        case _:
            assert_never(asked)


def _between(case: Case, value: float, *, intervals: int = 1, start: float = 0.0) -> Budget:
    """Return the budget of a time between two stamped messages, shared by a number of intervals."""
    stamp = case.procedure.timing.link_stamp / intervals
    return interval(value, clock=case.procedure.timing.clock, stamps=(stamp, stamp, start))


def _period(case: Case, asked: MessagePeriod, recorded: Recorded) -> Finding:
    moments = heard(recorded.messages, asked.message)
    mean = mean_interval(moments)
    if mean is None:
        times = "only once heard" if moments.size else "never heard"
        raise NotSeen(f"{asked.message} {times} in {seconds(recorded.recording.duration)}")
    count = int(moments.size)
    return Finding(value=mean, budget=_between(case, mean, intervals=count - 1), note=f"{count} messages")


def _gap(case: Case, asked: MessageGap, recorded: Recorded) -> Finding:
    duration = recorded.recording.duration
    moments = heard(recorded.messages, asked.message)
    gap = longest_gap(moments, start=0.0, end=duration)
    note = "" if moments.size else f"{asked.message} never heard in {seconds(duration)}"
    return Finding(value=gap, budget=_between(case, gap, start=recorded.start_uncertainty), note=note)


def _answer(case: Case, asked: MessageAnswer, recorded: Recorded) -> Finding:
    stamp = case.procedure.timing.link_stamp
    found = answer(recorded.messages, asked, slack=stamp + recorded.start_uncertainty)
    if found.sent is None:
        raise Undecided(f"{asked.sent} was not sent at or after {asked.since:g} s")
    if found.already:
        raise NotSeen(f"{asked.message} showed {asked.signal} = {asked.value:g} already")
    if found.delay is None:
        _attentive(recorded)
        raise _unanswered(case, asked, watched=recorded.recording.duration - found.sent)
    return Finding(value=found.delay, budget=_between(case, found.delay, start=recorded.start_uncertainty))


def _unanswered(case: Case, asked: MessageAnswer, *, watched: float) -> Exception:
    permitted = case.check.permitted
    latest = permitted.high if isinstance(permitted, Interval) else None
    said = f"{asked.message} with {asked.signal} = {asked.value:g}"
    if latest is not None and watched < latest:
        return Undecided(f"no {said} within {seconds(watched)}, when the recording ended")
    return NotSeen(f"no {said} within {seconds(watched)}")


def _attentive(recorded: Recorded) -> None:
    """Raise Undecided when this computer was so late that what the link said may belong to another moment."""
    if recorded.start_uncertainty > ATTENTIVE:
        late = seconds(recorded.start_uncertainty)
        raise Undecided(f"this computer was up to {late} late while it listened (close other programs)")


def _signal(asked: SignalValue, recorded: Recorded) -> Finding:
    _attentive(recorded)
    value = last_value(recorded.messages, asked.message, asked.signal, start=asked.start, end=asked.end)
    if value is None:
        raise Undecided(f"no {asked.message} heard between {seconds(asked.start)} and {seconds(asked.end)}")
    return Finding(value=f"{value:g}")
