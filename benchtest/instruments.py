"""The seam to the bench: capabilities, not products.

A rig is a handful of these and a clock. The heart is `Recorder`: one schedule of orders and one list of channels go in,
and what every channel did comes back on one time base. Whoever implements these times the orders and samples as well as
it can and says how well (`Recording.jitter`, `Started.uncertainty`); nothing here hides a latency.

Channels are numbers; the fixture's harness says what is behind each. All values are SI.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final, NamedTuple, Protocol, runtime_checkable

if TYPE_CHECKING:  # whoever makes or reads samples loads NumPy; checking a document does not wait for it
    import numpy as np
    from numpy.typing import NDArray


class Role(StrEnum):
    """What a channel is for."""

    SUPPLY = "supply"
    """Sources a voltage (d.c., or r.m.s. of a.c.) with a current limit."""
    DRIVE = "drive"
    """Closes a dry contact or applies a level: 0 off, 1 on."""
    RESISTANCE = "resistance"
    """Presents a resistance in ohms; infinite is open."""
    SENSE = "sense"
    """Reads volts."""
    CONTACT = "contact"
    """Reads volts across a contact under test current."""
    LIGHT = "light"
    """Reads light as share of full scale."""
    CURRENT = "current"
    """Reads amps of a supply."""
    OHMS = "ohms"
    """Reads ohms without power."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Order:
    """Set one output at one moment."""

    at: float
    """Seconds after the start of the recording."""
    channel: int
    value: float
    """0 or 1 for a drive, volts for a supply, ohms for a resistance."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Capture:
    """What to do and what to watch, on one time base."""

    orders: tuple[Order, ...]
    """In order of time; all within the duration."""
    duration: float
    """Seconds."""
    rate: float
    """Samples per second and channel."""
    channels: tuple[int, ...]
    """Channels to record: sense, contact, light and current channels."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Started:
    """When a recording began."""

    at: float
    """Seconds of the rig's clock."""
    uncertainty: float
    """Half-width in seconds: how well the host knows the adapter's beginning."""


class Latent(Protocol):
    """Samples that are made where somebody looks at them, and are then as if they had always been there."""

    @property
    def shape(self) -> tuple[int, int]:
        """Channels and samples of each."""
        ...

    @property
    def dtype(self) -> np.dtype[np.int16]: ...

    def __getitem__(self, place: int | tuple[int, slice], /) -> NDArray[np.int16]:
        """Return the samples of one channel, or a stretch of them."""
        ...

    def __array__(self, dtype: None = None, copy: bool | None = None) -> NDArray[np.int16]:
        """Return all samples, for `numpy.asarray`."""
        ...

    def reach(self, row: int, begin: int, end: int) -> tuple[float, float]:
        """Return two codes, not always whole ones, that none of these samples lies outside."""
        ...


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Recording:
    """What every channel did. Sample i was taken at i / rate after the start."""

    rate: float
    """Samples per second and channel."""
    channels: tuple[int, ...]
    codes: NDArray[np.int16] | Latent
    """Shape (channels, samples), as the converter gave them."""
    scale: tuple[float, ...]
    """SI value of one code, per channel."""
    offset: tuple[float, ...]
    """SI value of code 0, per channel."""
    done: tuple[Order, ...]
    """The orders with the moments at which they were carried out."""
    overrun: bool = False
    """True when samples were lost; nothing may be judged from such a recording."""

    def __post_init__(self) -> None:
        rows, _ = self.codes.shape
        if not rows == len(self.channels) == len(self.scale) == len(self.offset):
            raise ValueError(f"{rows} rows of samples for {len(self.channels)} channels")

    def samples(self, channel: int) -> NDArray[np.float64]:
        """Return the samples of one channel in SI units, shape (samples,)."""
        row = self.channels.index(channel)
        samples: NDArray[np.float64] = self.codes[row].astype(float) * self.scale[row] + self.offset[row]
        return samples

    @property
    def duration(self) -> float:
        """Seconds from the first sample to one interval after the last."""
        return float(self.codes.shape[1] / self.rate)


@dataclass(frozen=True, kw_only=True, slots=True)
class SupplyState:
    """What a supply says of itself."""

    on: bool
    volts: float
    """At the output terminals, read back."""
    amps: float
    limiting: bool
    """The current limit is holding the voltage down."""


class Identified(Protocol):
    def identity(self) -> str:
        """Return maker, model, serial number and firmware, separated by commas (IEEE 488.2 `*IDN?`)."""
        ...

    def beat(self) -> None:
        """Show the adapter that its user is alive; without it for the dead-man time it switches everything off."""
        ...

    def check(self) -> None:
        """Raise AdapterRefused when the adapter has an error in its queue."""
        ...


class Switched(Protocol):
    def off(self, channel: int) -> None:
        """Take one output to its safe state: drive off, resistance open, supply off."""
        ...

    def all_off(self) -> None:
        """Take everything to its safe state in one order; harmless when repeated."""
        ...

    def energised(self) -> frozenset[int]:
        """Return the channels that are not in their safe state, read back from the adapter."""
        ...


class Outputs(Switched, Protocol):
    def set(self, channel: int, value: float) -> None:
        """Set one drive (0 or 1) or one resistance (ohms)."""
        ...


