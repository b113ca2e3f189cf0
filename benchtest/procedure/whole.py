"""Checks, the steps that they belong to, and the whole procedure."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from benchtest.metrology.decision import Rule
from benchtest.procedure.equipment import Channel, ContactTest, LinkPlan, Timing
from benchtest.procedure.measurands import Measurand
from benchtest.procedure.moves import Heartbeat, Move, Record, Source


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
    requirement: tuple[str, ...] = ()
    """What it is evidence of, by the names that the profile gives."""


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
class DecisionRule:
    """How a value and its uncertainty become a word."""

    guard: float
    """Guard band as multiple of the expanded uncertainty."""
    accept_conditional: bool
    coverage: float = 2.0
    """Coverage factor k for infinite degrees of freedom: the stated coverage probability is 2Φ(k) - 1."""
    rule: Rule = "non-binary"


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

    def unplaced(self) -> "Procedure":
        """Return it without what says nothing of the board: the places of its limits, and what they are evidence of."""
        steps = (
            replace(step, checks=tuple(replace(check, place="", requirement=()) for check in step.checks))
            for step in self.steps
        )
        return replace(self, steps=tuple(steps))


@dataclass(frozen=True, kw_only=True, slots=True)
class BenchProcedure:
    """How a bench checks itself."""

    procedure: Procedure
    left_out: tuple[str, ...]
    """In words, what of the bench is not looked at."""
