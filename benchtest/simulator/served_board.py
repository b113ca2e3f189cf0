"""A simulated board behind every adapter that its cable set names, each as a side of one server."""

from collections.abc import Callable
from contextlib import ExitStack
from typing import TextIO

from benchtest.faults import Fault, Mishap
from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.frames import FramesAdapter
from benchtest.fixture.modbus import ModbusAdapter
from benchtest.fixture.wiring import adapters_of, channels_of
from benchtest.messages import SerialCodec
from benchtest.profile.fitting import FittedProfile
from benchtest.simulator.bench import SimulatedBench
from benchtest.simulator.frames_side import FramesSide
from benchtest.simulator.modbus_side import ModbusSide
from benchtest.simulator.modules import Modules
from benchtest.simulator.scene import Scene
from benchtest.simulator.section import Section
from benchtest.simulator.serial_side import SerialSide
from benchtest.simulator.server import (
    CanSide,
    LineSide,
    SceneClock,
    Side,
    logger,
    open_door,
    serve_sides,
    stopped_by_signals,
)
from benchtest.simulator.wire_state import WireState


def serve_board(
    fitted: FittedProfile,
    harness: Harness,
    fixture: Fixture,
    database: str | None,
    seed: int,
    faults: tuple[Fault, ...],
    *,
    tcp: int | None,
    out: TextIO,
    announce: Callable[[dict[str, str]], None],
    mishaps: tuple[Mishap, ...] = (),
) -> None:
    """Serve one simulated board in real time until SIGINT or SIGTERM; call from the main thread.

    With `tcp` the harness's own adapter is at that port of 127.0.0.1 (0: any free one), else at a pseudo-terminal; the
    others and the link are at further ones of the same kind. `announce` gets every adapter's port by its name before
    the first host can come. Writes one line per event to `out`.
    """
    scene = Scene(
        fitted=fitted, harness=harness, fixture=fixture, database=database, seed=seed, faults=faults, mishaps=mishaps
    )
    clock = SceneClock(scene.advance)
    with ExitStack() as stack:
        stop = stack.enter_context(stopped_by_signals(out))
        ports, sides = open_sides(stack, scene, clock, out, tcp=tcp)
        announce(ports)
        serve_sides(sides, clock=clock, out=out, stop=stop, world=scene)


def open_sides(
    stack: ExitStack, scene: Scene, clock: SceneClock, out: TextIO, *, tcp: int | None
) -> tuple[dict[str, str], list[Side]]:
    """Open a way in for each adapter of the scene's harness, and for its link; return their ports and sides."""
    bench, harness, fixture = SimulatedBench(scene, clock), scene.harness, scene.fixture
    ports: dict[str, str] = {}
    sides: list[Side] = []
    for name in adapters_of(fixture, harness):
        ports[name], side = _side(name, stack, scene, bench, clock, out, tcp=tcp)
        sides.append(side)
        tcp = None if tcp is None else 0
    if scene.codec is not None and harness.link is not None:
        door = open_door(stack, tcp)
        ports[harness.link] = door.name
        if isinstance(scene.codec, SerialCodec):
            sides.append(SerialSide(door, scene, scene.codec.form, clock))
        else:
            sides.append(CanSide(door, scene, clock))
    return ports, sides


def _side(
    name: str,
    stack: ExitStack,
    scene: Scene,
    bench: SimulatedBench,
    clock: SceneClock,
    out: TextIO,
    *,
    tcp: int | None,
) -> tuple[str, Side]:
    adapter, channels = scene.fixture.adapters[name], channels_of(name, scene.fixture, scene.harness)
    if isinstance(adapter, ModbusAdapter):
        modbus = ModbusSide(Modules(adapter, scene, Section(bench, scene, channels), clock), clock)
        stack.enter_context(modbus.on_pty() if tcp is None else modbus.on_tcp(tcp))
        return modbus.name, modbus
    door = open_door(stack, tcp)
    if isinstance(adapter, FramesAdapter):
        return door.name, FramesSide(door, adapter, Section(bench, scene, channels), clock)
    whole = bench if channels == frozenset(scene.roles) else Section(bench, scene, channels, records=True)
    return door.name, LineSide(door, WireState(whole, clock), logger(clock, out))
