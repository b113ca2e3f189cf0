"""A contact that was recorded: first make or break, bounce, rest, chatter; with a command, operate and release time.

The record is cut into actuations: by the edges of the command where one was recorded, else by openings that last long.
Every actuation is measured and the first is named first, for a later one never makes up for it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from benchtest.measure import stated
from benchtest.measure.measured import Input, Mark, Measured, Quantity, Trace
from benchtest.measure.picture_text import mark_text
from benchtest.measure.stated import Instrument
from benchtest.measure.thresholds import TwoStates, two_states
from benchtest.signals.contact import BounceRule, Made, Settling, TimeRule, Way, change_time, settling
from benchtest.signals.found import Found
from benchtest.signals.holding import chatter
from benchtest.signals.levels import States
from benchtest.signals.transfer import transfer

APART: Final = 20e-3
"""Seconds that a contact stays in a state between two actuations; no bounce lasts so long (common practice)."""
OF_THE_CAPTURE: Final = "seconds of the capture"
MOST: Final = 50
"""Actuations that are told one by one."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ContactFile:
    """What a person hands in, and how it shall be read."""

    contact: Input
    command: Input | None = None
    """What the coil was told; its rise energises."""
    breaking: Input | None = None
    """The other contact of a change-over, made while the relay is released."""
    made: Made = "below"
    low: float | None = None
    high: float | None = None
    way: Way = "make"
    """What the contact does when the relay operates."""
    time_rule: TimeRule = TimeRule.FIRST_CONTACT
    bounce_rule: BounceRule = BounceRule.EVERY


@dataclass(frozen=True, kw_only=True, slots=True)
class _Actuation:
    """From one order, or first change, to the next."""

    on: Found
    """Moment of the order to operate, or the reason why there is none."""
    off: Found
    begin: float
    middle: float
    """Where operating ends and releasing begins."""
    end: float


def measure_contact(file: str, asked: ContactFile, instrument: Instrument) -> Measured:
    """Return what a contact did. Raises Unmeasurable on thresholds that tell nothing apart."""
    seen = two_states(asked.contact, low=asked.low, high=asked.high)
    command = two_states(asked.command, low=None, high=None) if asked.command is not None else None
    notes = [*asked.contact.notes, seen.note, command.note if command else "", _made_note(asked)]
    if seen.states is None:
        nothing = stated.word("contact", "undecided", "state of the contact", note=seen.note)
        return _measured(file, asked, (nothing,), notes, (_trace(asked.contact, seen, ()),), settled=False)
    actuations = list(_actuations(seen.states, command.states if command else None, asked))
    quantities, marks = [*_counted(actuations)], list[Mark]()
    for number, actuation in enumerate(actuations[:MOST], 1):
        some, found = _actuation(seen.states, actuation, asked, instrument)
        name = f" {number}" if len(actuations) > 1 else ""
        quantities += [replace(one, name=f"{one.name}{name}") for one in some]
        marks += found
    if asked.breaking is not None:
        quantities += _transfer(asked, seen.states, instrument)
    traces = [_trace(asked.contact, seen, tuple(marks))]
    traces += [_trace(other, two_states(other, low=None, high=None), ()) for other in _others(asked)]
    settled = bool(actuations) and all(one.value is not None for one in quantities if one.name.startswith("first"))
    return _measured(file, asked, tuple(quantities), notes, tuple(traces), settled=settled)


def _measured(
    file: str,
    asked: ContactFile,
    quantities: tuple[Quantity, ...],
    notes: list[str],
    traces: tuple[Trace, ...],
    *,
    settled: bool,
) -> Measured:
    said = tuple(dict.fromkeys(note for note in (*notes, *(n for o in _others(asked) for n in o.notes)) if note))
    return Measured(kind="contact", file=file, quantities=quantities, notes=said, traces=traces, settled=settled)


def _others(asked: ContactFile) -> list[Input]:
    return [other for other in (asked.command, asked.breaking) if other is not None]


def _made_note(asked: ContactFile) -> str:
    return f"{asked.contact.name}: {asked.made} the {'low' if asked.made == 'below' else 'high'} threshold is made"


def _trace(channel: Input, seen: TwoStates, marks: tuple[Mark, ...]) -> Trace:
    return Trace(name=channel.name, unit=channel.unit, series=channel.series, marks=marks, levels=seen.levels)


# ---------------------------------------------------------------- where an actuation begins and ends


def _actuations(seen: States, command: States | None, asked: ContactFile) -> Iterator[_Actuation]:
    """Yield the actuations of a record in order."""
    return _commanded(seen, command) if command is not None else _by_itself(seen, asked)


def _commanded(seen: States, command: States) -> Iterator[_Actuation]:
    """Cut by the command's edges: energised from each rise to the next fall."""
    ons = np.flatnonzero(command.rising)
    for place, edge in enumerate(ons):
        offs = np.flatnonzero(~command.rising[edge:]) + edge
        following = float(command.moments[ons[place + 1]]) if place + 1 < ons.size else seen.end
        on = Found.known(command.moments[edge], command.doubts[edge])
        off = Found.unknown("the command was not taken back in this record")
        if offs.size:
            off = Found.known(command.moments[offs[0]], command.doubts[offs[0]])
        middle = off.value if off.value is not None else following
        yield _Actuation(on=on, off=off, begin=float(command.moments[edge]), middle=middle, end=following)


