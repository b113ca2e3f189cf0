"""What is watched all through a run: emergency stop and lid, the supplies' current limits, the time that a step takes.

Looked at before power, when a step begins, and once in every beat while moves are made, waited for or recorded.
Whatever trips raises, and whoever performs takes the bench to safety: a guard or an over-current ends a run as aborted,
a step without end as a bench fault.

A guard only watches. An emergency stop must cut the supply in hardware (IEC 60204-1, 9.2.3.4.2, from memory: it acts
by de-energising); what is read here makes the run end in order. Wire guards so that a broken wire trips: a closed
circuit with `safe: high` (closed-circuit principle, common practice, no source).
"""

import math
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Final

from benchtest.errors import Aborted, RigError
from benchtest.fixture.document import Guard
from benchtest.instruments import BenchAdapter
from benchtest.procedure import Step

LOOK_EVERY: Final = 0.2
"""Most seconds between two looks while waiting, where no dead-man wants a sign of life sooner."""
NOT_ASKED: Final = frozenset({"manual", "replay"})
"""Drivers whose answers come from a person or a record: neither is asked every beat, nor hurried by a deadline."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Patience:
    """How long a step may take: its planned duration times `factor`, and `margin` more."""

    factor: float = 3.0
    """For a busy computer, slow wires and repeated queries; common practice, no source."""
    margin: float = 10.0
    """Seconds; a step of a few exchanges may meet one adapter at the end of its own patience."""

    def allowed(self, planned: float) -> float:
        """Return the longest time of a step, in seconds."""
        return planned * self.factor + self.margin


def tripped(guard: Guard, reading: float) -> bool:
    """Return whether a guard's reading is not the safe one; NaN is not."""
    return not (reading >= guard.threshold if guard.safe == "high" else reading <= guard.threshold)


@dataclass(slots=True)
class Watch:
    """Where the watching of one run stands. Changes while the run goes on; a rig has one."""

    patience: Patience = field(default_factory=Patience)
    asked_freely: bool = True
    """Whether the supplies may be asked in every beat and steps be hurried: no person and no record answers."""
    next_look: float = -math.inf
    deadline: float = math.inf
    """Moment of the rig's clock by which the step must be over."""
    began: float = 0.0
    planned: float = 0.0
    overslept: float = 0.0
    """Seconds that this computer woke up late at worst since a recording began: so late may be what the link heard."""
    on: dict[int, str] = field(default_factory=dict)
    """Supplies that were switched on, with their terminals."""
    remarks: list[str] = field(default_factory=list)
    """What the link had to bear or has recovered from, until whoever keeps the record takes it."""
    spared: set[int] = field(default_factory=set)
    """Supplies that may be in current limit just now: at their power-up gate, or while a recording orders them."""

    def begins(self, step: Step, now: float) -> None:
        """Note that a step begins at `now`: from here its time counts, unless a person works at it."""
        self.began, self.planned = now, step.duration
        self.deadline = now + self.patience.allowed(step.duration) if self.asked_freely else math.inf

    def check_deadline(self, now: float) -> None:
        """Raise RigError when the step takes longer than it may."""
        if now > self.deadline:
            self.deadline = math.inf  # said once: going to safety has all the time it needs
            may = f"planned {self.planned:.1f} s, at most {self.patience.allowed(self.planned):.1f} s"
            raise RigError(f"not over after {now - self.began:.1f} s ({may}; is an adapter slow to answer?)")

    def look_at_guards(self, bench: BenchAdapter, guards: Mapping[str, Guard]) -> None:
        """Raise Aborted with the name of a guard that has tripped."""
        for name, guard in guards.items():
            if tripped(guard, reading := bench.measure(guard.channel)):
                wanted = f"{guard.safe} is safe, from a threshold of {guard.threshold:g} V"
                raise Aborted(f"{name} has tripped: channel {guard.channel} reads {reading:.3g} V ({wanted})")

    def look_at_supplies(self, bench: BenchAdapter) -> None:
        """Raise Aborted when a supply that is on is in current limit outside its power-up gate."""
        for channel in sorted(self.on.keys() - self.spared):
            state = bench.supply_state(channel)
            if state.on and state.limiting:
                where = self.on[channel]
                raise Aborted(f"over-current: the supply at {where} went into current limit at {state.amps:.3g} A")

    @contextmanager
    def sparing(self, channels: Iterable[int]) -> Iterator[None]:
        """Let these supplies be in current limit for the length of the block."""
        more = set(channels) - self.spared
        self.spared |= more
        try:
            yield
        finally:
            self.spared -= more
