"""The same steps for a bench without a recorder, worked by a person: one request at a time.

A recording becomes its orders, one after the other, and in its steady windows the readings that a meter can honestly
give: voltages, resistances without power, contacts, lamps, codes. What needs a clock, or an eye on everything at once,
becomes *not tested* by name. Where an adapter is on the board's link, the bench itself speaks and listens there: a
stretch of link orders is a recording without channels, and what is said of the link is read from it.

Nothing is asked twice: within one state of the board each channel is read once, however many checks look at it.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from math import inf
from typing import Final

from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.wiring import adapter_of, people
from benchtest.instruments import Order, Role
from benchtest.plan.wiring import Wiring
from benchtest.procedure import (
    Absent,
    AllOff,
    Bounce,
    Channel,
    Check,
    ContactResistance,
    CountRhythm,
    Delay,
    EffectiveValue,
    Extent,
    LampCode,
    LinkOrder,
    Look,
    Mean,
    Measurand,
    Measure,
    MessageAnswer,
    MessageGap,
    MessagePeriod,
    Move,
    OpenShare,
    Procedure,
    Record,
    Say,
    Scalar,
    Set,
    SignalValue,
    Source,
    StateOf,
    Step,
    Still,
    Timing,
)

SETTLE: Final = 0.3  # s after a link order, for input filter, firmware and armature; people are slower anyway
LISTEN: Final = 1.2  # s to hear a board that tells its state once a second; common practice, no source
RATE: Final = 100.0  # S/s of a recording without channels; only the link's own stamps count
NEARLY: Final = 1e-9  # s; a window that begins at an order begins after it

TIMING: Final = "a time between two moments needs a recorder"
STILLNESS: Final = "nobody can watch every output at once; it needs a recorder"
ON_LINK: Final = "link traffic during a person's orders has no time of its own; it needs a recorder"
PEAKS: Final = "how far a voltage swings needs a recorder"
CHANGES: Final = "a change within a moment needs a recorder"
BY_MACHINE: Final = "a lamp's code is read by a recorder or a person, and this lamp has neither"


def by_hand(procedure: Procedure, *, fixture: Fixture, harness: Harness) -> Procedure:
    """Return the procedure as a person with a meter works it."""
    state = _State(procedure=procedure, people=people(fixture, harness))
    steps = tuple(state.step(step) for step in procedure.steps)
    timing, known = procedure.timing, dict(procedure.channels)
    if harness.link is not None:  # the host's stamps are as good as the adapter on the link, not as a person is quick
        timing = Timing(clock=timing.clock, stamp=timing.stamp, link_stamp=fixture.adapters[harness.link].round_trip)
    for number in state.people:
        if fixture.adapters[adapter_of(number, fixture, harness)].contacts == "ohms":
            known[number] = _with_ohmmeter(number, known[number], Wiring(harness, fixture))
    return replace(procedure, steps=steps, timing=timing, channels=known)


def _with_ohmmeter(number: int, channel: Channel, wiring: Wiring) -> Channel:
    """Return a contact's channel as an ohmmeter reads it; other channels as they are."""
    if channel.role is not Role.CONTACT:
        return channel
    as_ohms = wiring.fact(number, Role.OHMS, channel.terminals, (channel.low, channel.high))
    return replace(as_ohms, name=channel.name)


