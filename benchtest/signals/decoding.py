"""Signals of a board from logged frames, by its signal database: one series per signal.

All frames of a message are decoded at once: bits are taken out by place, not frame by frame. A frame that is too short
for its message, has a multiplexer value that the database does not know, or is stamped no later than one before it,
says nothing at all: it is left out whole, and told as an oddity with the first such frame. A signal's choices stay
numbers; what they are called goes along.

Source: the bit numbering of DBC files, from memory; cantools is the judge of it in the tests.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from benchtest.signals.frames import Flags, Frames, Identifier, Kind, Places, contents
from benchtest.signals.series import Uneven

LONGEST_NUMBER: Final = 64
"""Bits of the longest signal that is a number."""
_FLOATS: Final = {16: (np.uint16, np.float16), 32: (np.uint32, np.float32), 64: (np.uint64, np.float64)}


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Decoded:
    """One signal of one message on one channel, over time."""

    channel: str
    message: str
    signal: str
    unit: str
    """As the database writes it; empty when it does not."""
    choices: Mapping[int, str]
    """What values mean, by the number before scaling as cantools has it; empty without any."""
    series: Uneven
    """Values scaled, at the stamps of the frames that have the signal."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Oddity:
    """Frames of a message that could not be taken at their word."""

    channel: str
    message: str
    found: str
    """What is wrong with them."""
    count: int
    """Frames."""
    at: float
    """Seconds: stamp of the first one."""
    frame: str
    """Identifier and data of the first one."""

    def __str__(self) -> str:
        where = f"channel {self.channel}: " if self.channel else ""
        frames = "1 frame" if self.count == 1 else f"{self.count} frames"
        return f"{where}{self.message}: {frames} {self.found} (first at {self.at:.6f} s: {self.frame})"


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Signals:
    """All that a database reads from a log."""

    series: tuple[Decoded, ...]
    oddities: tuple[Oddity, ...]


def signals(frames: Frames, database: Any) -> Signals:
    """Return a series for every signal that was heard, and what could not be decoded.

    `database` is one of cantools. Remote and error frames have no signals.
    """
    starts = frames.starts
    series: list[Decoded] = []
    oddities: list[Oddity] = []
    for message in database.messages:
        identifier = identifier_of(message)
        for number, channel in enumerate(frames.channels):
            places = carrying(frames, identifier, channel=number)
            if places.size:
                part = _Part(frames=frames, starts=starts, channel=channel, message=message)
                series.extend(_series(part, *_usable(part, places, oddities)))
    return Signals(series=tuple(series), oddities=tuple(oddities))


def identifier_of(message: Any) -> Identifier:
    """Return the identifier of a message in a database."""
    return Identifier(int(message.frame_id), bool(message.is_extended_frame))


def carrying(frames: Frames, identifier: Identifier, *, channel: int | None = None) -> Places:
    """Return where the frames of this identifier are in the log, on one channel (by number) or on any."""
    kind = Kind.EXTENDED * identifier.extended | Kind.REMOTE * identifier.remote
    same = (frames.identifier == identifier.number) & (
        (frames.kind & np.uint8(Kind.EXTENDED | Kind.REMOTE | Kind.ERROR)) == int(kind)
    )
    return np.flatnonzero(same if channel is None else same & (frames.channel == channel))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Part:
    """One message of the database on one channel."""

    frames: Frames
    starts: NDArray[np.int64]
    channel: str
    message: Any

    def contents(self, places: Places) -> NDArray[np.uint8]:
        return contents(self.frames, places, starts=self.starts, width=int(self.message.length))

    def oddity(self, places: Places, found: str) -> Oddity:
        first, start = places[0], self.starts[places[0]]
        data = self.frames.data[start : start + self.frames.size[first]].tobytes()
        return Oddity(
            channel=self.channel,
            message=str(self.message.name),
            found=found,
            count=int(places.size),
            at=float(self.frames.time[first]),
            frame=f"{identifier_of(self.message)}#{data.hex().upper()}",
        )


