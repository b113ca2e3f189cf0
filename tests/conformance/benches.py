"""The bench adapters that the conformance suite is held against; a new adapter is one more entry in `BENCHES`.

Each is a context manager that gives a `Case` with the greenhouse board on the bench (simulated, or one in order).
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from functools import partial

from benchtest.adapters.composed import ComposedBench, Part
from benchtest.adapters.scpi import open_scpi
from benchtest.clock import RealClock
from benchtest.conformance import Case
from benchtest.fixture.wiring import channels
from benchtest.instruments import Device
from tests.server.greenhouse_served import served_greenhouse
from tests.simulator.stand import BENCH, greenhouse

DEAD_MAN = 1.0  # s, as the fixtures have it


@contextmanager
def in_process() -> Iterator[Case]:
    """The bench in this process, on virtual time."""
    stand = greenhouse()
    yield Case(bench=stand.bench, clock=stand.clock, fixture=BENCH.fixture, harness=stand.harness, board=True)


@contextmanager
def over_a_wire(tcp: int | None) -> Iterator[Case]:
    """The same bench behind the line protocol, in real time: on a pseudo-terminal, or on TCP."""
    clock = RealClock()
    changed = {"driver": "scpi", "identity": "Benchtest,Virtual bench", "dead_man": DEAD_MAN}
    adapter = BENCH.fixture.adapters["io"].model_copy(update=changed)
    with (
        served_greenhouse(tcp) as port,
        open_scpi(adapter=adapter, port=port, limits=BENCH.fixture.limits, clock=clock) as bench,
    ):
        yield Case(
            bench=bench,
            clock=clock,
            fixture=BENCH.fixture,
            harness=greenhouse().harness,
            board=True,
            dead_man=DEAD_MAN,
        )


@contextmanager
def composed() -> Iterator[Case]:
    """Two devices of the bench in this process as one: one records, the host polls and sets the other."""
    stand = greenhouse()
    bench, boxed = stand.bench, frozenset(stand.harness.light.values()) | frozenset(stand.harness.resistance.values())
    recorder = Device(identified=bench, outputs=bench, supplies=bench, meter=bench, recorder=bench)
    box = Device(identified=bench, outputs=bench, meter=bench)
    parts = [
        Part(name="io", device=recorder, channels=channels(stand.harness) - boxed, stamp=20e-6, every=0.001),
        Part(name="box", device=box, channels=boxed, stamp=0.0015, every=0.001),
    ]
    together = ComposedBench(parts, stand.clock)
    yield Case(
        bench=together,
        clock=stand.clock,
        fixture=BENCH.fixture,
        harness=stand.harness,
        board=True,
        due=together.due,
    )


BENCHES: Mapping[str, Callable[[], AbstractContextManager[Case]]] = {
    "in process": in_process,
    "composed": composed,
    "scpi on a pseudo-terminal": partial(over_a_wire, None),
    "scpi on TCP": partial(over_a_wire, 0),
}
