"""A recording that somebody else made: its channels, what a person must know about it, and a way to read one channel.

Opening looks at the head of a file only; reading streams it. What was found on the way is said in notes, never hidden:
a header that the rows contradict, readings left out and counted, an uneven time column.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Literal

import numpy as np
from numpy.typing import DTypeLike

from benchtest.errors import CaptureError
from benchtest.signals.series import Series

ROOM: Final = 2**29
"""Bytes that the samples of one channel may take: with times and blocks beside them a reader stays under 1 GB."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Options:
    """What a person may settle that the file leaves open; None where the file shall say it."""

    kind: str | None = None
    """Kind of file, one of `opening.KINDS`, when its name and its first bytes do not tell."""
    delimiter: str | None = None
    """Between the cells of a table: `,` `;` tab or space."""
    decimal: Literal[".", ","] | None = None
    """Decimal mark of a table."""
    time: str | int | None = None
    """Column of a table that holds the time: its name, or its number from 1; 0 for none."""
    rate: float | None = None
    """Samples per second, for files that do not say it."""
    unit: str | None = None
    """Unit in which the chosen channel is written, such as `mV`."""
    rows: Literal["samples", "changes"] | None = None
    """What a row of states is: a look at the signal, or a change of it."""
    unit_size: int | None = None
    """Bytes of one sample of raw logic: 1, 2, 4 or 8."""
    region: tuple[int, int, int, int] | None = None
    """Left, top, width and height of the lamp in the picture, in pixels."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Channel:
    """One thing that was recorded."""

    number: int
    """From 1, in the order of the file."""
    name: str
    unit: str
    """SI unit of the series; empty for states, shares, and where nobody said."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Recorded:
    """One channel as a series, with everything a person must know about it."""

    channel: Channel
    series: Series
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Capture:
    """An opened recording."""

    path: Path
    kind_of_file: str
    channels: tuple[Channel, ...]
    notes: tuple[str, ...] = ()
    """What the head of the file showed; `read` adds what the samples show."""
    reader: Callable[[Channel], Recorded] = field(repr=False)

    def read(self, channel: str | int) -> Recorded:
        """Return one channel, chosen by name or number, with all notes; raise CaptureError when it cannot be had."""
        chosen = self.pick(channel)
        try:
            recorded = self.reader(chosen)
        except OSError as cause:
            raise CaptureError(self.path, f"cannot be read: {cause.strerror or cause}") from cause
        except MemoryError:
            raise CaptureError(
                self.path, "not enough memory for this channel", hint="cut the file into parts"
            ) from None
        return Recorded(channel=recorded.channel, series=recorded.series, notes=(*self.notes, *recorded.notes))

    def series(self, channel: str | int) -> Series:
        """Return one channel, chosen by name or number, in SI units."""
        return self.read(channel).series

    def pick(self, channel: str | int) -> Channel:
        """Return the channel of that name, else of that number; the error lists what there is."""
        named = [known for known in self.channels if known.name == channel]
        if not named and str(channel).isdecimal():
            named = [known for known in self.channels if known.number == int(channel)]
        if len(named) == 1:
            return named[0]
        listed = ", ".join(f"{known.number} '{known.name}'" for known in self.channels[:40])
        more = f" and {len(self.channels) - 40} more" if len(self.channels) > 40 else ""
        found = f"{len(named)} channels are called {channel!r}" if named else f"no channel {channel!r}"
        raise CaptureError(self.path, found, expected=f"one of: {listed or 'none is here'}{more}")


def room(path: Path, samples: int) -> DTypeLike:
    """Return the number type in which so many samples fit; refuse when none does."""
    if samples * 8 <= ROOM:
        return np.float64
    if samples * 4 <= ROOM:
        return np.float32
    found = f"about {samples:,} samples of one channel, more than fit ({ROOM // 4:,})".replace(",", " ")
    raise CaptureError(path, found, hint="cut the file into parts and measure each")
