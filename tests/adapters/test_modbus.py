"""The Modbus driver against pymodbus' own server with the car-wash board behind it, and against scripted modules."""

import io
import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from benchtest.adapters.modbus import ModbusBench, open_modbus
from benchtest.cli.documents import Prepared
from benchtest.errors import AdapterMissing, AdapterRefused, AdapterSilent, PlanError, RigError
from benchtest.fixture.document import HardLimits
from benchtest.fixture.modbus import ModbusAdapter
from benchtest.instruments import Device, Meter, Outputs, Panel, Supplies
from benchtest.simulator.served_board import open_sides
from benchtest.simulator.server import SceneClock
from tests.adapters.poor_served import CLOCK, Served, carwash, served

LIMITS = HardLimits.model_construct()
FREE = 601
"""A channel that the cable set leaves free."""


@dataclass
class Opened:
    """The driver, opened, by what it can do."""

    device: Device
    board: Served

    @property
    def outputs(self) -> Outputs:
        assert self.device.outputs is not None
        return self.device.outputs

    @property
    def supplies(self) -> Supplies:
        assert self.device.supplies is not None
        return self.device.supplies

    @property
    def meter(self) -> Meter:
        assert self.device.meter is not None
        return self.device.meter

    @property
    def panel(self) -> Panel:
        assert self.device.panel is not None
        return self.device.panel

    def wait(self, seconds: float) -> None:
        """Wait, with signs of life."""
        end = CLOCK.now() + seconds
        while CLOCK.now() < end:
            CLOCK.sleep_until(min(end, CLOCK.now() + 0.1))
            self.device.identified.beat()


def adapter_of(board: Served, **changes: Any) -> ModbusAdapter:
    adapter = board.prepared.fixture.fixture.adapters["io"]
    assert isinstance(adapter, ModbusAdapter)
    return adapter.model_copy(update=changes)


@contextmanager
def opened(board: Served, **changes: Any) -> Iterator[Opened]:
    adapter = adapter_of(board, **changes)
    with open_modbus(adapter=adapter, port=board.ports["io"], limits=LIMITS, clock=CLOCK) as device:
        yield Opened(device, board)


@pytest.fixture(params=["rtu", "tcp"])
def board(request: pytest.FixtureRequest) -> Iterator[Served]:
    with served(carwash("modbus"), None if request.param == "rtu" else 0) as running:
        yield running


def test_orders_arrive_and_are_read_back(board: Served) -> None:
    """What is set, sourced and switched off is what the bench did, and reading back agrees."""
    with opened(board) as bench:
        assert frozenset() == bench.outputs.energised()
        bench.outputs.set(101, 1)
        bench.outputs.set(FREE, 4700.0)
        bench.supplies.source(201, volts=24.0, amps=0.5)
        bench.wait(0.1)
        state = bench.supplies.supply_state(201)

        assert frozenset({101, FREE, 201}) == bench.outputs.energised()
        assert frozenset({101, 201}) == board.scene.energised()
        assert (True, False) == (state.on, state.limiting)
        assert 24.0 == pytest.approx(state.volts, abs=0.1)
        assert 0.005 < state.amps < 0.04  # the idle current that the profile permits
        for channel in (101, FREE, 201):
            bench.outputs.off(channel)
        assert frozenset() == bench.outputs.energised()
        assert frozenset() == board.scene.energised()


def test_inputs_show_the_board(board: Served) -> None:
    """Contact, lamp, volts and ohms, many in one look: open and dark at first, made and lit once commanded."""
    with opened(board) as bench:
        assert [1.0, 0.0] == list(bench.panel.look([401, 501]))
        assert 500 < bench.meter.measure(701) < 1e6
        assert bench.meter.measure(702) < 1.0
        bench.supplies.source(201, volts=24.0, amps=0.5)
        bench.wait(0.5)
        bench.outputs.set(101, 1)
        bench.wait(0.3)
        made, lit, volts, amps = bench.panel.look([401, 501, 301, 801])

        assert [0.0, 1.0] == [made, lit]
        assert 24.0 == pytest.approx(volts, abs=0.1)
        assert 0.02 < amps < 0.08


