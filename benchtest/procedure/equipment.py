"""What the judge must know of the bench: its channels, its clock, the test circuit at the contacts, the link."""

from dataclasses import dataclass

from benchtest.instruments import UNIT, Role
from benchtest.messages import SerialFormat
from benchtest.metrology.uncertainty import Quality


@dataclass(frozen=True, kw_only=True, slots=True)
class Channel:
    """What the judge must know of one channel."""

    role: Role
    terminals: str
    """`X7.1-X7.2`, or `lamp D3`."""
    of_reading: float
    """Half-width, relative."""
    plus: float
    """Half-width in SI units."""
    resolution: float
    """Step in SI units."""
    low: float
    """Below: made (contact), dark (light), low (sense)."""
    high: float
    """Above: broken (contact), lit (light), high (sense)."""
    instrument: str
    name: str = ""
    """What the board calls it: `door_shut`, `make contact of K3`."""
    level: float = 0.0
    """Volts that a drive puts on; 0 where it closes a dry contact."""
    alternating: bool = False
    """A.c., read as r.m.s."""
    late: float = 0.0
    """Half-width in seconds of this channel's moments beyond the adapter's stamp, where the host polls or orders it."""
    two_valued: bool = False
    """It reads 1 (broken, lit, high) or 0 and nothing else: no volts, ohms or shares can be had from it."""
    shared: float = 0.0
    """Share of the accuracy that is common to all channels of the instrument in this role."""
    drift: float = 0.0
    """Half-width, relative, from a temperature other than that of the calibration."""
    emf: float = 0.0
    """Half-width of thermal voltages in the leads, volts."""
    leads: float = 0.0
    """Half-width of the resistance of leads that is read along, ohms."""

    @property
    def quality(self) -> Quality:
        """How good its readings are, for a budget."""
        return Quality(
            channel=f"{self.terminals} {self.role}",
            unit=UNIT[self.role],
            of_reading=self.of_reading,
            plus=self.plus,
            step=self.resolution,
            shared=self.shared,
            instrument=f"{self.instrument} {self.role}",
            drift=self.drift,
            emf=self.emf,
            leads=self.leads,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Timing:
    """How well the bench knows moments."""

    clock: float
    """Relative error of the adapter's clock."""
    stamp: float
    """Half-width of the adapter's stamps, seconds."""
    link_stamp: float
    """Half-width of the host's stamps of link messages, seconds."""
    latency: float = 0.0
    """Half-width of what an order may come to the terminals before or after its stamp, seconds."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ContactTest:
    """The test circuit at every contact."""

    voltage: float
    series: float
    tolerance: float
    leads: float = 0.0
    """Half-width of the resistance of leads that is read along with a contact, ohms."""


@dataclass(frozen=True, kw_only=True, slots=True)
class LinkPlan:
    """The board's link, for whoever opens it."""

    database: str
    """Text of the DBC file; empty on a serial line."""
    bit_rate: float
    heartbeat: str
    every: float
    terminals: str
    serial: SerialFormat | None = None
    """Characters, frames and messages of a serial line; None on a CAN bus."""
    bears: float = 0.0
    """Shortest time without a heartbeat, in seconds, after which a good board may call the link lost; 0 if unstated."""
