"""What a check reads from the evidence: the judge has an arm for each."""

from dataclasses import dataclass
from typing import Final, Literal


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
    """Mean of a channel between two moments of a recording; what is given beside it is subtracted."""

    evidence: str
    channel: int
    start: float
    end: float
    minus: int | None = None
    """Another channel over the same time."""
    before: tuple[float, float] | None = None
    """Two moments between which the same channel had its usual value."""
    kind: Literal["mean"] = "mean"


@dataclass(frozen=True, kw_only=True, slots=True)
class Extent:
    """How far a channel goes between two moments of a recording: its lowest sample, or from lowest to highest."""

    evidence: str
    channel: int
    start: float
    end: float
    of: Literal["lowest", "peak to peak"]
    kind: Literal["extent"] = "extent"


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


SAMPLES_PER_PULSE: Final = 2.5
"""Of a dimmed lamp: more than two keep its pulses from folding, with room for the board's own clock."""
SAMPLES_IN_LIGHT: Final = 1.25
"""Of a dimmed lamp: no pulse of light may fall between two samples; measured on the simulated board."""
TEMPO: Final = 0.2
"""How far flashes and gaps may be off their usual time, relative: twice what two clocks of ±5 % and a slow sampling add
up to."""


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
    dimmed: float = 0.0
    """Hertz of the pulses that dim the lamp; 0 where none do."""
    share: float = 1.0
    """Share of each of these pulses in which there is light."""
    kind: Literal["lamp code"] = "lamp code"

    @property
    def pulse_rate(self) -> float:
        """Samples per second that show the pulses as what they are."""
        return self.dimmed * max(SAMPLES_PER_PULSE, SAMPLES_IN_LIGHT / self.share)


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
class RoundTrip:
    """Seconds within which this share of an adapter's answers came."""

    evidence: str
    adapter: str
    share: float
    kind: Literal["round trip"] = "round trip"


@dataclass(frozen=True, kw_only=True, slots=True)
class ClockRate:
    """By how much the adapter's clock is faster than the rig's, relative."""

    evidence: str
    kind: Literal["clock rate"] = "clock rate"


@dataclass(frozen=True, kw_only=True, slots=True)
class HeardBack:
    """`heard` when what one link adapter sent arrived unchanged at the other, else `silence`."""

    evidence: str
    way: Literal["out", "back"]
    """From the board's link adapter to the second one, or the other way."""
    kind: Literal["heard back"] = "heard back"


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
    | Extent
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
    | RoundTrip
    | ClockRate
    | HeardBack
    | Absent
)