@dataclass(kw_only=True, slots=True)
class _State:
    """What the outputs are told to be, from the first step to the last, so that nothing is told twice."""

    procedure: Procedure
    people: frozenset[int]
    outputs: dict[int, float] = field(default_factory=dict)
    amps: dict[int, float] = field(default_factory=dict)
    """Current limit that a supply was last given."""

    def step(self, step: Step) -> Step:
        """Return one step as moves for a person."""
        read: dict[str, Measurand] = {}
        moves = [new for move in step.moves for new in self._moves(move, step.checks, read)]
        checks = tuple(replace(check, measurand=read.get(check.id, check.measurand)) for check in step.checks)
        return replace(step, moves=tuple(moves), checks=checks)

    def _moves(self, move: Move, checks: Iterable[Check], read: dict[str, Measurand]) -> list[Move]:
        match move:
            case Record():
                mine = [check for check in checks if getattr(check.measurand, "evidence", "") == move.name]
                return _Unrolled(state=self, record=move, checks=mine, read=read).moves()
            case Set(channel=channel, value=value):
                return self.order(channel, value, "")
            case Source():
                self.amps[move.channel] = move.amps
                self.outputs[move.channel] = move.volts
            case AllOff():
                self.outputs.clear()
        return [move]

    def order(self, channel: int, value: float, why: str) -> list[Move]:
        """Return the move that brings an output about; none where it is so already."""
        role = self.procedure.channels[channel].role
        safe = inf if role is Role.RESISTANCE else 0.0
        if self.outputs.get(channel, safe) == value:
            return []
        self.outputs[channel] = value
        if role is not Role.SUPPLY or value == 0.0:
            return [Set(channel=channel, value=value)]
        name = f"{why}, {self.procedure.channels[channel].terminals} back"
        return [Source(name=name, channel=channel, volts=value, amps=self.amps[channel], settle=SETTLE)]


