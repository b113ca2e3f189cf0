"""A stretch of a recording in SI units."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from benchtest.instruments import Recording, Role
from benchtest.judge.finding import Case, Undecided
from benchtest.procedure import Channel
from benchtest.signals.contact import Side
from benchtest.signals.levels import Samples

ENDS = np.iinfo(np.int16)
"""Codes at which a converter is at its end."""
FIRST = 512
"""Samples that are looked at first where something is waited for."""
NEARLY = 1e-6
"""Samples; a planned moment that is a sample's moment but for the last bit of a float."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Window:
    """Samples `begin` to `end`, the last not included."""

    begin: int
    end: int


def window(recording: Recording, *, start: float, end: float) -> Window:
    """Return the samples from `start` up to `end`, in seconds. Undecided when they are not all there."""
    begin = math.ceil(start * recording.rate - NEARLY)
    stop = math.ceil(end * recording.rate - NEARLY)
    if begin < 0 or stop > recording.codes.shape[1] + 1:  # one sample short is the end of the record itself
        raise Undecided(f"the recording of {recording.duration:g} s does not reach from {start:g} s to {end:g} s")
    stop = min(stop, recording.codes.shape[1])
    if begin >= stop:
        raise Undecided(f"nothing was recorded between {start:g} s and {end:g} s")
    return Window(begin=begin, end=stop)


def row(recording: Recording, number: int) -> int:
    """Return the row of a channel."""
    if number not in recording.channels:
        raise Undecided(f"channel {number} was not recorded")
    return recording.channels.index(number)


def values(recording: Recording, number: int, part: Window) -> Samples:
    """Return samples to be measured, in SI units. Undecided when the converter was at its end."""
    line = row(recording, number)
    codes = recording.codes[line, part.begin : part.end]
    if codes.max() == ENDS.max or codes.min() == ENDS.min:
        raise Undecided(f"channel {number} was over range")
    return codes.astype(np.float64) * recording.scale[line] + recording.offset[line]


def reach(recording: Recording, number: int, part: Window) -> tuple[float, float]:
    """Return two values in SI units that no sample of a window lies outside; nearly its least and its greatest."""
    line, codes = row(recording, number), recording.codes
    if isinstance(codes, np.ndarray):
        inside = codes[line, part.begin : part.end]
        low, high = float(inside.min()), float(inside.max())
    else:
        low, high = codes.reach(line, part.begin, part.end)
    scale, offset = recording.scale[line], recording.offset[line]
    one, other = low * scale + offset, high * scale + offset
    return (one, other) if one <= other else (other, one)  # a scale may be negative


def rests(case: Case, recording: Recording, number: int, part: Window) -> Side | None:
    """Return the state of a channel all through a window where its extremes tell; None where samples must.

    Of a contact, volts of either sign are levels; one that changes its sign is left to its samples.
    """
    channel = case.watched(number)
    low, high = reach(recording, number, part)
    if low < 0 and channel.role is Role.CONTACT:
        low, high = (-high, -low) if high <= 0 else (0.0, max(-low, high))
    if low >= channel.high:
        return "above"
    return "below" if high <= channel.low else None


def levels(case: Case, recording: Recording, number: int, part: Window | None = None) -> tuple[Channel, Samples]:
    """Return a channel and its samples, all or those of a window, as levels: of a contact, volts of either sign."""
    channel, line = case.watched(number), row(recording, number)
    codes = recording.codes[line] if part is None else recording.codes[line, part.begin : part.end]
    samples = codes.astype(float) * recording.scale[line] + recording.offset[line]
    return channel, np.abs(samples) if channel.role is Role.CONTACT else samples


def onwards(recording: Recording, begin: int) -> Iterator[Window]:
    """Yield windows from a sample to the end of a recording, each far longer than the one before.

    What is waited for mostly comes soon, so that the later ones are seldom looked at.
    """
    length, size = FIRST, recording.codes.shape[1]
    while begin < size:
        yield Window(begin=begin, end=min(begin + length, size))
        begin, length = begin + length, 8 * length
