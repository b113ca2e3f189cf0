"""How well this bench will know each reading, and whether that is enough for its limit.

Budgets are those of the judge, at the permitted value where the reading is least certain. What only the readings can
tell (their repeatability) is not in them, so that a real reading may be a little less certain. The host's knowledge of
a recording's beginning is taken as half a round trip.

The test uncertainty ratio is the tolerance over the expanded uncertainty, T / U. With both limits, the tolerance is
what lies between them; with one, what lies between it and zero, or 100 % for the least share. (The measurement
capability index of JCGM 106:2012, 7.6.3, from memory, is T / 4u: half of it at k = 2.)
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

from benchtest.instruments import Role
from benchtest.metrology.budget import Budget, combine
from benchtest.metrology.uncertainty import (
    NO_SCATTER,
    contact_resistance,
    difference,
    divided,
    effective,
    interval,
    quotient,
    reading,
)
from benchtest.procedure import (
    Bounce,
    Channel,
    Check,
    ContactResistance,
    Delay,
    EffectiveValue,
    Extent,
    Interval,
    Mean,
    MessageAnswer,
    MessageGap,
    MessagePeriod,
    OpenShare,
    Procedure,
    Record,
    Scalar,
    Source,
)

Averaged = Mean | Extent | EffectiveValue | ContactResistance | OpenShare
Basis = Literal["both limits", "limit to zero", "limit to 100 %"]

HALF_A_ROUND_TRIP: Final = 0.5


@dataclass(frozen=True, kw_only=True, slots=True)
class Foreseen:
    """One check on this bench, before anything is read."""

    check: Check
    at: float
    """Permitted value where the reading is least certain; SI."""
    uncertainty: float
    """Expanded uncertainty there."""
    coverage: float
    """Coverage factor k."""
    tolerance: float
    basis: Basis
    """What the tolerance lies between."""

    @property
    def ratio(self) -> float:
        """Test uncertainty ratio, tolerance over U; infinite without uncertainty."""
        return self.tolerance / self.uncertainty if self.uncertainty else float("inf")


def foresee(procedure: Procedure) -> tuple[Foreseen, ...]:
    """Return what can be foreseen of every check of a number that has an uncertainty."""
    bench = _Bench(procedure)
    checks = (check for step in procedure.steps for check in step.checks)
    return tuple(found for check in checks for found in _foreseen(check, bench))


def _foreseen(check: Check, bench: "_Bench") -> Iterable[Foreseen]:
    if not isinstance(check.permitted, Interval):
        return
    limits = [limit for limit in (check.permitted.low, check.permitted.high) if limit is not None]
    budgets = [(limit, bench.budget(check, limit)) for limit in limits]
    coverage = bench.procedure.decision.coverage
    known = [(*combine(budget).expanded(coverage), limit) for limit, budget in budgets if budget is not None]
    if known:
        uncertainty, k, at = max(known)
        tolerance, basis = _tolerance(check.permitted, share=isinstance(check.measurand, OpenShare))
        yield Foreseen(check=check, at=at, uncertainty=uncertainty, coverage=k, tolerance=tolerance, basis=basis)


def _tolerance(permitted: Interval, *, share: bool) -> tuple[float, Basis]:
    low, high = permitted.low, permitted.high
    if low is not None and high is not None:
        return high - low, "both limits"
    if low is not None and share:
        return 1.0 - low, "limit to 100 %"
    return abs(low if low is not None else high or 0.0), "limit to zero"


class _Bench:
    """The budgets that this bench will have."""

    def __init__(self, procedure: Procedure) -> None:
        self.procedure, self.timing = procedure, procedure.timing
        moves = [move for step in procedure.steps for move in step.moves]
        self.records = {move.name: move for move in moves if isinstance(move, Record)}
        self.measured = {move.name: move.channel for move in moves if move.kind in {"measure", "source"}}
        self.volts = max((move.volts for move in moves if isinstance(move, Source)), default=0.0)
        """The highest voltage that is on the board."""

    def budget(self, check: Check, value: float) -> Budget | None:
        """Return the budget of a reading of `value`; None for counts, and where no calibrated instrument reads."""
        match check.measurand:
            case Scalar():
                return self._scalar(check.measurand, value)
            case Mean() | Extent() | EffectiveValue() | ContactResistance() | OpenShare():
                return self._averaged(check.measurand, value)
            case Delay() | Bounce():
                return self._moments(check.measurand, value)
            case MessagePeriod() | MessageGap() | MessageAnswer():
                return self._traffic(check.measurand, value)
            case _:
                return None

    def _scalar(self, asked: Scalar, value: float) -> Budget | None:
        channel = self.procedure.channels.get(self.measured.get(asked.evidence, 0))
        if channel is not None and asked.field == "amps":
            channel = self._current_of(channel)
        if channel is None or not channel.instrument:
            return None
        other = self.procedure.channels.get(self.measured.get(asked.minus, 0))
        return reading(value, channel.quality) if other is None else self._less(channel, other, value)

    def _current_of(self, supply: Channel) -> Channel:
        channels = self.procedure.channels.values()
        return next((c for c in channels if c.role is Role.CURRENT and c.terminals == supply.terminals), supply)

    def _averaged(self, asked: Averaged, value: float) -> Budget | None:
        channel, test = self.procedure.channels.get(asked.channel), self.procedure.contact_test
        if channel is None:
            return None
        if channel.role is Role.OHMS:  # a person reads the contact with an ohmmeter
            return self._ohms(asked, channel, value)
        if isinstance(asked, ContactResistance):
            volts = test.voltage * value / (test.series + value)
            return contact_resistance(
                reading(volts, channel.quality),
                volts=volts,
                source=test.voltage,
                series=test.series,
                tolerance=test.tolerance,
                leads=test.leads,
            )
        if isinstance(asked, OpenShare):
            volts = test.voltage * value
            return quotient(
                reading(volts, channel.quality), value=volts, divisor=test.voltage, tolerance=test.tolerance
            )
        if isinstance(asked, EffectiveValue):
            return effective(value, channel.quality, repeat=NO_SCATTER, ends=0.0)
        if isinstance(asked, Extent):
            return reading(value, channel.quality)
        return self._mean(asked, channel, value)

    def _ohms(self, asked: Averaged, channel: Channel, value: float) -> Budget | None:
        """Return the budget of what an ohmmeter says of a contact."""
        series = self.procedure.contact_test.series
        if isinstance(asked, OpenShare) and 0 <= value < 1:  # the share across so many ohms behind `series`
            ohms = series * value / (1 - value)
            return divided(reading(ohms, channel.quality), ohms=ohms, series=series)
        return reading(value, channel.quality) if isinstance(asked, ContactResistance) else None

    def _mean(self, asked: Mean, channel: Channel, value: float) -> Budget | None:
        """Return the budget of a mean; of a difference, with the highest voltage of the board on both channels."""
        if asked.minus is None:
            return reading(value, channel.quality)
        other = self.procedure.channels.get(asked.minus)
        if other is None:
            return None
        return self._less(channel, other, value)

    def _less(self, channel: Channel, other: Channel, value: float) -> Budget:
        """Return the budget of a difference of `value`, with the highest voltage of the board on both channels."""
        both = reading(self.volts, channel.quality), reading(self.volts - value, other.quality)
        return difference(*both, repeat=NO_SCATTER, unit=channel.quality.unit)

    def _moments(self, asked: Delay | Bounce, value: float) -> Budget | None:
        record = self.records.get(asked.evidence)
        if record is None:
            return None
        step, timing, late = 1 / record.rate, self.timing, self._late(asked.channel)
        if isinstance(asked, Bounce):
            return interval(value, clock=timing.clock, stamps=(*late, *late), sampled=(step, step))
        if asked.since.channel is not None:
            stamps = (timing.stamp, timing.stamp, *late, *self._late(asked.since.channel))
            return interval(value, clock=timing.clock, stamps=stamps, sampled=(step, step))
        by_link = asked.since.order == "link" or bool(asked.since.last_sent)
        ordered = next((order.channel for order in record.orders if order.at == asked.since.at), 0)
        cause = (timing.link_stamp, self._start()) if by_link else (timing.stamp, *self._late(ordered))
        latency = 0.0 if by_link else timing.latency
        return interval(
            value, clock=timing.clock, stamps=(*cause, timing.stamp, *late), sampled=(step,), latency=latency
        )

    def _late(self, channel: int) -> tuple[float, ...]:
        """Return the half-width by which the host may be late with a channel, if it polls or orders it."""
        known = self.procedure.channels.get(channel)
        return (known.late,) if known is not None and known.late else ()

    def _traffic(self, asked: MessagePeriod | MessageGap | MessageAnswer, value: float) -> Budget | None:
        record, stamp = self.records.get(asked.evidence), self.timing.link_stamp
        if record is None:
            return None
        stamps: tuple[float, ...] = (stamp, stamp)
        if isinstance(asked, MessagePeriod):
            intervals = max(1, int(record.duration / value) - 1) if value > 0 else 1
            stamps = (stamp / intervals, stamp / intervals)
        else:
            stamps = (stamp, stamp, self._start())
        return interval(value, clock=self.timing.clock, stamps=stamps)

    def _start(self) -> float:
        return HALF_A_ROUND_TRIP * self.timing.link_stamp