def test_what_a_channel_is_not_is_refused(board: Served) -> None:
    """An input is not set, a coil is not read, a drive does not source, and nothing is half on."""
    with opened(board) as bench:
        for act in (
            lambda: bench.outputs.set(401, 1),
            lambda: bench.outputs.set(101, 0.5),
            lambda: bench.outputs.set(101, math.nan),
            lambda: bench.outputs.set(FREE, -1.0),
            lambda: bench.outputs.set(FREE, 65535.0),  # the count that opens
            lambda: bench.outputs.set(FREE, 1e6),
            lambda: bench.outputs.set(999, 1),
            lambda: bench.meter.measure(101),
            lambda: bench.supplies.source(101, volts=1.0, amps=0.1),
            lambda: bench.supplies.source(201, volts=30.5, amps=0.1),
            lambda: bench.supplies.source(201, volts=24.0, amps=3.5),
            lambda: bench.supplies.source(201, volts=math.nan, amps=0.1),
            lambda: bench.supplies.source(201, volts=24.0, amps=0.0),
        ):
            with pytest.raises(AdapterRefused):
                act()
        assert frozenset() == bench.outputs.energised()


def test_identity_is_compared_before_anything_else(board: Served) -> None:
    """Another maker's modules are refused with what was found and what was expected."""
    with pytest.raises(AdapterMissing, match=r"found 'Benchtest,Virtual bench adapter,1,.* expected 'Another'"):
        ExitStack().enter_context(opened(board, identity="Another"))


def test_another_unit_number_is_a_fault_of_the_bench(board: Served) -> None:
    """Nobody, or a gateway, answers for unit 9: never a value."""
    with pytest.raises((AdapterSilent, AdapterRefused)):
        ExitStack().enter_context(opened(board, unit=9, identity=""))


def test_an_address_that_is_not_there_is_refused_in_words(board: Served) -> None:
    """Exception 2: coil numbers from 1 in the fixture would end one address too far, and be found out so."""
    channels = {101: {"kind": "coil", "address": 400}}
    wrong = ModbusAdapter.model_validate({"driver": "modbus", "dead_man": "none", "channels": channels})
    with pytest.raises(AdapterRefused, match=r"has no such address \(Modbus exception 2"):
        ExitStack().enter_context(open_modbus(adapter=wrong, port=board.ports["io"], limits=LIMITS, clock=CLOCK))


def test_everything_goes_off_when_the_block_ends_badly(board: Served) -> None:
    """An error inside still ends with everything off."""

    def break_off() -> None:
        with opened(board) as bench:
            bench.supplies.source(201, volts=6.0, amps=0.1)
            bench.outputs.set(101, 1)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        break_off()
    assert frozenset() == board.scene.energised()


def test_the_modules_watchdog_drops_the_outputs_of_a_host_that_is_gone(board: Served) -> None:
    """Signs of life keep an output on beyond the watchdog's time; without them it drops."""
    with opened(board, dead_man=0.5) as bench:
        bench.outputs.set(101, 1)
        bench.wait(1.0)
        assert frozenset({101}) == board.scene.energised()
        CLOCK.sleep_until(CLOCK.now() + 0.8)
        assert frozenset() == board.scene.energised()


def two_units() -> Prepared:
    """Return the car-wash board with its supply on a second unit of the line, as docs/benches.md has it."""
    prepared = carwash("modbus")
    fixture = prepared.fixture.fixture
    io = fixture.adapters["io"]
    supply = io.channels[201].model_copy(update={"unit": 2})
    io = io.model_copy(update={"channels": {**io.channels, 201: supply}})
    fixture = fixture.model_copy(update={"adapters": {**fixture.adapters, "io": io}})
    return replace(prepared, fixture=replace(prepared.fixture, fixture=fixture))


