"""What will be done, fully resolved: moves for the rig, checks for the judge. Frozen, and whole in the run file.

A procedure knows channels and terminals, not profile keys: it can be performed and judged without the profile that it
came from, and an old one can be judged again. Moves make evidence under a name; checks say what to read from it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from benchtest.instruments import UNIT, Order, Role
from benchtest.metrology.decision import Rule
from benchtest.metrology.uncertainty import Quality

# ---------------------------------------------------------------- moves


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


Move = Source | Set | Measure | Look | Record | AllOff

# ---------------------------------------------------------------- what a check reads from the evidence


@dataclass(frozen=True, kw_only=True, slots=True)
class Scalar:
    """The reading of a Measure move, or one field of a Source move; `minus` names a reading to be subtracted."""

    evidence: str
    field: Literal["value", "volts", "amps"] = "value"
    minus: str = ""
    kind: Literal["scalar"] = "scalar"


@dataclass(frozen=True, kw_only=True, slots=True)
class Limiting:
    """`free` or `limiting`: whether a supply was in current limit after a Source move."""

    evidence: str
    kind: Literal["limiting"] = "limiting"


@dataclass(frozen=True, kw_only=True, slots=True)
class StillOn:
    """How many channels were not in their safe state after an AllOff move."""

    evidence: str
    kind: Literal["still on"] = "still on"


@dataclass(frozen=True, kw_only=True, slots=True)
class Mean:
    """Mean of a channel between two moments of a recording; `minus` is subtracted where given."""

    evidence: str
    channel: int
    start: float
    end: float
    minus: int | None = None
    kind: Literal["mean"] = "mean"


@dataclass(frozen=True, kw_only=True, slots=True)
class EffectiveValue:
    """R.m.s. of a channel between two moments of a recording, over whole cycles."""

    evidence: str
    channel: int
    start: float
    end: float
    kind: Literal["r.m.s."] = "r.m.s."


@dataclass(frozen=True, kw_only=True, slots=True)
class ContactResistance:
    """Resistance of a closed contact between two moments, from voltage drop and test current."""

    evidence: str
    channel: int
    start: float
    end: float
    kind: Literal["contact resistance"] = "contact resistance"


@dataclass(frozen=True, kw_only=True, slots=True)
class OpenShare:
    """Voltage across an open contact between two moments, as share of the test voltage."""

    evidence: str
    channel: int
    start: float
    end: float
    kind: Literal["open share"] = "open share"


State = Literal["made", "broken", "lit", "dark", "high", "low"]
"""Contact, lamp and voltage channels: made, broken / lit, dark / high, low."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Cause:
    """The moment that a delay counts from: an order, or the first arrival of another channel at a state after it."""

    at: float
    """Planned moment of the order, seconds in the recording."""
    order: Literal["bench", "link"]
    """Whose order: a bench order's moment is stamped by the adapter, a link order's by the host."""
    channel: int | None = None
    state: State | None = None
    last_sent: str = ""
    """Count from the last sending of this message at or before the order, instead of the order."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Delay:
    """Seconds from a cause to the first arrival of a channel at a state, its bounce excluded."""

    evidence: str
    channel: int
    state: State
    since: Cause
    kind: Literal["delay"] = "delay"


@dataclass(frozen=True, kw_only=True, slots=True)
class Bounce:
    """Seconds from the first making of a contact after `since` to its last closing or opening."""

    evidence: str
    channel: int
    since: float
    until: float
    kind: Literal["bounce"] = "bounce"


@dataclass(frozen=True, kw_only=True, slots=True)
class StateOf:
    """The state of a channel all through a window, or `changing`, or `between` where it is neither."""

    evidence: str
    channel: int
    start: float
    end: float
    kind: Literal["state"] = "state"


@dataclass(frozen=True, kw_only=True, slots=True)
class Still:
    """How many of the channels changed their state in a window; the note names them."""

    evidence: str
    channels: tuple[int, ...]
    start: float
    end: float
    kind: Literal["still"] = "still"


@dataclass(frozen=True, kw_only=True, slots=True)
class CountRhythm:
    """A repeated number of flashes."""

    flash: float
    gap: float
    pause: float
    kind: Literal["count"] = "count"


@dataclass(frozen=True, kw_only=True, slots=True)
class DigitsRhythm:
    """For each probe in turn: slow flashes, then quick ones."""

    slow: float
    quick: float
    between_digits: float
    between_probes: float
    pause: float
    probes: int
    """How many two-digit codes follow one another."""
    kind: Literal["digits"] = "digits"


Rhythm = CountRhythm | DigitsRhythm


@dataclass(frozen=True, kw_only=True, slots=True)
class LampCode:
    """The code that a lamp gives: `3`, `11 12`, or dark, steady, irregular, doubtful."""

    evidence: str
    channel: int
    rhythm: Rhythm
    kind: Literal["lamp code"] = "lamp code"


@dataclass(frozen=True, kw_only=True, slots=True)
class MessagePeriod:
    """Mean interval between the received messages of a name."""

    evidence: str
    message: str
    kind: Literal["message period"] = "message period"


@dataclass(frozen=True, kw_only=True, slots=True)
class MessageGap:
    """Longest interval between the received messages of a name; the beginning and end of the recording count."""

    evidence: str
    message: str
    kind: Literal["message gap"] = "message gap"


@dataclass(frozen=True, kw_only=True, slots=True)
class MessageAnswer:
    """Seconds from the first sending of a message at or after `since` to the first received one that shows a value."""

    evidence: str
    sent: str
    since: float
    message: str
    signal: str
    value: float
    kind: Literal["answer"] = "answer"


@dataclass(frozen=True, kw_only=True, slots=True)
class SignalValue:
    """Value of a signal in the last received message of a name between two moments, as a word such as `0` or `1`."""

    evidence: str
    message: str
    signal: str
    start: float
    end: float
    kind: Literal["signal"] = "signal"


@dataclass(frozen=True, kw_only=True, slots=True)
class Absent:
    """Something that cannot be looked at on this bench or with this board; never decided."""

    reason: str
    kind: Literal["absent"] = "absent"


Measurand = (
    Scalar
    | Limiting
    | StillOn
    | Mean
    | EffectiveValue
    | ContactResistance
    | OpenShare
    | Delay
    | Bounce
    | StateOf
    | Still
    | LampCode
    | MessagePeriod
    | MessageGap
    | MessageAnswer
    | SignalValue
    | Absent
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Interval:
    """Permitted values in SI units, the limits included; None is no limit."""

    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Check:
    """One thing to be read from the evidence and compared."""

    id: str
    """Unique in the procedure, such as `exercise.K3.operate`."""
    subject: str
    """Relay, lamp, input, link, supply or interlock concerned, by its name in the profile."""
    title: str
    """For people: `K3 operate time`."""
    measurand: Measurand
    unit: str
    """SI unit; empty for words and counts; `%` for a ratio, which is kept as it is and printed times hundred."""
    permitted: Interval | str
    """Interval for a number, the expected word for a word."""
    probe: str
    """Where a person would put the meter: `X7.3-X7.4`, `lamp D3`, `link X6.1-X6.2`."""
    place: str = ""
    """file:line of the limit in the profile."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """Moves that belong together and what is read from them."""

    id: str
    title: str
    moves: tuple[Move, ...]
    checks: tuple[Check, ...]
    duration: float
    """The plan's estimate in seconds of dwell, capture and wire time."""
    gate: bool = False
    """When a check of a gate fails, nothing after it is performed."""

    @property
    def brings_up(self) -> bool:
        """Whether the board has its power or its link's heartbeat from this step, for all that comes after it."""
        orders = (order for move in self.moves if isinstance(move, Record) for order in move.link_orders)
        wakes = any(isinstance(order, Heartbeat) and order.alive for order in orders)
        return self.gate and (wakes or any(isinstance(move, Source) for move in self.moves))


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
class DecisionRule:
    """How a value and its uncertainty become a word."""

    guard: float
    """Guard band as multiple of the expanded uncertainty."""
    accept_conditional: bool
    coverage: float = 2.0
    """Coverage factor k for infinite degrees of freedom: the stated coverage probability is 2Φ(k) - 1."""
    rule: Rule = "non-binary"


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
    """Text of the DBC file."""
    bit_rate: float
    heartbeat: str
    every: float
    terminals: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Unresolved:
    """A limit that this bench cannot resolve as it should, and that the profile accepts all the same."""

    check: str
    """Identifier of the check."""
    ratio: float
    """Tolerance over expanded uncertainty, as planned."""
    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Procedure:
    """Everything that will be done and looked at, in order."""

    part: str
    board: str
    variant: str | None
    options: tuple[str, ...]
    not_fitted: tuple[str, ...]
    """Names of the profile that this choice leaves out."""
    channels: Mapping[int, Channel]
    timing: Timing
    decision: DecisionRule
    contact_test: ContactTest
    link: LinkPlan | None
    loads: tuple[int, ...]
    """Channels to take to safety first, in this order; the supplies follow."""
    supplies: tuple[int, ...]
    steps: tuple[Step, ...]
    unresolved: tuple[Unresolved, ...] = ()

    @property
    def duration(self) -> float:
        """The plan's estimate of the whole, in seconds."""
        return sum(step.duration for step in self.steps)
