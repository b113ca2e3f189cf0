"""In which state of the board each reading is taken: every output of the bench as it stands at that moment.

Steps are numbered by their place in the profile, so a step that is put in before others gives them new names. What a
reading means does not hang on its name but on what the bench had ordered when it was taken; that is worked out here
from the moves, without their moments, so that it is the same for every bench and every pace.

Of a supply only the voltage counts, but for the question whether it was in current limit: there the limit does too.
"""

import math
import re
from collections.abc import Hashable, Iterator, Mapping
from dataclasses import fields
from typing import Final

from benchtest.instruments import Order
from benchtest.procedure import (
    AllOff,
    Bounce,
    Cause,
    Check,
    Delay,
    LampCode,
    Limiting,
    Measurand,
    MessageAnswer,
    Procedure,
    Record,
    Say,
    Scalar,
    Set,
    Source,
    Still,
)

Situation = frozenset[tuple[Hashable, Hashable]]
"""Output → what it is ordered to be; outputs in their safe state are left out."""

_NUMBERED: Final = re.compile(r"^(code|lamps|loss-of-[^.]*?)-[0-9]+(-back)?\.")
_NEARLY: Final = 1e-9  # s; what is read up to an order is read before it
_SAFE: Final = frozenset({0.0, math.inf})  # a heartbeat that is not alive, False, is 0.0 too
_NOT_WHAT_IS_READ: Final = frozenset(
    {"evidence", "start", "end", "until", "since", "before", "channels", "rhythm", "dimmed", "share"}
)


def nature(check_id: str) -> str:
    """Return a check's identifier without the number of its step: `code.D21.code,-at-rest` for `code-7.D21.…`."""
    return _NUMBERED.sub(r"\1\2.", check_id)


def read_in(what: Measurand) -> tuple[Hashable, ...]:
    """Return what a measurand reads, without when and from which recording."""
    said = {field.name: getattr(what, field.name) for field in fields(what) if field.name not in _NOT_WHAT_IS_READ}
    if isinstance(what, Scalar):
        said["minus"] = bool(what.minus)  # the name of another evidence
    since = getattr(what, "since", None)
    cause = (since.channel, since.state) if isinstance(what, Delay) and since is not None else ()
    return (*said.items(), cause)


def situations(procedure: Procedure) -> dict[str, Situation]:
    """Return the situation of every check that is read from a move, by the check's identifier."""
    moments = dict(_moments(procedure))
    found: dict[str, Situation] = {}
    for check in (check for step in procedure.steps for check in step.checks):
        moment = moments.get(getattr(check.measurand, "evidence", ""))
        if moment is not None:
            found[check.id] = moment.at(check)
    return found


def made_again(planned: Procedure, run: Procedure) -> dict[str, Record]:
    """Return each planned recording that a run has, moment by moment, with the same orders in the same state."""
    had = [moment for _, moment in _moments(run) if moment.record is not None]
    found: dict[str, Record] = {}
    for name, wanted in _moments(planned):
        alike = [one.record for one in had if one.record is not None and wanted.alike(one)]
        if alike:
            found[name] = next((record for record in alike if record.name == name), alike[0])
    return found


def holds(record: Record, what: Measurand) -> bool:
    """Return whether a recording watched all that a measurand reads."""
    since = getattr(what, "since", None)
    named = [getattr(what, name, None) for name in ("channel", "minus")]
    named += [*getattr(what, "channels", ()), since.channel if isinstance(since, Cause) else None]
    return {number for number in named if number is not None} <= set(record.channels)


class _Moment:
    """The state in which a move was made, and what it ordered itself."""

    def __init__(self, before: Mapping[Hashable, Hashable], amps: float | None, record: Record | None) -> None:
        self.before, self._amps, self.record = dict(before), amps, record

    def alike(self, other: "_Moment") -> bool:
        """Return whether another moment's recording is the same but for its rate and its channels."""
        mine, its = self.record, other.record
        if mine is None or its is None or abs(mine.duration - its.duration) > _NEARLY:
            return False
        same = (mine.orders, mine.link_orders) == (its.orders, its.link_orders)
        return same and _outputs(self.before) == _outputs(other.before)

    def at(self, check: Check) -> Situation:
        what = check.measurand
        if self.record is None:
            limiting = isinstance(what, Limiting)
            return _outputs({**self.before, "amps": self._amps} if limiting else self.before)
        if isinstance(what, Still):  # all that was ordered while everything else had to be still
            events = frozenset(_events(self.record, until=math.inf))
            return _outputs(self.before) | frozenset({("meanwhile", events)})
        return _outputs({**self.before, **dict(_events(self.record, until=_until(what)))})


def _moments(procedure: Procedure) -> Iterator[tuple[str, _Moment]]:
    """Yield the name of each evidence with the moment of its move."""
    state: dict[Hashable, Hashable] = {}
    for move in (move for step in procedure.steps for move in step.moves):
        match move:
            case Set():
                state[move.channel] = move.value
            case Source():
                state[move.channel] = move.volts
                yield move.name, _Moment(state, move.amps, None)
            case AllOff():
                state.clear()
                yield move.name, _Moment(state, None, None)
            case Record():
                yield move.name, _Moment(state, None, move)
                state |= dict(_events(move, until=math.inf))
            case _:
                yield move.name, _Moment(state, None, None)


def _until(what: Measurand) -> float:
    """Return up to which moment of its recording orders bear on a reading, that moment included."""
    match what:
        case Delay():
            return what.since.at + _NEARLY
        case Bounce() | MessageAnswer():
            return what.since + _NEARLY
        case LampCode():
            return math.inf
    return float(getattr(what, "end", math.inf)) - _NEARLY


def _events(record: Record, *, until: float) -> Iterator[tuple[Hashable, Hashable]]:
    """Yield each output that a recording orders, with its value, in time."""
    for order in sorted((*record.orders, *record.link_orders), key=lambda order: order.at):
        if order.at > until:
            return
        match order:
            case Order():
                yield order.channel, order.value
            case Say():
                yield from (((order.message, signal), value) for signal, value in order.signals.items())
            case _:
                yield "heartbeat", order.alive


def _outputs(state: Mapping[Hashable, Hashable]) -> Situation:
    return frozenset((output, value) for output, value in state.items() if value not in _SAFE)
