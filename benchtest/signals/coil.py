"""What a relay's coil shows: operate and release voltage, by ramp or by steps.

Operate voltage is where *every* contact has functioned on a rising input, hold voltage what is reached on a falling one
before *any* contact changes, release voltage where every contact has restored. A ramp warms the coil and finds another
value than steps do, so the step method decides disputes; it gives an interval between two steps, not a point.

Source: MIL-R-5757J, 6.8 (pickup, hold, dropout) and 4.6.8.2.1 (step sequence), MIL-PRF-28776F, 4.8.7.2 (which method
decides), read in public copies. Contacts are given as states; `made` says on which side.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from benchtest.signals.contact import Made
from benchtest.signals.found import Found
from benchtest.signals.levels import States
from benchtest.signals.series import Moments, Sampled, Uneven, cut

Method = Literal["ramp", "steps"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Contact:
    """A contact that the coil moves."""

    states: States
    made: Made = "below"
    form: Literal["make", "break"] = "make"
    """What it does when the relay operates: a form A makes, a form B breaks."""

    @property
    def operated(self) -> bool:
        """State of an operated relay: True is above."""
        return (self.made == "above") == (self.form == "make")


@dataclass(frozen=True, kw_only=True, slots=True)
class CoilVoltages:
    """Volts at which a relay moved; the doubt of a ramp is what the voltage changed between two looks."""

    method: Method
    operate: Found
    """Rising: the last contact had functioned."""
    hold: Found
    """Falling: lowest at which no contact had changed yet."""
    release: Found
    """Falling: the last contact had restored."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Plateau:
    """A stretch of steady voltage."""

    begin: float
    """Seconds."""
    end: float
    volts: float
    """Its mean, without its sign."""


def by_ramp(volts: Sampled | Uneven, contacts: Sequence[Contact]) -> CoilVoltages:
    """Return operate, hold and release voltage of a ramp up from release and down again.

    The record's highest voltage, of either sign, parts the two. Raises ValueError without contacts.
    """
    _some(contacts)
    moments, values = cut(volts)
    if not values.size:
        return _nothing("ramp", "no coil voltage could be read")
    size = np.abs(values)
    begin, top, end = float(moments[0]), float(moments[np.argmax(size)]), float(moments[-1])
    up = [_turn(contact, operated=True, since=begin, until=top) for contact in contacts]
    down = [_turn(contact, operated=False, since=top, until=end) for contact in contacts]
    return CoilVoltages(
        method="ramp",
        operate=_volts_at(_last(up), moments, size),
        hold=_volts_at(_first(down), moments, size),
        release=_volts_at(_last(down), moments, size),
    )


def _some(contacts: Sequence[Contact]) -> None:
    if not contacts:
        raise ValueError("no contact shows whether the relay operated")


def _nothing(method: Method, reason: str) -> CoilVoltages:
    nothing = Found.unknown(reason)
    return CoilVoltages(method=method, operate=nothing, hold=nothing, release=nothing)


def _turn(contact: Contact, *, operated: bool, since: float, until: float) -> Found:
    """Return when a contact first changed in one half of the ramp."""
    states, wanted, word = contact.states, contact.operated is operated, "operated" if operated else "released"
    before = states.at(since)
    if before is None:
        return Found.unknown("a contact was neither made nor open")
    if before is wanted:
        return Found.unknown(f"{word} already at {since:g} s")
    inside = (states.moments > since) & (states.moments <= until) & (states.rising == wanted)
    if not inside.any():
        return Found.unknown(f"not {word} until {until:g} s")
    edge = int(np.argmax(inside))
    return Found.known(states.moments[edge], states.doubts[edge])


def _last(turns: Sequence[Found]) -> Found:
    """Return the last turn; undecided when one contact's is."""
    undecided = next((turn for turn in turns if turn.value is None), None)
    return undecided or max(turns, key=_moment)


def _first(turns: Sequence[Found]) -> Found:
    """Return the first turn of those that are known; a contact that did not move was not the first."""
    known = [turn for turn in turns if turn.value is not None]
    return min(known, key=_moment) if known else turns[0]