def _usable(part: _Part, places: Places, oddities: list[Oddity]) -> tuple[Places, NDArray[np.uint8]]:
    """Return the places of the frames that can be decoded, with their data; the others become oddities."""

    def without(wrong: Flags, found: str) -> Places:
        if wrong.any():
            oddities.append(part.oddity(places[wrong], found))
        return places[~wrong]

    length = int(part.message.length)
    places = without(part.frames.size[places] < length, f"shorter than the {length} bytes of the message")
    for signal in part.message.signals:
        if signal.is_multiplexer:
            unknown = _unknown(part.message, signal, part.contents(places))
            places = without(unknown, f"with a value of {signal.name} that the database does not know")
        if signal.length > LONGEST_NUMBER:
            everywhere = np.ones(places.size, np.bool_)
            without(everywhere, f"with {signal.name} of {signal.length} bits, which is no number and is not decoded")
    times = part.frames.time[places]
    before = np.concatenate(([-np.inf], np.maximum.accumulate(times)))[: times.size]
    places = without(times <= before, "stamped no later than one before them")
    return places, part.contents(places)


def _unknown(message: Any, multiplexer: Any, data: NDArray[np.uint8]) -> Flags:
    """Return where the multiplexer is there and chooses nothing."""
    chosen_by_it = [signal for signal in message.signals if signal.multiplexer_signal == multiplexer.name]
    known = sorted({value for signal in chosen_by_it for value in signal.multiplexer_ids})
    return present(message, multiplexer, data) & ~np.isin(raw_values(multiplexer, data), known)


def present(message: Any, signal: Any, data: NDArray[np.uint8]) -> Flags:
    """Return in which rows of data the signal is there, as its multiplexer and that one's multiplexers have it."""
    if signal.multiplexer_signal is None:
        return np.ones(len(data), np.bool_)
    chooser = message.get_signal_by_name(signal.multiplexer_signal)
    chosen_here = np.isin(raw_values(chooser, data), signal.multiplexer_ids)
    return present(message, chooser, data) & chosen_here


def _series(part: _Part, places: Places, data: NDArray[np.uint8]) -> Iterator[Decoded]:
    for signal in part.message.signals:
        if signal.length > LONGEST_NUMBER:
            continue
        here = present(part.message, signal, data)
        if here.any():
            yield Decoded(
                channel=part.channel,
                message=str(part.message.name),
                signal=str(signal.name),
                unit=str(signal.unit or ""),
                choices={int(value): str(name) for value, name in (signal.choices or {}).items()},
                series=Uneven(values=values(signal, data[here]), times=part.frames.time[places[here]]),
            )


def values(signal: Any, data: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Return the signal's scaled values in rows of data, choices as numbers."""
    raw = raw_values(signal, data)
    with np.errstate(over="ignore", invalid="ignore"):  # doubles can be anything, and are what cantools makes of them
        return raw.astype(np.float64) * float(signal.scale) + float(signal.offset)


def raw_values(signal: Any, data: NDArray[np.uint8]) -> NDArray[Any]:
    """Return the signal's numbers before scaling: int64, uint64, or float64 for a float signal."""
    pattern = _pattern(signal, data)
    if signal.conversion.is_float:
        unsigned, floating = _FLOATS[signal.length]
        with np.errstate(invalid="ignore"):  # a signalling NaN becomes a quiet one
            return pattern.astype(unsigned).view(floating).astype(np.float64)
    if not signal.is_signed:
        return pattern
    spare = np.uint64(LONGEST_NUMBER - signal.length)
    return (pattern << spare).view(np.int64) >> np.int64(spare)


def _pattern(signal: Any, data: NDArray[np.uint8]) -> NDArray[np.uint64]:
    """Return the signal's bits as a number.

    A little-endian signal begins at its lowest bit, counted from the lowest bit of byte 0. A big-endian one begins at
    its highest bit, numbered in the same way, and goes down through the byte and on at the top of the next.
    """
    little = signal.byte_order == "little_endian"
    bits = np.unpackbits(data, axis=1, bitorder="little" if little else "big")
    start = signal.start if little else 8 * (signal.start // 8) + 7 - signal.start % 8
    taken = bits[:, start : start + signal.length]
    pattern = np.zeros(len(data), np.uint64)
    for column in reversed(taken.T) if little else taken.T:
        pattern = pattern << np.uint64(1) | column
    return pattern
