"""How long answers take in a log: requests paired with the first answer that follows them.

A request waits until the next request. One that gets no answer before that, or one later than permitted, is unanswered;
an answer to nothing is counted too. Stamps are compared within one channel, and a pair in which they step back is
rejected. Pairs go by the order of the log, so an answer at the request's own stamp still follows it.

Source: common practice, no source.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchtest.signals.bus_load import stretches
from benchtest.signals.decoding import carrying, identifier_of, present, values
from benchtest.signals.frames import Frames, Identifier, Places, chosen, contents


@dataclass(frozen=True, kw_only=True, slots=True)
class Shows:
    """A message in which a signal takes on a value that it did not show in the message before."""

    message: str
    """Name in the database."""
    signal: str
    value: float
    """Scaled; a choice is given by its number."""
    tolerance: float = 0.0
    """Largest difference that still is this value; half a step of the signal is added to it."""


Asked = Identifier | Shows
"""Every message of an identifier, or those in which a signal comes to a value."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Latency:
    """How requests were answered."""

    asked: NDArray[np.float64]
    """Seconds: stamps of the answered requests, in order of the log."""
    delays: NDArray[np.float64]
    """Seconds from each of them to its answer."""
    requests: int
    """All of them: answered, unanswered, open and rejected."""
    unanswered: int
    """No answer before the next request, within the permitted time, or before the end of the log."""
    open: int
    """Unanswered, but the log ends before the permitted time is over: undecided. 0 without a permitted time."""
    rejected: int
    """The stamps step back between request and answer."""
    unasked: int
    """Answers to no request, or to one that was answered already."""

    @property
    def mean(self) -> float | None:
        """Seconds; None without an answer."""
        return float(self.delays.mean()) if self.delays.size else None

    @property
    def longest(self) -> float | None:
        """Seconds; None without an answer."""
        return float(self.delays.max()) if self.delays.size else None

    @property
    def shortest(self) -> float | None:
        """Seconds; None without an answer."""
        return float(self.delays.min()) if self.delays.size else None


def latency(
    frames: Frames,
    *,
    request: Asked,
    answer: Asked,
    within: float | None = None,
    database: Any = None,
    channel: str | None = None,
) -> Latency:
    """Return how long each request waited for its answer.

    `within` is the permitted time in seconds; an answer after it comes too late and counts as none. `database`, one of
    cantools, is needed to look for a signal's value. `channel` names the one to look at.

    Raises ValueError for a log of several channels of which none is named, and for a channel, message or signal that is
    not there.
    """
    log = _one_channel(frames, channel)
    requests, answers = _places(log, request, database), _places(log, answer, database)
    asked, answered = _pairs(requests, answers, frames=len(log))
    stretch = stretches(log.time)
    together = stretch[asked] == stretch[answered]
    delays = log.time[answered] - log.time[asked]
    good = together & (delays <= (np.inf if within is None else within))
    unfinished = int(within is not None and _open(log, requests, asked, within=within))
    rejected = int((~together).sum())
    return Latency(
        asked=log.time[asked[good]],
        delays=delays[good],
        requests=int(requests.size),
        unanswered=int(requests.size - good.sum()) - rejected - unfinished,
        open=unfinished,
        rejected=rejected,
        unasked=int(answers.size - asked.size),
    )


def _pairs(requests: Places, answers: Places, *, frames: int) -> tuple[Places, Places]:
    """Return the requests that an answer follows before the next request, and those answers."""
    following = np.append(answers, frames)[np.searchsorted(answers, requests, side="right")]
    answered = following < np.append(requests, frames)[1:]
    return requests[answered], following[answered]


def _open(log: Frames, requests: Places, asked: Places, *, within: float) -> bool:
    """Return whether the last request has no answer and the log ends too soon to blame anybody."""
    if not requests.size or (asked.size and asked[-1] == requests[-1]):
        return False
    return bool(log.time[-1] - log.time[requests[-1]] < within)


def _one_channel(frames: Frames, channel: str | None) -> Frames:
    used = [frames.channels[number] for number in np.unique(frames.channel)]
    if channel is None and len(used) <= 1:
        return frames
    if channel not in used:
        asked = "no channel is named" if channel is None else f"there is no channel {channel!r}"
        raise ValueError(f"{asked} (the log has: {', '.join(used)})")
    return chosen(frames, np.flatnonzero(frames.channel == frames.channels.index(channel)))


def _places(log: Frames, asked: Asked, database: Any) -> Places:
    """Return where in the log the message asked about is."""
    if isinstance(asked, Identifier):
        return carrying(log, asked)
    message, signal = _known(asked, database)
    places = carrying(log, identifier_of(message))
    places = places[log.size[places] >= message.length]
    data = contents(log, places, starts=log.starts, width=int(message.length))
    here = present(message, signal, data)
    step = 0.0 if signal.conversion.is_float else abs(float(signal.scale))
    near = np.abs(values(signal, data[here]) - asked.value) <= asked.tolerance + step / 2
    comes: Places = places[here][1:][near[1:] & ~near[:-1]]
    return comes


def _known(asked: Shows, database: Any) -> tuple[Any, Any]:
    """Return message and signal from the database."""
    if database is None:
        raise ValueError(f"message {asked.message!r} is asked for by name, and there is no database")
    message = next((message for message in database.messages if message.name == asked.message), None)
    if message is None:
        raise ValueError(f"there is no message {asked.message!r} in the database")
    signal = next((signal for signal in message.signals if signal.name == asked.signal), None)
    if signal is None:
        names = ", ".join(signal.name for signal in message.signals)
        raise ValueError(f"message {asked.message} has no signal {asked.signal!r} (it has: {names})")
    return message, signal
