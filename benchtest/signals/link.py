"""Intervals and answers from the messages on a link, in seconds of the recording.

The host stamps every message with the same half-width; whoever reports an interval carries two of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchtest.instruments import Message
from benchtest.procedure import MessageAnswer


@dataclass(frozen=True, kw_only=True, slots=True)
class Answer:
    """How a message was answered."""

    sent: float | None
    """When it went; None when it was not sent."""
    delay: float | None
    """Seconds to the first answer that shows the value; None when none did."""
    already: bool
    """The last message before the sending showed the value already."""


def heard(messages: Sequence[Message], name: str) -> NDArray[np.float64]:
    """Return the moments at which a message of this name was received, in order."""
    return np.sort(np.array([message.at for message in messages if message.name == name and not message.sent], float))


def mean_interval(moments: NDArray[np.float64]) -> float | None:
    """Return the mean interval; None for fewer than two moments."""
    return float((moments[-1] - moments[0]) / (moments.size - 1)) if moments.size >= 2 else None


def longest_gap(moments: NDArray[np.float64], *, start: float, end: float) -> float:
    """Return the longest interval without a message; `start` and `end` count like messages."""
    inside = moments[(moments >= start) & (moments <= end)]
    return float(np.diff(np.concatenate(([start], inside, [end]))).max())


def last_value(messages: Sequence[Message], name: str, signal: str, *, start: float, end: float) -> float | None:
    """Return a signal's value in the last message received in the window; None when none has it."""
    values = [
        message.signals[signal]
        for message in sorted(messages, key=lambda message: message.at)
        if message.name == name and not message.sent and start <= message.at <= end and signal in message.signals
    ]
    return values[-1] if values else None


def answer(messages: Sequence[Message], question: MessageAnswer, *, slack: float) -> Answer:
    """Return how long the first sending asked about waited for a received message that shows the value.

    `slack` is how much earlier than planned, in seconds, the sending may be stamped.
    """
    ordered = sorted(messages, key=lambda message: message.at)
    sendings = (m.at for m in ordered if m.sent and m.name == question.sent and m.at >= question.since - slack)
    asked = next(sendings, None)
    if asked is None:
        return Answer(sent=None, delay=None, already=False)
    shown = [m for m in ordered if not m.sent and m.name == question.message and question.signal in m.signals]
    before = [m.signals[question.signal] for m in shown if m.at < asked]
    if before and before[-1] == question.value:
        return Answer(sent=asked, delay=None, already=True)
    answers = (m.at - asked for m in shown if m.at >= asked and m.signals[question.signal] == question.value)
    return Answer(sent=asked, delay=next(answers, None), already=False)
