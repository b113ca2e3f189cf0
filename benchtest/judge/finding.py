"""What a measurand function brings home, and the case it works on."""

import math
from dataclasses import dataclass

from benchtest.metrology.budget import combine
from benchtest.metrology.figures import plain
from benchtest.metrology.uncertainty import Budget, reading
from benchtest.procedure import Channel, Check, Procedure, Record
from benchtest.readings import Evidence, Readings, Recorded, Skipped


class Undecided(Exception):
    """The question cannot be answered from the evidence; the message says why. Never leaves this package."""


class NotSeen(Exception):
    """It was watched for and did not happen: a valid observation. The message says what. Never leaves this package."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """A value read from the evidence."""

    value: float | str
    budget: Budget | None = None
    """None for words and counts, and where a value is over range."""
    note: str = ""
    decided: bool = True
    """False when the value is shown but nothing may be concluded from it."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Case:
    """One check with everything needed to answer it."""

    check: Check
    procedure: Procedure
    readings: Readings

    def evidence(self, name: str) -> Evidence:
        """Return the evidence of this name."""
        evidence = self.readings.evidence.get(name)
        if evidence is None:
            raise Undecided(f"no evidence {name!r}: the step was not performed")
        if isinstance(evidence, Skipped):
            raise Undecided(f"skipped: {evidence.reason}")
        return evidence

    def recorded(self, name: str) -> Recorded:
        """Return a recording that may be judged."""
        evidence = self.evidence(name)
        if not isinstance(evidence, Recorded):
            raise Undecided(f"evidence {name!r} is not a recording")
        if evidence.recording.overrun:
            raise Undecided("samples were lost in the recording")
        return evidence

    def record(self, name: str) -> Record:
        """Return the planned move that made a recording."""
        moves = (move for step in self.procedure.steps for move in step.moves)
        planned = next((move for move in moves if isinstance(move, Record) and move.name == name), None)
        if planned is None:
            raise Undecided(f"the procedure has no recording {name!r}")
        return planned

    def channel(self, number: int) -> Channel:
        """Return what is known of a channel."""
        channel = self.procedure.channels.get(number)
        if channel is None:
            raise Undecided(f"the procedure says nothing of channel {number}")
        return channel

    def watched(self, number: int) -> Channel:
        """Return a channel whose thresholds tell its states apart."""
        channel = self.channel(number)
        if not channel.low < channel.high:
            raise Undecided(
                f"{channel.terminals}: the thresholds {channel.low:g} and {channel.high:g} tell no states apart"
            )
        return channel


def ohms(case: Case, channel: Channel, value: float) -> Budget:
    """Return the budget of what an ohmmeter reads, infinite ohms left out.

    Undecided when it lies further below zero than it may be off: no resistance does. There is a voltage on the
    terminals, of a capacitor that is still charged (common practice, no source), or a minus was typed.
    """
    budget = reading(0.0 if math.isinf(value) else value, channel.quality)
    uncertainty, _ = combine(budget).expanded(case.procedure.decision.coverage)
    if value < -uncertainty:
        raise Undecided(f"{channel.terminals}: {plain(value, 'Ω')} is no resistance (is there a voltage left on it?)")
    return budget


def seconds(value: float) -> str:
    """Return a time as notes say it: `12.3 ms`."""
    return plain(value, "s", digits=3)
