"""Raw evidence, as it came from the bench: nothing is decided here, and nothing is rounded."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from benchtest.instruments import Message, Recording


class Origin(StrEnum):
    """Where evidence comes from, the most real first."""

    MEASURED = "measured"
    BY_HAND = "entered by hand"
    REPLAYED = "replayed"
    SIMULATED = "simulated"


@dataclass(frozen=True, kw_only=True, slots=True)
class Value:
    """One reading of one channel, in its unit; inf is over-range."""

    value: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Supplied:
    """What a supply said of itself."""

    volts: float
    amps: float
    limiting: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Left:
    """Channels that were not in their safe state after everything was ordered off."""

    channels: tuple[int, ...]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Recorded:
    """A recording and the link traffic during it, on one time base."""

    recording: Recording
    messages: tuple[Message, ...]
    """Moments counted from the start of the recording."""
    said: tuple[float, ...]
    """When each link order was carried out, in the order of the move."""
    start_uncertainty: float
    """Half-width in seconds of link moments against channel moments: how well the beginning is known, and how late this
    computer was at worst while it listened."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """What a person saw, in a word: lit, dark, blinking, or a lamp's code."""

    word: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Skipped:
    """A reading that a person passed by."""

    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Exchanged:
    """How long each adapter took to answer, again and again."""

    seconds: Mapping[str, tuple[float, ...]]
    """Adapter → seconds from question to answer, in the order asked."""
    step: float
    """Smallest step of the clock that they were taken with, seconds."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Compared:
    """An adapter's clock, read twice between two readings of the rig's."""

    asked: tuple[float, float]
    """Seconds of the rig's clock when the question went."""
    answered: tuple[float, float]
    """Seconds of the rig's clock when the answer was there."""
    adapter: tuple[float, float]
    """Seconds of the adapter's clock, in the answer."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LoopedBack:
    """What two link adapters heard of one another; seconds until then, infinite where nothing came."""

    out: float
    back: float


Evidence = Value | Supplied | Left | Recorded | Told | Skipped | Exchanged | Compared | LoopedBack


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Readings:
    """Evidence by the name of the move that made it."""

    origin: Origin
    evidence: Mapping[str, Evidence] = field(default_factory=dict)
