"""No order above the fixture's limits reaches an adapter, whoever made it; and what goes to safety goes in order."""

import math
from collections.abc import Collection
from contextlib import suppress
from dataclasses import replace
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.cli.documents import Prepared
from benchtest.errors import AdapterRefused
from benchtest.fixture.document import HardLimits
from benchtest.instruments import Capture, Order, Recording, Role, Started, SupplyState
from benchtest.interlocks import refused_order, to_safe
from benchtest.plan.forbidden import forbidden
from benchtest.procedure import Record, Set, Source
from benchtest.rig.limited import LimitedBench

LIMITS = HardLimits.model_validate({"voltage": "24 V", "current": "2 A"})
ROLES = {101: Role.DRIVE, 102: Role.DRIVE, 201: Role.SUPPLY, 202: Role.SUPPLY, 601: Role.RESISTANCE, 301: Role.SENSE}


class Notebook:
    """An adapter of any kind: it writes down every value that reaches it, and would do anything."""

    def __init__(self) -> None:
        self.volts: list[float] = []
        self.amps: list[float] = []
        self.values: list[tuple[int, float]] = []

    def identity(self) -> str:
        return "Example,Notebook,0,0"

    def beat(self) -> None: ...

    def check(self) -> None: ...

    def set(self, channel: int, value: float) -> None:
        self.values.append((channel, value))

    def off(self, channel: int) -> None: ...

    def all_off(self) -> None: ...

    def energised(self) -> frozenset[int]:
        return frozenset()

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        self.values.append((channel, volts))
        self.amps.append(amps)

    def supply_state(self, channel: int) -> SupplyState:
        return SupplyState(on=bool(channel), volts=0.0, amps=0.0, limiting=False)

    def measure(self, channel: int) -> float:
        return float(channel)

    def begin(self, capture: Capture) -> Started:
        self.values += [(order.channel, order.value) for order in capture.orders]
        return Started(at=0.0, uncertainty=0.0)

    def fetch(self) -> Recording:
        return Recording(rate=1.0, channels=(), codes=np.zeros((0, 0), np.int16), scale=(), offset=(), done=())


numbers = st.floats(allow_nan=True, allow_infinity=True) | st.sampled_from([0.0, 1.0, 24.0, 24.000001, -0.001, 2.0])
channels = st.sampled_from([*ROLES, 999, 0])
orders = st.builds(Order, at=numbers, channel=channels, value=numbers)
captures = st.builds(
    Capture,
    orders=st.lists(orders, max_size=8).map(tuple),
    duration=numbers | st.just(10.0),
    rate=st.just(1e3) | numbers,
    channels=st.just((301,)),
)
asked = st.one_of(
    captures.map(lambda capture: ("begin", capture)),
    st.tuples(channels, numbers, numbers).map(lambda order: ("source", order)),
    st.tuples(channels, numbers).map(lambda order: ("set", order)),
)


def _ask(bench: LimitedBench, kind: str, what: object) -> None:
    match kind, what:
        case "begin", Capture() as capture:
            bench.begin(capture)
        case "source", (int() as channel, float() as volts, float() as amps):
            bench.source(channel, volts=volts, amps=amps)
        case "set", (int() as channel, float() as value):
            bench.set(channel, value)
        case _:
            raise AssertionError(kind)


@given(st.lists(asked, max_size=12))
def test_no_order_however_made_gets_past_the_hard_limits(many: list[tuple[str, object]]) -> None:
    """Every value that reaches the adapter is finite, within the limits and of its channel's role."""
    adapter = Notebook()
    bench = LimitedBench(adapter, limits=LIMITS, roles=ROLES)
    for kind, what in many:
        with suppress(AdapterRefused):
            _ask(bench, kind, what)

    for channel, value in adapter.values:
        assert ROLES[channel] in {Role.SUPPLY, Role.DRIVE, Role.RESISTANCE}
        assert value == math.inf or math.isfinite(value)
        assert value < math.inf or ROLES[channel] is Role.RESISTANCE
        assert ROLES[channel] is not Role.SUPPLY or 0.0 <= value <= 24.0
        assert ROLES[channel] is not Role.DRIVE or value in {0.0, 1.0}
    assert all(0.0 <= amps <= 2.0 for amps in adapter.amps)


@given(captures)
def test_of_a_schedule_all_orders_pass_or_none(capture: Capture) -> None:
    """One forbidden order keeps the whole schedule away from the adapter, in every order of it."""
    adapter = Notebook()
    try:
        LimitedBench(adapter, limits=LIMITS, roles=ROLES).begin(capture)
    except AdapterRefused:
        assert [] == adapter.values
    else:
        assert [(order.channel, order.value) for order in capture.orders] == adapter.values


def test_what_is_permitted_reaches_the_adapter() -> None:
    """The limits themselves, both states of a drive, and an open resistance."""
    adapter = Notebook()
    bench = LimitedBench(adapter, limits=LIMITS, roles=ROLES)
    bench.source(201, volts=24.0, amps=2.0)
    for channel, value in ((101, 1.0), (101, 0.0), (601, math.inf), (601, 1e3)):
        bench.set(channel, value)

    assert [(201, 24.0), (101, 1.0), (101, 0.0), (601, math.inf), (601, 1e3)] == adapter.values


