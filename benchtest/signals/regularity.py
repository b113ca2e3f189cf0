"""For every identifier on a channel, how regularly it came.

Stamps are compared only within one channel. An interval in which the stamps of the channel step back means nothing: it
is rejected, and counted. A frame logged twice, which a bus cannot carry so soon, is counted as a duplicate and ends no
interval. Error frames have no identifier that can be trusted; they are counted for the bus (`bus_load`).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchtest.signals.bus_load import Lengths, stretches
from benchtest.signals.can_bits import INTERFRAME
from benchtest.signals.frames import Flags, Frames, Identifier, Kind, Places, contents
from benchtest.signals.periods import Gap, Period, longest_gap, missing, period

GONE: Final = 3.0
"""Periods without a message before the end after which it is said to have gone silent."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One identifier on one channel."""

    channel: str
    identifier: Identifier
    name: str
    """Message in the database; the identifier as text when it is in none."""
    count: int
    """Frames, duplicates included."""
    duplicates: int
    """Frames with the data of the one before, sooner than the bus could carry them: logged twice, or stamped in
    batches. Without a bit rate, those at the same stamp."""
    rejected: int
    """Intervals not measured because the stamps of the channel step back in them."""
    period: Period | None
    """None without an interval."""
    nominal: float | None
    """Seconds between two messages as required; None when nobody says."""
    missing: int | None
    """Messages that did not come between the first and the last, against the nominal period, or against the median when
    the message is regular; None when there is neither."""
    gap: Gap | None
    """The longest interval between two messages; None without an interval."""
    last: float
    """Seconds: stamp of the last message."""
    silent: float
    """Seconds from the last message to the end of the channel's log."""
    gone: bool
    """Silent for more than three periods (nominal, or median of a regular message) before the end."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Expected:
    """What is known beforehand."""

    names: Mapping[Identifier, str]
    """Message by identifier; a remote frame asks for a message, it is none."""
    nominal: Mapping[str, float]
    """Seconds between two messages, by name or by identifier as text."""
    bit_rate: float | None
    """Bits per second."""
    end: float | None
    """Seconds: when the recording ended; None for the last stamp of each channel."""

    def name(self, identifier: Identifier) -> str:
        """Return the message's name, or the identifier as text."""
        return self.names.get(identifier, str(identifier))

    def every(self, identifier: Identifier) -> float | None:
        """Return the required seconds between two messages, or None."""
        return self.nominal.get(self.name(identifier), self.nominal.get(str(identifier)))


def rows(frames: Frames, *, found: Lengths, channel: str, expected: Expected) -> Iterator[Row]:
    """Yield a row for every identifier of these frames, which are those of one channel, in order of the identifier."""
    stretch, starts = stretches(frames.time), frames.starts
    shortest = (found.actual - INTERFRAME) / expected.bit_rate if expected.bit_rate else np.zeros(len(frames))
    for identifier, places in _groups(frames):
        again = _again(frames, places, starts=starts, shortest=shortest)
        kept = places[~again]
        log = _Moments(times=frames.time[kept], together=np.diff(stretch[kept]) == 0)
        yield _row(log, identifier, channel, duplicates=int(again.sum()), expected=expected, last=frames.time[-1])


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Moments:
    """When a message came, duplicates left out, in order of the log."""

    times: NDArray[np.float64]
    together: Flags
    """Of each interval: the stamps do not step back in it."""


def _row(
    log: _Moments, identifier: Identifier, channel: str, *, duplicates: int, expected: Expected, last: float
) -> Row:
    intervals = np.diff(log.times)
    found, nominal = period(intervals, log.together), expected.every(identifier)
    every = nominal if nominal is not None else found.median if found is not None and found.regular else None
    end = float(last) if expected.end is None else expected.end
    silent = end - float(log.times[-1])
    return Row(
        channel=channel,
        identifier=identifier,
        name=expected.name(identifier),
        count=int(log.times.size) + duplicates,
        duplicates=duplicates,
        rejected=int((~log.together).sum()),
        period=found,
        nominal=nominal,
        missing=None if every is None else missing(intervals[log.together], every=every),
        gap=longest_gap(log.times, log.together),
        last=float(log.times[-1]),
        silent=silent,
        gone=every is not None and silent > GONE * every,
    )


def _groups(frames: Frames) -> Iterator[tuple[Identifier, Places]]:
    """Yield each identifier with its places in the log; error frames have none."""
    named = np.flatnonzero(~frames.of_kind(Kind.ERROR))
    key = frames.identifier[named] | (frames.kind[named] & np.uint32(Kind.EXTENDED | Kind.REMOTE)) << np.uint32(29)
    order = np.argsort(key, kind="stable")
    cuts = np.flatnonzero(np.diff(key[order])) + 1
    for places in np.split(named[order], cuts) if named.size else []:
        kind = Kind(int(frames.kind[places[0]]))
        yield Identifier(int(frames.identifier[places[0]]), Kind.EXTENDED in kind, Kind.REMOTE in kind), places


def _again(frames: Frames, places: Places, *, starts: NDArray[np.int64], shortest: NDArray[np.float64]) -> Flags:
    """Return which of one identifier's frames are the one before once more."""
    again = np.zeros(places.size, np.bool_)
    after = np.diff(frames.time[places])
    soon = np.flatnonzero((after >= 0) & ((after == 0) | (after < shortest[places[1:]]))) + 1
    alike = frames.size[places[soon]] == frames.size[places[soon - 1]]
    soon = soon[alike]
    width = int(frames.size[places[soon]].max(initial=0))
    before, now = (contents(frames, places[at], starts=starts, width=width) for at in (soon - 1, soon))
    again[soon[(before == now).all(axis=1)]] = True
    return again
