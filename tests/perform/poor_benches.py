"""The shipped poor benches in virtual time: real drivers, real modules and relay board behind them, no wires.

What a wire does is a delay here: every exchange takes a given time, so that a whole board is put through its profile at
the worst lateness that the fixture allows, and always in the same way.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

from benchtest.adapters.composed import ComposedBench, Part
from benchtest.adapters.frames import FramesBench
from benchtest.adapters.modbus import ModbusBench
from benchtest.cli.documents import Prepared
from benchtest.clock import VirtualClock
from benchtest.faults import parse
from benchtest.fixture.document import HardLimits
from benchtest.fixture.frames import FramesAdapter
from benchtest.fixture.modbus import ModbusAdapter
from benchtest.fixture.wiring import adapters_of, channels_of
from benchtest.instruments import Device
from benchtest.perform import Performed, Watcher, perform
from benchtest.readings import Origin
from benchtest.rig import Rig
from benchtest.simulator.bench import SimulatedBench
from benchtest.simulator.frames_side import FramesSide
from benchtest.simulator.link import SimulatedLink
from benchtest.simulator.modules import Modules
from benchtest.simulator.scene import Scene
from benchtest.simulator.section import Section


@dataclass
class DirectLine:
    """Modbus without a wire: half of `takes` passes before a place is read or written, half after."""

    modules: Modules
    clock: VirtualClock
    takes: float
    heard: dict[int, float] = field(default_factory=dict)

    def _pass(self) -> None:
        self.clock.sleep_until(self.clock.now() + self.takes / 2)

    def words(self, table: str, unit: int, address: int, count: int) -> list[int]:
        self._pass()
        found = [self.modules.read(table, unit, at) for at in range(address, address + count)]
        self._pass()
        self.heard[unit] = self.clock.now()
        return found

    def bits(self, table: str, unit: int, address: int, count: int) -> list[bool]:
        return [bool(word) for word in self.words(table, unit, address, count)]

    def write_word(self, unit: int, address: int, value: int) -> None:
        self._write("holding register", unit, address, value)

    def write_coil(self, unit: int, address: int, value: bool) -> None:
        self._write("coil", unit, address, int(value))

    def _write(self, table: str, unit: int, address: int, value: int) -> None:
        self._pass()
        self.modules.write(table, unit, address, value)
        self._pass()
        self.heard[unit] = self.clock.now()

    def identification(self, unit: int) -> str:
        return f"Benchtest,Virtual bench adapter,{unit},1"


@dataclass
class Loop:
    """Both ends of a line in one thread: a door for the relay board, a port for the driver."""

    clock: "Worldly"
    name: str = "a line of the test"
    present: bool = True
    to_board: bytes = b""
    to_host: bytes = b""
    turn: Callable[[], None] = lambda: None

    def watched(self) -> int:
        return -1

    def look(self) -> None:
        """Say nothing: the host is always there."""

    def read(self, wanted: int = 0) -> bytes:
        """As a door without `wanted`: what the host wrote; as a port: what the board said, after a slice of time."""
        if not wanted:
            data, self.to_board = self.to_board, b""
            return data
        if not self.to_host:
            self.clock.sleep_until(min(self.clock.now() + 0.02, max(self.clock.now(), self.clock.due())))
        data, self.to_host = self.to_host, b""
        return data

    def write(self, data: bytes) -> int:
        self.to_host += data
        return len(data)

    def discard(self) -> int:
        thrown, self.to_host = len(self.to_host), b""
        return thrown


@dataclass
class HostEnd:
    """The driver's end of a loop."""

    loop: Loop
    name: str = "a line of the test"

    def write(self, data: bytes) -> None:
        self.loop.to_board += data
        self.loop.turn()

    def read(self, wanted: int) -> bytes:
        return self.loop.read(wanted)

    def discard(self) -> int:
        return self.loop.discard()


class Worldly(VirtualClock):
    """Virtual time in which a scene and the sides before it have their turns."""

    def __init__(self) -> None:
        self.scene: Scene | None = None
        self.sides: list[FramesSide] = []
        super().__init__(self._run)

    def due(self) -> float:
        return min((side.due() for side in self.sides), default=math.inf)

    def _run(self, to: float) -> None:
        while (due := self.due()) <= to:
            self._now = max(self._now, due)
            self._advance_scene(self._now)
            for side in self.sides:
                side.turn()
        self._advance_scene(to)

    def _advance_scene(self, to: float) -> None:
        if self.scene is not None:
            self.scene.advance(to)


class PoorBench:
    """One prepared board, with its faults, on a poor bench; `takes` is the seconds of one Modbus exchange."""

    def __init__(self, prepared: Prepared, takes: float, *faults: str) -> None:
        self.prepared, self.takes, self.clock = prepared, takes, Worldly()
        fixture, harness, procedure = prepared.fixture.fixture, prepared.harness, prepared.procedure
        database = procedure.link.database if procedure.link else None
        self.scene = self.clock.scene = Scene(
            fitted=prepared.fitted,
            harness=harness,
            fixture=fixture,
            database=database,
            seed=1,
            faults=tuple(parse(text, prepared.fitted) for text in faults),
        )
        self.bench = SimulatedBench(self.scene, self.clock)
        composed = ComposedBench([self._part(name) for name in adapters_of(fixture, harness)], self.clock)
        self.rig = Rig(
            bench=composed,
            link=SimulatedLink(self.scene, self.clock, self.scene.codec) if self.scene.codec is not None else None,
            clock=self.clock,
            origin=Origin.SIMULATED,
            identities={},
            fixture=fixture,
            harness=harness,
            beat_every=0.2,
            due=composed.due,
        )

    def perform(self) -> Performed:
        """Put the board through the procedure."""
        return perform(self.prepared.procedure, self.rig, Watcher())

    def _part(self, name: str) -> Part:
        fixture, harness = self.prepared.fixture.fixture, self.prepared.harness
        adapter, channels = fixture.adapters[name], channels_of(name, fixture, harness)
        device = self._device(name, channels, fixture.limits)
        return Part(name=name, device=device, channels=channels, stamp=adapter.stamp, every=1 / adapter.rate)

    def _device(self, name: str, channels: frozenset[int], limits: HardLimits) -> Device:
        adapter = self.prepared.fixture.fixture.adapters[name]
        if isinstance(adapter, ModbusAdapter):
            modules = Modules(adapter, self.scene, Section(self.bench, self.scene, channels), self.clock)
            line = DirectLine(modules, self.clock, self.takes)
            return ModbusBench(line=line, adapter=adapter, limits=limits, name=name, clock=self.clock).device()
        if isinstance(adapter, FramesAdapter):
            loop = Loop(self.clock)
            side = FramesSide(loop, adapter, Section(self.bench, self.scene, channels), self.clock)
            loop.turn = partial(FramesSide.turn, side)
            self.clock.sides.append(side)
            board = FramesBench(port=HostEnd(loop), adapter=adapter, clock=self.clock)
            return Device(identified=board, outputs=board)
        return Device.whole(Section(self.bench, self.scene, channels, records=True))