class Supplies(Switched, Protocol):
    def source(self, channel: int, *, volts: float, amps: float) -> None:
        """Set the current limit, then the voltage, then switch on."""
        ...

    def supply_state(self, channel: int) -> SupplyState:
        """Read one supply back."""
        ...


class Meter(Protocol):
    def measure(self, channel: int) -> float:
        """Return one reading in the channel's unit: volts, amps, ohms or share of full scale; inf is over-range."""
        ...


class Panel(Protocol):
    def look(self, channels: Sequence[int]) -> Sequence[float]:
        """Return one reading of each channel, all taken within this call; as `Meter.measure` gives them."""
        ...


class Recorder(Protocol):
    def begin(self, capture: Capture) -> Started:
        """Load the schedule, start, and return at once."""
        ...

    def fetch(self) -> Recording:
        """Wait for the end of the running recording and return it."""
        ...


@runtime_checkable
class Ticking(Protocol):
    """A recorder whose own clock can be read while it records."""

    def elapsed(self) -> float:
        """Return the seconds since the start of the running recording, by the adapter's clock as it answers."""
        ...


class Asker(Protocol):
    """A way to talk with a person, line by line: no colours, no cursor, no hurry."""

    def tell(self, text: str) -> None:
        """Show a text."""
        ...

    def ask(self, prompt: str) -> str:
        """Show a prompt and return the line that was typed. Raises Paused when nobody is there to answer."""
        ...


class Back(Exception):
    """A person wants the request before this one again. Caught where the procedure is performed."""


class Skip(Exception):
    """A person passes this request by; the message is the reason. Caught where the procedure is performed."""


class Person(Protocol):
    """What only a person does on a bench. `look`, like orders and readings asked of a person, raises Back and Skip."""

    @property
    def name(self) -> str:
        """Who the person says they are."""
        ...

    @property
    def requests(self) -> int:
        """How often the person was asked for something."""
        ...

    def look(self, channel: int, *, code: int | None) -> str:
        """Return what a lamp does: lit, dark, blinking; of a lamp with a code, the code.

        `code` is None for a state, 0 for a count of flashes, else how many two-digit codes follow one another.
        """
        ...

    def tell(self, text: str) -> None:
        """Show a text."""
        ...

    def confirm(self, text: str) -> None:
        """Wait until the person has read a text."""
        ...


class BenchAdapter(Identified, Outputs, Supplies, Meter, Recorder, Protocol):
    """All that one bench adapter can be; a rig may also be composed of several that can do less."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Device:
    """One opened adapter, by what it can do; None is what it cannot."""

    identified: Identified
    outputs: Outputs | None = None
    supplies: Supplies | None = None
    meter: Meter | None = None
    panel: Panel | None = None
    """Reads many channels in few exchanges, where the device can."""
    recorder: Recorder | None = None
    person: Person | None = None

    @property
    def switched(self) -> Switched | None:
        """What has to be taken to safety, if anything."""
        return self.outputs if self.outputs is not None else self.supplies

    @staticmethod
    def whole(bench: BenchAdapter) -> Device:
        """Return an adapter that can do everything."""
        return Device(identified=bench, outputs=bench, supplies=bench, meter=bench, recorder=bench)


class Message(NamedTuple):
    """One decoded message on the link; there are thousands in a run."""

    at: float
    """Seconds of the rig's clock."""
    name: str
    """Name in the signal database or among the link's messages; empty when the frame is none of them."""
    signals: Mapping[str, float]
    frame: str
    """Identifier, where there is one, and data, hexadecimal."""
    sent: bool
    """True when the bench sent it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Remark:
    """What a link had to bear or has recovered from: for the record, and for what may be judged."""

    text: str
    deaf: float = 0.0
    """Seconds in which it heard nothing by the bench's own doing."""


class Link(Protocol):
    def heartbeat(self, message: str, *, every: float) -> None:
        """Send `message` every `every` seconds from now on; its signals are the last ones sent."""
        ...

    def silence(self) -> None:
        """Stop the heartbeat; harmless when there is none."""
        ...

    def send(self, message: str, signals: Mapping[str, float]) -> float:
        """Send one message now; signals left out keep their last value (0 at first). Return when it went."""
        ...

    def messages(self) -> Sequence[Message]:
        """Return what was sent and received since the last call, in order of time. A dead listener is LinkLost."""
        ...

    def check(self) -> None:
        """Raise LinkLost when the link is dead on our side; waits for nothing."""
        ...

    def remarks(self) -> Sequence[Remark]:
        """Return what it had to bear or has recovered from since the last call."""
        ...


VIRTUAL = "Benchtest,Virtual bench adapter"
"""How the identity of every simulated bench adapter begins, whatever wires it is behind."""
LONGEST_VIRTUAL: Final = 60.0
"""Seconds; the longest recording that a simulated bench makes."""

UNIT: Mapping[Role, str] = {
    Role.SUPPLY: "V",
    Role.DRIVE: "",
    Role.RESISTANCE: "Ω",
    Role.SENSE: "V",
    Role.CONTACT: "V",
    Role.LIGHT: "",
    Role.CURRENT: "A",
    Role.OHMS: "Ω",
}
