"""What is on the board: connectors, supplies, inputs, relays, lamps, codes, interlocks.

Frozen pydantic models, validated at birth. Quantities are SI floats here; the text had units. Names that point at other
parts of the document are plain strings here and are checked together in `profile.cross_check`, so that every dangling
name of a document is reported at once.
"""

import math
from typing import Annotated, Literal, Self

from pydantic import (
    BeforeValidator,
    Field,
    StrictBool,
    WithJsonSchema,
    model_validator,
)

from benchtest.documents.section import Section
from benchtest.profile.permitted import Fitted, Lasting, Limits, OhmLimits, OpenLimits, Requirement, Text, Waited
from benchtest.quantities import RESISTANCE, Amps, Hertz, Ohms, Ratio, Seconds, Volts, parse
from benchtest.terminals import Pair


class Identity(Section):
    """Which board this is."""

    part: Annotated[str, Field(pattern=r"^[A-Z0-9][A-Z0-9-]{1,29}$")]
    """Part number as on the board's label."""
    name: Text
    """What the board is called."""
    revisions: Annotated[tuple[str, ...], Field(min_length=1)]
    """Revisions that this profile is for."""


class Connector(Section):
    """One connector of the board."""

    pins: Annotated[int, Field(ge=1, le=99)]
    """Number of pins."""
    use: Text
    """What it is for, in a few words."""
    keep_empty: StrictBool = False
    """Nothing may ever be plugged in here; the plan refuses wiring to it."""
    bridged: tuple[tuple[int, int], ...] = ()
    """Pins that the jumper plug on this connector must join, checked without power."""
    bridge: OhmLimits = Limits[Ohms].model_validate({"max": "2 ohm"})
    """Permitted resistance of each bridge."""
    requirement: tuple[Requirement, ...] = ()
    """What every check of its bridges is evidence of."""


class PassedOn(Section):
    """Where a supply goes on to the next board, and what may be lost on the way."""

    terminals: Pair
    drop: Limits[Volts]
    """Voltage that may be lost on the way."""


class Supply(Fitted):
    """A supply that the bench gives to the board."""

    kind: Literal["dc", "ac"]
    """dc or ac."""
    terminals: Pair
    nominal: Volts
    """Direct voltage, or r.m.s. of an alternating one."""
    current_limit: Amps
    """Never exceeded; set before any voltage."""
    stages: tuple[Volts, ...] = ()
    """Lower voltages to stop and look at on the way up."""
    first_limit: Amps | None = None
    """Current limit during the stages below nominal."""
    idle_current: Limits[Amps] | None = None
    """Permitted current while every relay is at rest."""
    unpowered: OhmLimits | None = None
    """Resistance between the terminals of the board without power."""
    passed_on: PassedOn | None = None
    """Where the supply goes on to the next board."""
    lamp: str | None = None
    """Lamp that is lit while the supply is there."""
    feedback: str | None = None
    """Signal of the status message that is 1 while the supply is there."""


class Rail(Fitted):
    """A voltage that the board makes for itself."""

    terminals: Pair
    limits: Limits[Volts]
    """Permitted voltage."""
    ripple: Limits[Volts] | None = None
    """From its lowest to its highest value once the board is at rest."""


class DryContact(Fitted):
    """A switch between two pins; true while it is closed."""

    kind: Literal["dry contact"]
    terminals: Pair
    rest: Literal["open", "closed"] = "open"
    """State of the contact while nothing is wanted."""
    use: Text
    """What it is for, in a few words."""
    feedback: str | None = None
    """Signal of the board that reports it on the link."""


class Level(Fitted):
    """A voltage against the board's return; true while it is there."""

    kind: Literal["level"]
    terminals: Pair
    high: Volts
    """Voltage that the bench applies for true; 0 V is false."""
    rest: Literal["low", "high"] = "low"
    """State of the input while nothing is wanted."""
    use: Text
    """What it is for, in a few words."""
    feedback: str | None = None
    """Signal of the board that reports it on the link."""


def _resistance_or_open(value: object) -> float:
    return math.inf if value == "open" else parse(value, RESISTANCE)


Resistance = Annotated[
    float,
    BeforeValidator(_resistance_or_open),
    WithJsonSchema({"type": "string", "description": "a resistance such as 10 kohm, or the word open"}),
    RESISTANCE,
]


