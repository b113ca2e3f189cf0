"""What the line protocol costs over a bare line, and the engine beyond its adapters.

Run alone with `pytest tests/benchmarks -s` to see the figures.
"""

import os
import select
import statistics
import subprocess
import sys
import tty
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import partial
from time import perf_counter, process_time
from typing import Any

import pytest

from benchtest.adapters.scpi import ScpiBench, open_scpi
from benchtest.cli.documents import Prepared
from benchtest.clock import RealClock, VirtualClock
from benchtest.fixture.document import Adapter, HardLimits
from benchtest.perform import Watcher, perform
from benchtest.rig import Virtual, open_rig
from benchtest.rig.guard import Watch
from tests.benchmarks.yardstick import slowness

ROUNDS, TRIPS = 61, 60
PEER = r"""
import os, sys
line = int(sys.argv[1])
pending = b""
while True:
    pending += os.read(line, 4096)
    while b"\n" in pending:
        asked, _, pending = pending.partition(b"\n")
        if asked:
            tag = asked.split(b";", 1)[0].rpartition(b" ")[2]
            said = b"Benchtest,Peer,0,1;" if b"*IDN?" in asked else b"(@);" if b"ACT" in asked else b""
            os.write(line, tag + b";" + (b"12.5;" if b"MEAS" in asked else said) + b'0,"No error"\n')
"""


@pytest.fixture
def line() -> Iterator[str]:
    """A pseudo-terminal whose far side another process answers, on the same processor.

    On two processors what is measured is how deep the other one sleeps.
    """
    everywhere = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {min(everywhere)})
    far, near = os.openpty()
    tty.setraw(near)
    process = subprocess.Popen([sys.executable, "-c", PEER, str(far)], pass_fds=[far])
    try:
        yield os.ttyname(near)
    finally:
        os.sched_setaffinity(0, everywhere)
        process.terminate()
        process.wait(10)
        os.close(near)
        os.close(far)


def bare(name: str) -> float:
    """Return the seconds of one round trip of the same bytes over bare file descriptors."""
    descriptor = os.open(name, os.O_RDWR | os.O_NOCTTY)
    begin = perf_counter()
    for number in range(TRIPS):
        os.write(descriptor, b":SYST:ECHO? %d;:MEASure? (@301);:SYST:ERR:ALL?\n" % (100_000_000 + number))
        reply = b""
        while not reply.endswith(b"\n"):
            select.select([descriptor], [], [])
            reply += os.read(descriptor, 4096)
    taken = perf_counter() - begin
    os.close(descriptor)
    return taken / TRIPS


def spoken(bench: ScpiBench) -> float:
    """Return the seconds of one reading by the adapter, parsed and checked."""
    begin = perf_counter()
    for _ in range(TRIPS):
        bench.measure(301)
    return (perf_counter() - begin) / TRIPS


def test_round_trip_is_at_most_one_and_six_tenths_of_a_bare_line(line: str) -> None:
    """Query, tag, error queue and number cost at most 60 % over the same bytes on bare file descriptors."""
    adapter = Adapter(driver="scpi", identity="Benchtest,Peer")
    with open_scpi(adapter=adapter, port=line, limits=HardLimits(), clock=RealClock()) as bench:
        assert isinstance(bench, ScpiBench)
        pairs = [(bare(line), spoken(bench)) for _ in range(ROUNDS)]
        assert 0 == bench.retries + bench.stale
    raw, ours = (statistics.median(column) for column in zip(*pairs, strict=True))
    ratio = statistics.median(spent / least for least, spent in pairs)  # of neighbours in time, since others are busy
    print(f"\nround trip {ours * 1e6:.0f} µs, bare {raw * 1e6:.0f} µs, ratio {ratio:.2f} (limit 1.6)")

    assert ratio <= 1.6


@dataclass
class Taped:
    """What somebody answered, call by call; then the same answers at once."""

    speaker: Any
    tape: deque[Any] = field(default_factory=deque)
    playing: bool = False

    def __getattr__(self, name: str) -> Callable[..., Any]:
        return self._play if self.playing else partial(self._ask, getattr(self.speaker, name))

    def _ask(self, speak: Callable[..., Any], *words: Any, **more: Any) -> Any:
        self.tape.append(speak(*words, **more))
        return self.tape[-1]

    def _play(self, *_words: Any, **_more: Any) -> Any:
        return self.tape.popleft()


def test_an_engine_step_costs_at_most_two_milliseconds_beyond_wire_and_dwell(greenhouse: Prepared) -> None:
    """Perform over an adapter that answers at once and a clock that waits for nobody; judging is counted too.

    The 2 ms are those of the machine that the yardstick was taken from.
    """
    costs = []
    for _ in range(7):
        with open_rig(
            greenhouse.procedure,
            greenhouse.fitted,
            fixture=greenhouse.fixture.fixture,
            harness=greenhouse.harness,
            ports={},
            virtual=Virtual(),
        ) as rig:
            bench, link = Taped(rig.bench), Taped(rig.link)
            once = perform(greenhouse.procedure, replace(rig, bench=bench, link=link), Watcher())
            bench.playing = link.playing = True
            begin = process_time()  # others may be busy on this computer; nothing here waits
            at_once = replace(rig, bench=bench, link=link, clock=VirtualClock(), watch=Watch())
            again = perform(greenhouse.procedure, at_once, Watcher())
            spent = process_time() - begin
            costs.append(spent / len(greenhouse.procedure.steps) / slowness())
        assert [result.verdict for result in once.results] == [result.verdict for result in again.results]
        assert not bench.tape
    cost = statistics.median(costs)
    print(f"\nengine {cost * 1e3:.2f} ms a step over {len(greenhouse.procedure.steps)} steps (limit 2)")

    assert cost <= 2e-3