def test_every_unit_with_outputs_has_its_own_watchdog_and_its_own_signs_of_life() -> None:
    """While one unit alone is asked the other one's output stays on; when the host is gone both drop."""
    with served(two_units()) as board, opened(board, dead_man=0.5) as bench:
        bench.outputs.set(101, 1)
        bench.supplies.source(201, volts=6.0, amps=0.1)
        for _ in range(10):
            bench.panel.look([401])
            bench.wait(0.1)
        assert frozenset({101, 201}) == board.scene.energised()
        CLOCK.sleep_until(CLOCK.now() + 0.8)
        assert frozenset() == board.scene.energised()


def test_a_server_that_is_gone_is_a_fault_of_the_bench(board: Served) -> None:
    """Dying in the middle: one of our errors, soon."""

    def lose_it() -> None:
        with opened(board) as bench:
            bench.outputs.set(101, 1)
            board.die()
            bench.outputs.set(102, 1)

    begun = CLOCK.now()
    with pytest.raises(RigError):
        lose_it()
    assert CLOCK.now() - begun < 10


def test_a_taken_tcp_port_is_refused_in_words() -> None:
    """The words say which port, and what to try."""
    with served(carwash("modbus"), 0) as board, ExitStack() as stack:
        clock, taken = SceneClock(), int(board.ports["io"].rpartition(":")[2])
        with pytest.raises(PlanError, match=f"cannot listen on port {taken} .*--tcp 0"):
            open_sides(stack, board.scene, clock, io.StringIO(), tcp=taken)


# ---------------------------------------------------------------- one module, no wire


@dataclass
class Memory:
    """Coils and registers; writes to `stuck` places are acknowledged and forgotten."""

    values: dict[tuple[str, int], int] = field(default_factory=dict)
    stuck: Sequence[tuple[str, int]] = ()
    asked: list[tuple[str, int, int]] = field(default_factory=list)
    heard: dict[int, float] = field(default_factory=dict)

    def words(self, table: str, unit: int, address: int, count: int) -> list[int]:
        del unit
        self.asked.append((table, address, count))
        return [self.values.get((table, at), 0) for at in range(address, address + count)]

    def bits(self, table: str, unit: int, address: int, count: int) -> list[bool]:
        return [bool(word) for word in self.words(table, unit, address, count)]

    def write_word(self, unit: int, address: int, value: int) -> None:
        self._write(("holding register", address), unit, value)

    def write_coil(self, unit: int, address: int, value: bool) -> None:
        self._write(("coil", address), unit, int(value))

    def _write(self, place: tuple[str, int], unit: int, value: int) -> None:
        del unit
        if place not in self.stuck:
            self.values[place] = value

    def identification(self, unit: int) -> str:
        del unit
        return ""


def bench_on(memory: Memory, channels: Mapping[int, Mapping[str, Any]]) -> ModbusBench:
    adapter = ModbusAdapter.model_validate({"driver": "modbus", "dead_man": "none", "channels": channels})
    return ModbusBench(line=memory, adapter=adapter, limits=LIMITS, name="a module", clock=CLOCK)


SUPPLY = {
    "kind": "supply",
    "switch": 9,
    "set_volts": 0,
    "set_amps": 1,
    "read_volts": 0,
    "read_amps": 1,
    "limiting": 0,
    "volts": "10 mV",
    "amps": "10 mA",
}


@pytest.mark.parametrize(
    ("channels", "stuck", "said"),
    [
        ({101: {"kind": "coil", "address": 4}}, ("coil", 4), "channel 101 does not follow, coil 4 reads 0"),
        (
            {601: {"kind": "resistance", "address": 2, "scale": "1 ohm"}},
            ("holding register", 2),
            "channel 601 does not follow, register 2 reads 0 instead of 1",
        ),
    ],
)
def test_a_write_that_is_not_followed_is_a_fault_of_the_bench(
    channels: Mapping[int, Mapping[str, Any]], stuck: tuple[str, int], said: str
) -> None:
    """Acknowledged, read back otherwise: refused, with the channel and what it reads."""
    bench = bench_on(Memory(stuck=[stuck]), channels)
    with pytest.raises(AdapterRefused, match=said):
        bench.set(next(iter(channels)), 1)


