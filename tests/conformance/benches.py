"""The bench adapters that the conformance suite is held against; a new adapter is one more entry in `BENCHES`.

Each is a context manager that gives a `Case` with the greenhouse board on the bench (simulated, or one in order).
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from functools import partial

from benchtest.adapters.scpi import open_scpi
from benchtest.clock import Clock, RealClock
from benchtest.fixture import Fixture, Harness
from benchtest.instruments import BenchAdapter
from tests.server.greenhouse_served import served_greenhouse
from tests.simulator.stand import BENCH, greenhouse


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """One opened bench adapter."""

    bench: BenchAdapter
    clock: Clock
    fixture: Fixture
    harness: Harness

    def wait(self, seconds: float) -> None:
        """Wait by the rig's clock, showing the adapter that its user is alive."""
        end = self.clock.now() + seconds
        while (now := self.clock.now()) < end:
            self.clock.sleep_until(min(end, now + 0.1))
            self.bench.beat()


@contextmanager
def in_process() -> Iterator[Case]:
    """The bench in this process, on virtual time."""
    stand = greenhouse()
    yield Case(bench=stand.bench, clock=stand.clock, fixture=BENCH.fixture, harness=stand.harness)


@contextmanager
def over_a_wire(tcp: int | None) -> Iterator[Case]:
    """The same bench behind the line protocol, in real time: on a pseudo-terminal, or on TCP."""
    clock = RealClock()
    adapter = BENCH.fixture.adapters["io"].model_copy(update={"driver": "scpi", "identity": "Benchtest,Virtual bench"})
    with (
        served_greenhouse(tcp) as port,
        open_scpi(adapter=adapter, port=port, limits=BENCH.fixture.limits, clock=clock) as bench,
    ):
        yield Case(bench=bench, clock=clock, fixture=BENCH.fixture, harness=greenhouse().harness)


BENCHES: Mapping[str, Callable[[], AbstractContextManager[Case]]] = {
    "in process": in_process,
    "scpi on a pseudo-terminal": partial(over_a_wire, None),
    "scpi on TCP": partial(over_a_wire, 0),
}
