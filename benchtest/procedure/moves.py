"""What a rig is told to do. A move that makes evidence names it; a recording carries orders of its own."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from benchtest.instruments import Order


@dataclass(frozen=True, kw_only=True, slots=True)
class Source:
    """Set a supply; the evidence is what it says of itself after `settle`."""

    name: str
    channel: int
    volts: float
    amps: float
    settle: float
    """Seconds."""
    stop_if_limiting: bool = True
    kind: Literal["source"] = "source"


@dataclass(frozen=True, kw_only=True, slots=True)
class Set:
    """Set a drive or a resistance, without recording."""

    channel: int
    value: float
    kind: Literal["set"] = "set"


@dataclass(frozen=True, kw_only=True, slots=True)
class Measure:
    """Take one reading of one channel."""

    name: str
    channel: int
    kind: Literal["measure"] = "measure"


@dataclass(frozen=True, kw_only=True, slots=True)
class Say:
    """Send a message on the link at a moment of a recording."""

    at: float
    message: str
    signals: Mapping[str, float]
    kind: Literal["say"] = "say"


@dataclass(frozen=True, kw_only=True, slots=True)
class Heartbeat:
    """Start or stop the controller's heartbeat on the link at a moment of a recording."""

    at: float
    alive: bool
    kind: Literal["heartbeat"] = "heartbeat"


LinkOrder = Say | Heartbeat


@dataclass(frozen=True, kw_only=True, slots=True)
class Record:
    """Carry out orders and watch channels and link on one time base."""

    name: str
    orders: tuple[Order, ...]
    link_orders: tuple[LinkOrder, ...]
    duration: float
    """Seconds."""
    rate: float
    """Samples per second and channel."""
    channels: tuple[int, ...]
    kind: Literal["record"] = "record"


@dataclass(frozen=True, kw_only=True, slots=True)
class Look:
    """A person looks at a lamp; the evidence is what they tell."""

    name: str
    channel: int
    code: int | None = None
    """None for lit or dark; 0 for a count of flashes; else how many two-digit codes follow one another."""
    kind: Literal["look"] = "look"


@dataclass(frozen=True, kw_only=True, slots=True)
class AllOff:
    """Everything to its safe state, then read back which channels are not."""

    name: str
    kind: Literal["all off"] = "all off"


@dataclass(frozen=True, kw_only=True, slots=True)
class Exchange:
    """Ask every adapter who it is, many times over; the evidence is how long each answer took."""

    name: str
    times: int
    longest: float
    """Seconds after which no adapter is asked again."""
    kind: Literal["exchange"] = "exchange"


@dataclass(frozen=True, kw_only=True, slots=True)
class CompareClocks:
    """Let the adapter that records run for a while and ask it for its time early and late, against the rig's clock."""

    name: str
    duration: float
    """Seconds."""
    channels: tuple[int, ...]
    rate: float
    """Samples per second and channel; nothing is read from the samples."""
    kind: Literal["compare clocks"] = "compare clocks"


@dataclass(frozen=True, kw_only=True, slots=True)
class LoopBack:
    """Send one message from the bench's link adapter to its second one, and one back."""

    name: str
    message: str
    kind: Literal["loop back"] = "loop back"


Move = Source | Set | Measure | Look | Record | AllOff | Exchange | CompareClocks | LoopBack