def _moment(turn: Found) -> float:
    assert turn.value is not None
    return turn.value


def _volts_at(moment: Found, moments: Moments, volts: Moments) -> Found:
    """Return the voltage at a moment; what it changed while the moment is in doubt is its doubt."""
    if moment.value is None:
        return moment
    ends = (moment.value - moment.doubt / 2, moment.value + moment.doubt / 2)
    inside = volts[(moments >= ends[0]) & (moments <= ends[1])]
    near = np.concatenate((np.interp(ends, moments, volts), inside))
    return Found.known(float(np.interp(moment.value, moments, volts)), float(near.max() - near.min()))


def by_steps(
    volts: Sampled | Uneven, contacts: Sequence[Contact], *, tolerance: float, shortest: float
) -> CoilVoltages:
    """Return operate, hold and release voltage of steps up and down again, each midway between two steps.

    The doubt is the step. `tolerance` in volts and `shortest` in seconds say what a step is. The contacts are looked at
    at the end of each. Raises ValueError without contacts.
    """
    _some(contacts)
    steps = plateaus(volts, tolerance=tolerance, shortest=shortest)
    if not steps:
        return _nothing("steps", f"no step that stays within {tolerance:g} V for {shortest:g} s")
    top = max(range(len(steps)), key=lambda step: steps[step].volts)
    moved = [[contact.states.at(step.end) is contact.operated for contact in contacts] for step in steps]
    rising, falling = steps[: top + 1], steps[top:]
    operated = [all(contacts_moved) for contacts_moved in moved]
    changed = [not contacts_moved for contacts_moved in operated]
    restored = [not any(contacts_moved) for contacts_moved in moved]
    return CoilVoltages(
        method="steps",
        operate=_between(rising, operated[: top + 1], "operated"),
        hold=_between(falling, changed[top:], "changed"),
        release=_between(falling, restored[top:], "released"),
    )


def _between(steps: Sequence[Plateau], happened: Sequence[bool], word: str) -> Found:
    """Return the middle between the last step at which something had not happened and the first at which it had."""
    if not any(happened):
        return Found.unknown(f"not {word} at {steps[-1].volts:.4g} V, the last step")
    at = happened.index(True)
    if at == 0:
        return Found.unknown(f"{word} already at {steps[0].volts:.4g} V, the first step")
    ends = steps[at - 1].volts, steps[at].volts
    return Found.known(sum(ends) / 2, abs(ends[1] - ends[0]))


def plateaus(volts: Sampled | Uneven, *, tolerance: float, shortest: float) -> tuple[Plateau, ...]:
    """Return the stretches of at least `shortest` seconds in which a voltage stays within ± `tolerance` volts.

    A stretch that drifts from its first quarter to its last by more than half the tolerance is a piece of a ramp.
    """
    moments, values = cut(volts)
    size, found, start = np.abs(values), [], 0
    while start < size.size:
        stop = _stays_until(size, start, 2 * tolerance)
        part, quarter = size[start:stop], max(1, (stop - start) // 4)
        drift = abs(float(part[-quarter:].mean() - part[:quarter].mean()))
        if moments[stop - 1] - moments[start] >= shortest and drift <= tolerance / 2:
            found.append(Plateau(begin=float(moments[start]), end=float(moments[stop - 1]), volts=float(part.mean())))
        start = stop
    return tuple(found)


def _stays_until(values: Moments, start: int, width: float) -> int:
    """Return the first position from `start` at which the extremes since then are more than `width` apart."""
    length = 256
    while True:
        part = values[start : start + length]
        wide = np.maximum.accumulate(part) - np.minimum.accumulate(part) > width
        if wide.any():
            return start + int(np.argmax(wide))
        if start + length >= values.size:
            return values.size
        length *= 4


def decided(ramp: Found, steps: Found) -> tuple[Found, Method]:
    """Return which of two findings stands: that of the steps, unless they decide nothing. MIL-PRF-28776F, 4.8.7.2."""
    return (ramp, "ramp") if steps.value is None else (steps, "steps")