class Probe(Fitted):
    """A resistance that the board measures; the bench sets it."""

    kind: Literal["probe"]
    terminals: Pair
    states: Annotated[dict[str, Resistance], Field(min_length=1)]
    """Named resistances, the one at rest first."""
    use: Text
    """What it measures, in a few words."""
    feedback: str | None = None
    """Signal of the board that reports it on the link."""

    @property
    def rest(self) -> str:
        """Name of the state at rest."""
        return next(iter(self.states))


Input = Annotated[DryContact | Level | Probe, Field(discriminator="kind")]


class Contact(Section):
    """One contact: form A makes, form B breaks, form C changes over (IEC 61810-1 terms)."""

    form: Literal["A", "B", "C"]
    """A makes, B breaks, C changes over."""
    make: Pair | None = None
    """Common and normally open terminal; forms A and C."""
    break_: Annotated[Pair | None, Field(alias="break")] = None
    """Common and normally closed terminal; forms B and C."""

    @model_validator(mode="after")
    def _terminals_of_the_form(self) -> Self:
        needed = {"A": (True, False), "B": (False, True), "C": (True, True)}[self.form]
        if (self.make is not None, self.break_ is not None) != needed:
            want = {"A": "only 'make'", "B": "only 'break'", "C": "'make' and 'break'"}[self.form]
            raise ValueError(f"a form {self.form} contact needs {want} (pairs of terminals)")
        return self


class RelayLimits(Section):
    """What is permitted of a relay; a relay may override any of it."""

    response: Limits[Seconds] | None = None
    """Command to coil: input filter, firmware, link."""
    operate: Limits[Seconds] | None = None
    """Coil step to first making of a make contact (breaking of a break contact); bounce excluded."""
    release: Limits[Seconds] | None = None
    """Coil off to first return of the contact; bounce excluded."""
    bounce: Limits[Seconds] | None = None
    """First make to last closing or opening."""
    resistance: OhmLimits | None = None
    """Closed contact, at the bench's test current."""
    open_voltage: OpenLimits | None = None
    """Open contact, as share of the bench's test voltage."""
    current: Limits[Amps] | None = None
    """What the energised coil adds to the current of the d.c. supply."""
    kick: Limits[Volts] | None = None
    """Lowest voltage across the coil when its driver lets go: as low as the suppressor lets it."""

    def over(self, default: "RelayLimits") -> "RelayLimits":
        """Return these limits, completed from `default`."""
        return RelayLimits.model_construct(
            **{name: getattr(self, name) or getattr(default, name) for name in RelayLimits.model_fields}
        )


class Command(Section):
    """What energises a relay: an input of the board, or a signal of the link's command message."""

    input: str | None = None
    """Input that energises the relay."""
    link: str | None = None
    """Signal of the controller that energises the relay."""

    @model_validator(mode="after")
    def _one_of_two(self) -> Self:
        if (self.input is None) == (self.link is None):
            raise ValueError("give either 'input' or 'link'")
        return self


class Relay(Fitted):
    """One relay with its load, contact, coil, lamp and limits."""

    load: Text
    """What the relay switches in the machine, in a few words."""
    contact: Contact
    """Form and terminals of its contact."""
    command: Command
    """What makes the board energise it."""
    coil: Pair | None = None
    """Test pads across the coil, where the board has them; voltage there is the driver's doing."""
    lamp: str | None = None
    """Lamp across the coil."""
    feedback: str | None = None
    """Signal of the status message that is 1 while the board says it is energised."""
    coil_current: Amps | None = None
    """Current that the coil adds to the d.c. supply."""
    without_link: Literal["released", "holds"] = "released"
    """What the relay does when the link is lost."""
    limits: RelayLimits = RelayLimits()
    """Its own limits, where they differ from `relay_limits`."""


class Dimming(Section):
    """Pulses by which the board's program dims a lamp, too quick for the eye."""

    frequency: Hertz
    """Pulses in a second."""
    share: Ratio
    """Share of the time in which the light is on."""

    @model_validator(mode="after")
    def _on_and_off(self) -> Self:
        if not (self.frequency > 0 and 0 < self.share < 1):
            raise ValueError("a dimmed lamp goes on and off: 'frequency' above 0 Hz, 'share' between 0 % and 100 %")
        return self