@pytest.mark.parametrize("on", [frozenset({101}), frozenset({101, 202})])
def test_no_ohmmeter_is_put_on_a_board_with_power(on: frozenset[int]) -> None:
    """Whichever device has the ohmmeter, it reads while every supply is off; a drive alone gives no power."""

    class Powered(Notebook):
        def energised(self) -> frozenset[int]:
            return on

    bench = LimitedBench(Powered(), limits=LIMITS, roles={**ROLES, 701: Role.OHMS})

    assert 301.0 == bench.measure(301)
    if 202 in on:
        with pytest.raises(AdapterRefused, match="channel 701: ohms are read without power only, and supply 202 is on"):
            bench.measure(701)
    else:
        assert 701.0 == bench.measure(701)


@pytest.mark.parametrize("volts", [5.0, 1e-9, -1.0, math.nan, math.inf])
def test_a_supply_is_never_set_without_a_current_limit(volts: float) -> None:
    """Setting a supply as if it were a drive is refused, whatever the value."""
    adapter = Notebook()
    with pytest.raises(AdapterRefused, match="source it, with a current limit"):
        LimitedBench(adapter, limits=LIMITS, roles=ROLES).set(201, volts)

    assert [] == adapter.values


def test_a_supply_may_always_be_taken_away() -> None:
    """A person who loses a supply on purpose is told to switch it off: nothing at all is no order without a limit."""
    adapter = Notebook()
    LimitedBench(adapter, limits=LIMITS, roles=ROLES).set(201, 0.0)

    assert [(201, 0.0)] == adapter.values


def _plus(prepared: Prepared, move: Source | Set | Record) -> list[str]:
    first, *rest = prepared.procedure.steps
    steps = (replace(first, moves=(*first.moves, move)), *rest)
    return forbidden(replace(prepared.procedure, steps=steps), prepared.fixture.fixture.limits)


@pytest.mark.parametrize("volts", [30.001, math.nan, math.inf, -1.0])
def test_the_plan_refuses_every_kind_of_order_beyond_the_limits(carwash: Prepared, volts: float) -> None:
    """A supply move, and an order in a recording, are refused before anything is opened."""
    source = Source(name="more", channel=201, volts=volts, amps=1.0, settle=0.0)
    order = Order(at=0.0, channel=201, value=volts)
    record = Record(name="more", orders=(order,), link_orders=(), duration=1.0, rate=1e3, channels=())

    assert [] == forbidden(carwash.procedure, carwash.fixture.fixture.limits)
    for move in (source, record):
        (reason,) = _plus(carwash, move)
        assert "channel 201" in reason


@pytest.mark.parametrize("amps", [3.001, math.nan, math.inf])
def test_the_plan_refuses_a_current_beyond_the_limit(carwash: Prepared, amps: float) -> None:
    """The current limit of the bench counts as its voltage does."""
    (reason,) = _plus(carwash, Source(name="more", channel=201, volts=24.0, amps=amps, settle=0.0))

    assert "A is not between 0 A and this bench's limit of 3 A" in reason


def test_the_plan_refuses_a_drive_that_is_neither_on_nor_off(carwash: Prepared) -> None:
    """A drive knows two states."""
    (reason,) = _plus(carwash, Set(channel=101, value=0.5))

    assert "a drive is 0 or 1" in reason


@pytest.mark.parametrize("role", [Role.SENSE, Role.CONTACT, Role.LIGHT, Role.CURRENT, Role.OHMS])
def test_a_channel_that_reads_is_never_set(role: Role) -> None:
    """Not even to zero."""
    assert "cannot be set" in refused_order(role, 0.0, most_volts=30.0)


# ---------------------------------------------------------------- safe state

some = st.lists(st.integers(101, 140), max_size=12)


@given(energised=st.frozensets(st.integers(101, 140)), loads=some, supplies=some)
def test_to_safety_goes_everything_once_and_the_supplies_last(
    energised: frozenset[int], loads: list[int], supplies: list[int]
) -> None:
    """Whatever is on is in it exactly once, nothing else is, and after the first supply come only supplies."""
    order = to_safe(energised, loads=loads, supplies=supplies)
    kinds = [channel in supplies for channel in order]

    assert energised == set(order)
    assert len(energised) == len(order)
    assert sorted(kinds) == kinds


@given(energised=st.frozensets(st.integers(101, 140)), loads=some, supplies=some, seed=st.randoms())
def test_the_way_to_safety_does_not_depend_on_how_its_facts_come(
    energised: frozenset[int], loads: list[int], supplies: list[int], seed: Random
) -> None:
    """Shuffled, repeated or as another collection: the same channels in the same order."""
    shuffled = list(energised) * 2
    seed.shuffle(shuffled)
    collections: list[Collection[int]] = [energised, shuffled, tuple(sorted(energised, reverse=True))]
    ways = {to_safe(one, loads=[*loads, *loads], supplies=[*supplies, *supplies]) for one in collections}

    assert {to_safe(energised, loads=loads, supplies=supplies)} == ways


@given(
    energised=st.frozensets(st.integers(101, 140)), loads=some, supplies=some, off=st.frozensets(st.integers(101, 140))
)
def test_what_went_off_meanwhile_leaves_the_order_of_the_rest(
    energised: frozenset[int], loads: list[int], supplies: list[int], off: frozenset[int]
) -> None:
    """Going to safety again half-way goes on in the same order."""
    whole = to_safe(energised, loads=loads, supplies=supplies)

    assert tuple(c for c in whole if c not in off) == to_safe(energised - off, loads=loads, supplies=supplies)