@dataclass(kw_only=True, slots=True)
class _Unrolled:
    """One recording as a sequence of orders and readings."""

    state: _State
    record: Record
    checks: list[Check]
    read: dict[str, Measurand]
    """Check → what is read instead; filled here."""
    made: list[Move] = field(default_factory=list)
    spoken: list[tuple[float, Record]] = field(default_factory=list)
    """Link recordings, with the moment of the planned recording that each begins at."""

    def moves(self) -> list[Move]:
        looks: dict[float, list[Check]] = {}
        for check in self.checks:
            if (moment := _moment(check.measurand)) is not None:
                looks.setdefault(moment, []).append(check)
        self._alone_on_the_link()
        orders = sorted([*self.record.orders, *self.record.link_orders], key=lambda order: order.at)
        for moment in sorted(looks):
            due = [order for order in orders if order.at <= moment + NEARLY]
            orders = orders[len(due) :]
            self._orders(due, until=moment)
            self._look(looks[moment])
        self._orders(orders, until=self.record.duration)
        for check in self.checks:
            self.read.setdefault(check.id, self._beyond_a_meter(check.measurand))
        return self.made

    # ---------------------------------------------------------------- orders

    def _orders(self, orders: list[Order | LinkOrder], *, until: float) -> None:
        """Append orders in turn; what stands together on the link is one recording."""
        spoken: list[LinkOrder] = []
        for order in orders:
            if isinstance(order, Order):
                self._speak(spoken, until=order.at)
                spoken = []
                self.made += self.state.order(order.channel, order.value, f"{self.record.name} at {order.at:g} s")
            else:
                spoken.append(order)
        self._speak(spoken, until=until)

    def _speak(self, orders: list[LinkOrder], *, until: float) -> None:
        if not orders or (self.spoken and self.spoken[-1][1].name == self.record.name):
            return
        begin = orders[0].at
        moved = tuple(replace(order, at=order.at - begin) for order in orders)
        duration = max(until - begin, moved[-1].at + SETTLE)
        self._append_spoken(begin, f"{self.record.name}-link-{len(self.spoken) + 1}", moved, duration)

    def _append_spoken(self, at: float, name: str, orders: tuple[LinkOrder, ...], duration: float) -> Record:
        record = Record(name=name, orders=(), link_orders=orders, duration=round(duration, 6), rate=RATE, channels=())
        self.spoken.append((at, record))
        self.made.append(record)
        return record

    def _alone_on_the_link(self) -> None:
        """Where no output moves, the link can be listened to as it was planned."""
        period = [check for check in self.checks if isinstance(check.measurand, MessagePeriod | MessageGap)]
        if period and not self.record.orders:
            self._append_spoken(0.0, self.record.name, self.record.link_orders, self.record.duration)
            self.read |= {check.id: check.measurand for check in period}

    # ---------------------------------------------------------------- readings

    def _look(self, checks: list[Check]) -> None:
        """Append the readings of one state of the board."""
        for check in checks:
            what = self._instead(check.measurand)
            if what is not None:
                self.read[check.id] = what

    def _instead(self, what: Measurand) -> Measurand | None:
        match what:
            case Extent():
                return Absent(reason=PEAKS)
            case Mean(before=(_, _)):
                return Absent(reason=CHANGES)
            case Mean(channel=channel, minus=minus):
                other = "" if minus is None else self._measured(minus)
                return Scalar(evidence=self._measured(channel), minus=other)
            case EffectiveValue(channel=channel):
                return Scalar(evidence=self._measured(channel))
            case ContactResistance(channel=channel) | OpenShare(channel=channel):
                return replace(what, evidence=self._measured(channel), start=0.0, end=0.0)
            case StateOf(channel=channel):
                seen = self._seen(channel, None) if self._by_eye(channel) else self._measured(channel)
                return replace(what, evidence=seen, start=0.0, end=0.0)
            case LampCode(channel=channel, rhythm=rhythm):
                code = 0 if isinstance(rhythm, CountRhythm) else rhythm.probes
                seen = self._seen(channel, code) if self._by_eye(channel) else ""
                return replace(what, evidence=seen) if seen else Absent(reason=BY_MACHINE)
            case SignalValue():
                return replace(what, evidence=self._listened(), start=0.0, end=LISTEN)
        return None

    def _by_eye(self, channel: int) -> bool:
        return channel in self.state.people and self.state.procedure.channels[channel].role is Role.LIGHT

    def _measured(self, channel: int) -> str:
        return self._once(Measure(name=f"{self._now()} {self._of(channel)}", channel=channel))

    def _seen(self, channel: int, code: int | None) -> str:
        return self._once(Look(name=f"{self._now()} {self._of(channel)}", channel=channel, code=code))

    def _once(self, move: Measure | Look) -> str:
        if move not in self.made:
            self.made.append(move)
        return move.name

    def _listened(self) -> str:
        """Return the evidence of a while of listening in this state of the board."""
        name = f"{self._now()}-listen"
        if not any(isinstance(move, Record) and move.name == name for move in self.made):
            self.made.append(Record(name=name, orders=(), link_orders=(), duration=LISTEN, rate=RATE, channels=()))
        return name

    def _now(self) -> str:
        """Return a name for the present state of the board: how many moves have brought it about."""
        changes = sum(isinstance(move, Set | Source) or bool(_orders_of(move)) for move in self.made)
        return f"{self.record.name}-{changes}"

    def _of(self, channel: int) -> str:
        known = self.state.procedure.channels[channel]
        return known.terminals if known.role is Role.LIGHT else f"{known.role} {known.terminals}"

    def _beyond_a_meter(self, what: Measurand) -> Measurand:
        match what:
            case MessageAnswer():
                return self._answered(what)
            case Delay() | Bounce():
                return Absent(reason=TIMING)
            case Still():
                return Absent(reason=STILLNESS)
            case MessagePeriod() | MessageGap():
                return Absent(reason=ON_LINK)
        return what

    def _answered(self, what: MessageAnswer) -> Measurand:
        """Return an answer on the link from the recording in which it was asked for."""
        for begin, record in self.spoken:
            said = [begin + order.at for order in record.link_orders if isinstance(order, Say)]
            if any(abs(moment - what.since) < NEARLY for moment in said):
                return replace(what, evidence=record.name, since=max(0.0, what.since - begin))
        return Absent(reason=ON_LINK)


def _orders_of(move: Move) -> tuple[LinkOrder, ...]:
    return move.link_orders if isinstance(move, Record) else ()


def _moment(what: Measurand) -> float | None:
    """Return when in a recording something steady is read; None for what is not steady."""
    match what:
        case SignalValue(end=end):
            return end - 2 * NEARLY  # the last word of the window counts, before the order that ends it
        case (
            Mean(start=start)
            | Extent(start=start)
            | EffectiveValue(start=start)
            | ContactResistance(start=start)
            | OpenShare(start=start)
            | StateOf(start=start)
        ):
            return start
        case LampCode():
            return 0.0
    return None