def test_a_current_limit_is_never_rounded_up() -> None:
    """155 mA in steps of 10 mA is 150 mA, set before the voltage, and the switch comes last."""
    memory = Memory()
    bench_on(memory, {201: SUPPLY}).source(201, volts=24.0, amps=0.155)

    assert [15, 2400, 1] == list(memory.values.values())
    assert [("holding register", 1), ("holding register", 0), ("coil", 9)] == list(memory.values)


def test_neighbours_are_one_request_and_gaps_are_not_read() -> None:
    """Addresses 0, 1, 2 and 5 are two requests, whatever order they were asked in; address 3 is never touched."""
    memory = Memory(values={("discrete input", 1): 1})
    channels = {
        401 + place: {"kind": "discrete input", "address": address, "made": 1}
        for place, address in enumerate((5, 1, 0, 2))
    }
    assert [1.0, 0.0, 1.0, 1.0] == list(bench_on(memory, channels).look([401, 402, 403, 404]))
    assert [("discrete input", 0, 3), ("discrete input", 5, 1)] == memory.asked


def test_long_runs_are_split_at_what_one_request_may_read() -> None:
    """125 registers at most (V1.1b3, 6.3): 300 neighbours are three requests."""
    memory = Memory()
    channels = {101 + at: {"kind": "input register", "address": at, "scale": "1 mV"} for at in range(300)}
    bench_on(memory, channels).look(list(channels))

    assert [125, 125, 50] == [count for _, _, count in memory.asked]


@pytest.mark.parametrize(
    ("entry", "count", "value"),
    [
        ({"scale": "1 mV"}, 24000, 24.0),
        ({"scale": "0.1 mA", "offset": "4 mA"}, 100, 0.014),
        ({"scale": "1 mV", "signed": True}, 0xFFFF, -0.001),
        ({"scale": "1 mV", "signed": True}, 0x8000, -32.768),
        ({"scale": "1 mV", "signed": True}, 0x7FFF, 32.767),
        ({"scale": "100 mohm", "over": 65535}, 65535, math.inf),
        ({"scale": "0.5 %"}, 120, 0.6),
    ],
)
def test_counts_become_quantities(entry: Mapping[str, Any], count: int, value: float) -> None:
    """Scale, offset, sign (two's complement) and the count that means over-range."""
    memory = Memory(values={("input register", 7): count})
    bench = bench_on(memory, {301: {"kind": "input register", "address": 7, **entry}})

    assert value == pytest.approx(bench.measure(301))


@pytest.mark.parametrize(
    ("word", "meaning", "bit", "value"),
    [
        ("made", 1, 1, 0.0),
        ("made", 1, 0, 1.0),
        ("made", 0, 0, 0.0),
        ("made", 0, 1, 1.0),
        ("lit", 1, 1, 1.0),
        ("lit", 0, 1, 0.0),
        ("high", 1, 0, 0.0),
        ("high", 0, 0, 1.0),
    ],
)
def test_bits_mean_what_the_fixture_says(word: str, meaning: int, bit: int, value: float) -> None:
    """Made is 0 and broken 1, dark 0 and lit 1, low 0 and high 1, whatever the bit's own value."""
    memory = Memory(values={("discrete input", 3): bit})

    assert value == bench_on(memory, {401: {"kind": "discrete input", "address": 3, word: meaning}}).measure(401)


def test_a_silent_unit_is_not_asked_for_each_of_its_outputs() -> None:
    """All off goes on to the other unit, loads before supplies, and tells the first problem."""

    class HalfDead(Memory):
        def write_coil(self, unit: int, address: int, value: bool) -> None:
            self.asked.append(("write", unit, address))
            if unit == 2:
                raise AdapterSilent("unit 2 does not answer")
            super().write_coil(unit, address, value)

    memory = HalfDead()
    channels = {
        101: {"kind": "coil", "address": 0, "unit": 2},
        102: {"kind": "coil", "address": 1, "unit": 2},
        103: {"kind": "coil", "address": 0},
        201: SUPPLY,
    }
    with pytest.raises(AdapterSilent, match="unit 2"):
        bench_on(memory, channels).all_off()
    assert [("write", 2, 0), ("write", 1, 0), ("write", 1, 9)] == [one for one in memory.asked if one[0] == "write"]