def _by_itself(seen: States, asked: ContactFile) -> Iterator[_Actuation]:
    """Cut by absences longer than any bounce, both of the operated state and of the released one."""
    why = Found.unknown("no command was recorded (name its channel with --command)")
    operated = (asked.made == "above") == (asked.way == "make")
    moments, rising = _lasting(seen)
    ons = [float(at) for at, up in zip(moments, rising, strict=True) if up == operated]
    if seen.first is operated:
        ons.insert(0, seen.begin)
    if not ons and seen.moments.size:
        ons = [float(seen.moments[0])]  # it moved and never stayed: told as one that has not settled
    for place, on in enumerate(ons):
        following = ons[place + 1] if place + 1 < len(ons) else seen.end
        offs = [float(at) for at, up in zip(moments, rising, strict=True) if up != operated and on < at <= following]
        before = max((at for at in moments if at < on), default=seen.begin)
        begin = seen.begin if place == 0 else (on + float(before)) / 2
        middle = offs[0] - _lead(seen, offs[0]) if offs else following
        yield _Actuation(on=why, off=why, begin=min(begin, on), middle=middle, end=following)


def _lasting(seen: States) -> tuple[list[float], list[bool]]:
    """Return the changes after which a state lasts longer than any bounce, each the first change towards it."""
    moments, rising = [], []
    current = seen.first
    edges = np.append(seen.moments, seen.end)
    pending: float | None = None
    for place, up in enumerate(seen.rising):
        if current is None or bool(up) is not current:
            pending = float(seen.moments[place]) if pending is None else pending
            if edges[place + 1] - edges[place] >= APART or place == seen.rising.size - 1:
                moments.append(pending)
                rising.append(bool(up))
                current, pending = bool(up), None
        elif edges[place + 1] - edges[place] >= APART:
            pending = None  # it came back for good: a chatter of the state that it is in
    return moments, rising


def _lead(seen: States, moment: float) -> float:
    """Return a time before a change at which nothing else changed."""
    earlier = seen.moments[seen.moments < moment]
    return (moment - float(earlier[-1])) / 2 if earlier.size else (moment - seen.begin) / 2


# ---------------------------------------------------------------- what is told of one


def _counted(actuations: list[_Actuation]) -> list[Quantity]:
    definition = "times the contact was commanded, or stayed in the operated state for longer than any bounce"
    note = f"the first {MOST} are told one by one" if len(actuations) > MOST else ""
    return [Quantity(name="actuations", value=float(len(actuations)), definition=definition, note=note)]


def _actuation(
    seen: States, actuation: _Actuation, asked: ContactFile, instrument: Instrument
) -> tuple[list[Quantity], list[Mark]]:
    """Return the quantities and marks of operating, holding and releasing."""
    back: Way = "break" if asked.way == "make" else "make"
    came = settling(
        seen, made=asked.made, way=asked.way, since=actuation.begin, until=actuation.middle, rule=asked.bounce_rule
    )
    went = settling(
        seen, made=asked.made, way=back, since=actuation.middle, until=actuation.end, rule=asked.bounce_rule
    )
    quantities = [*_came(came, actuation.on, "operate time", asked, instrument)]
    if came.settled.value is not None:
        held = chatter(
            seen, made=asked.made, closed=asked.way == "make", since=came.settled.value, until=actuation.middle
        )
        quantities.append(stated.count("chatter while held", held.count, "changes after it had settled"))
    if went.first.value is not None or actuation.off.value is not None:
        quantities += _came(went, actuation.off, "release time", asked, instrument)
    return quantities, [*_marks(came), *_marks(went)]


def _came(found: Settling, order: Found, title: str, asked: ContactFile, instrument: Instrument) -> Iterator[Quantity]:
    verb = found.way
    yield stated.time(f"first {verb}", found.first, f"moment of the first change, {OF_THE_CAPTURE}", instrument)
    if order.value is not None:
        timed = change_time([found], cause=order.value, cause_doubt=order.doubt, rule=asked.time_rule)
        yield stated.time(title, timed.seconds, f"command {timed.rule}", instrument)
    yield stated.time(f"bounce time, {verb}", found.bounce, "first change to last change of the contact", instrument)
    yield stated.count(f"bounces, {verb}", found.returns, str(found.rule))
    yield stated.time(
        f"settled, {verb}", found.settled, "moment of the last change, seconds of the capture", instrument
    )


def _marks(found: Settling) -> list[Mark]:
    marks = []
    if found.first.value is not None:
        marks.append(Mark(at=found.first.value, text=mark_text(f"first {found.way}", found.first.value)))
    if found.settled.value is not None and found.settled.value != found.first.value:
        marks.append(Mark(at=found.settled.value, text=mark_text("settled", found.settled.value)))
    return marks


def _transfer(asked: ContactFile, making: States, instrument: Instrument) -> list[Quantity]:
    """Return how a change-over went, from the contact that breaks to the one that makes."""
    assert asked.breaking is not None
    other = two_states(asked.breaking, low=asked.low, high=asked.high)
    if other.states is None:
        return [stated.word("transfer", "undecided", "order of break and make", note=other.note)]
    found = transfer(other.states, making, made=asked.made)
    definition = "first break of the one contact to first make of the other, bounce excluded"
    return [
        stated.word("transfer", found.order, "order of break and make", note=found.reason),
        stated.time("transit time", found.transit, definition, instrument),
        stated.time("both made", found.bridged, "longest time in which both contacts were made", instrument),
    ]
