"""The greenhouse board behind real wires, served by a thread of this process."""

import io
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

from benchtest.simulator.bench import SimulatedBench
from benchtest.simulator.scene import Scene
from benchtest.simulator.server import SceneClock, open_door, serve
from tests.simulator.stand import BENCH, greenhouse


@contextmanager
def served_greenhouse(tcp: int | None) -> Iterator[str]:
    """Give the port of a served bench: a pseudo-terminal, or a TCP port when `tcp` is one."""
    stand, stop = greenhouse(), threading.Event()
    scene = Scene(fitted=stand.fitted, harness=stand.harness, fixture=BENCH.fixture, database=None, seed=1)
    clock = SceneClock(scene.advance)
    with ExitStack() as stack:
        door = open_door(stack, tcp)
        keywords = {"clock": clock, "door": door, "out": io.StringIO(), "stop": stop, "world": scene}
        thread = threading.Thread(target=serve, args=(SimulatedBench(scene, clock),), kwargs=keywords)
        thread.start()
        try:
            yield door.name
        finally:
            stop.set()
            thread.join(5)