class Lamp(Fitted):
    """A lamp; what it follows is said where it is named (relay, supply, or a code here)."""

    colour: Literal["red", "green", "yellow", "white", "blue"]
    """Colour of its light."""
    use: Text
    """What it shows, in a few words."""
    code: str | None = None
    """Name of the code that it flashes; absent for a steady lamp."""
    dimmed: Dimming | None = None
    """How the program dims it; recordings are then quick enough to tell its pulses from its code."""

    @model_validator(mode="after")
    def _dimmed_by_the_program(self) -> Self:
        if self.dimmed is not None and self.code is None:
            raise ValueError("only a lamp that the program lights can be 'dimmed': give its 'code', or leave it out")
        return self


class CountMeaning(Section):
    """One flash count of a counting code; the first whose `when` holds is shown."""

    means: Text
    """What the number of flashes says, in a few words."""
    when: "Condition | None" = None
    """Absent: shown when nothing above holds."""


class CountCode(Fitted):
    """A lamp that repeats a number of flashes and pauses."""

    kind: Literal["count"]
    flash: Lasting
    """How long one flash lasts."""
    gap: Lasting
    """Dark time between two flashes."""
    pause: Lasting
    """Dark time between two repeats."""
    meanings: Annotated[dict[int, CountMeaning], Field(min_length=1)]
    """Number of flashes → what it means."""
    reported: str | None = None
    """Signal of the board's own heartbeat that is the count shown."""

    @model_validator(mode="after")
    def _pause_is_told_from_gap(self) -> Self:
        if self.pause < 2 * self.gap:
            raise ValueError(f"pause {self.pause:g} s is not told from gap {self.gap:g} s (make it twice as long)")
        return self


class DigitsCode(Fitted):
    """A lamp that gives two digits for each probe in turn: slow flashes, then quick ones."""

    kind: Literal["digits"]
    slow: Lasting
    """Slow flash, lit and dark alike; the number of slow flashes is the first digit."""
    quick: Lasting
    """Quick flash, lit and dark alike; the number of quick flashes is the second digit."""
    between_digits: Lasting
    """Dark time between the slow and the quick flashes."""
    between_probes: Lasting
    """Dark time between two probes."""
    pause: Lasting
    """Dark time between two repeats."""
    probes: Annotated[tuple[str, ...], Field(min_length=1)]
    """Probes whose codes follow one another."""
    meanings: Annotated[dict[str, str], Field(min_length=1)]
    """Two digits → name of a probe state."""

    @model_validator(mode="after")
    def _rhythms_are_told_apart(self) -> Self:
        if self.slow < 2 * self.quick:
            raise ValueError("slow flashes are not told from quick ones (make them twice as long)")
        if not self.slow < self.between_digits < self.between_probes < self.pause:
            raise ValueError("expected slow < between_digits < between_probes < pause")
        for digits in self.meanings:
            if len(digits) != 2 or not digits.isdigit() or "0" in digits:
                raise ValueError(f"{digits!r} is not a two-digit code (two digits from 1 to 9, in quotes)")
        return self


Code = Annotated[CountCode | DigitsCode, Field(discriminator="kind")]


class Condition(Section):
    """Inputs, probe states (`probe=state`), relays, supplies, `link`: in all, any and none; each list must hold."""

    all: tuple[str, ...] = ()
    """Every one of these must be active."""
    any: tuple[str, ...] = ()
    """At least one of these must be active."""
    none: tuple[str, ...] = ()
    """None of these may be active."""

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if not (self.all or self.any or self.none):
            raise ValueError("an empty condition (give 'all', 'any' or 'none')")
        return self

    @property
    def names(self) -> tuple[str, ...]:
        """Every name the condition depends on."""
        return (*self.all, *self.any, *self.none)

    def holds(self, true: frozenset[str]) -> bool:
        """Return whether the condition holds while exactly the names in `true` are true."""
        return (
            all(name in true for name in self.all)
            and (not self.any or any(name in true for name in self.any))
            and not any(name in true for name in self.none)
        )


CountMeaning.model_rebuild()
CountCode.model_rebuild()


class Interlock(Fitted):
    """A relay may be energised only while a condition holds."""

    relay: str
    """Relay that is held."""
    needs: Condition
    """What must be so before the relay may energise."""
    reaction: Waited
    """Loss of the condition to the coil being off."""
    restart: Literal["by command", "by itself"] = "by command"
    """Whether the relay comes back when the condition is restored with its command still there."""
