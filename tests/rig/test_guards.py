"""Emergency stop, lid, current limit and step deadline: whatever trips, everything is off within the next beat."""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.cli.documents import Prepared
from benchtest.clock import VirtualClock
from benchtest.errors import Aborted, RigError
from benchtest.faults import Trip, parse_trip
from benchtest.fixture.document import Adapter, Guard
from benchtest.fixture.wiring import adapters_of, channels_of
from benchtest.instruments import BenchAdapter, Capture, Recording, Started, SupplyState
from benchtest.perform import Performed, Watcher, perform
from benchtest.procedure import AllOff, Measure, Step
from benchtest.results import Outcome, Verdict
from benchtest.rig import Rig, Virtual, open_rig
from benchtest.rig.guard import LOOK_EVERY, Patience, tripped


@contextmanager
def opened(prepared: Prepared, *trips: Trip) -> Iterator[Rig]:
    """Open the embedded bench with guards that trip."""
    rig = open_rig(
        prepared.procedure,
        prepared.fitted,
        fixture=prepared.fixture.fixture,
        harness=prepared.harness,
        ports={},
        virtual=Virtual(mishaps=trips),
    )
    with rig as ready:
        yield ready


def performed(prepared: Prepared, *trips: Trip) -> tuple[Performed, list[str], float]:
    """Perform with guards that trip; return what came of it, the steps begun, and the moment of its end."""
    begun: list[str] = []
    ended: list[float] = []
    with opened(prepared, *trips) as rig:
        watcher = Watcher(
            begins=lambda step, _at: begun.append(step.id), ended=lambda *_: ended.append(rig.clock.now())
        )
        done = perform(prepared.procedure, rig, watcher)
    return done, begun, ended[0]


def test_guards_that_do_not_trip_change_nothing(guarded: Prepared) -> None:
    """The board passes, with the same readings as on a bench without guards."""
    fixture = guarded.fixture.fixture
    without = replace(guarded, fixture=replace(guarded.fixture, fixture=fixture.model_copy(update={"guards": {}})))

    done, _, _ = performed(guarded)

    assert Outcome.PASS is done.outcome
    assert performed(without)[0].results == done.results


@pytest.mark.parametrize("name", ["emergency stop", "lid"])
def test_a_guard_that_has_tripped_keeps_the_power_away(guarded: Prepared, name: str) -> None:
    """Before anything: aborted by its name, nothing tested, everything off and read back."""
    done, begun, _ = performed(guarded, Trip(name, -math.inf))

    assert (Outcome.ABORTED, ["unpowered"]) == (done.outcome, begun)
    assert f"{name} has tripped" in done.reason
    assert {Verdict.NOT_TESTED} == {result.verdict for result in done.results}
    assert (True, True) == (done.safe.reached, done.safe.verified)


@pytest.mark.parametrize("name", ["emergency stop", "lid"])
@pytest.mark.parametrize("after", [0.0, 0.05, 0.3, 0.65, 1.0, 1.37, 2.0])
def test_a_guard_that_trips_ends_the_run_within_the_next_beat(guarded: Prepared, name: str, after: float) -> None:
    """At any moment after first power, in waits and in recordings: aborted, off within a beat, the board not judged."""
    powered: list[float] = []
    with opened(guarded, Trip(name, after)) as rig:

        class Noting(Passing):
            def source(self, channel: int, *, volts: float, amps: float) -> None:
                powered.append(rig.clock.now())
                super().source(channel, volts=volts, amps=amps)

        ended: list[float] = []
        watcher = Watcher(ended=lambda *_: ended.append(rig.clock.now()))
        done = perform(guarded.procedure, replace(rig, bench=Noting(rig.bench)), watcher)
        left = rig.bench.energised()

    assert Outcome.ABORTED is done.outcome
    assert f"{name} has tripped" in done.reason
    assert after <= ended[0] - powered[0] <= after + LOOK_EVERY + 1e-9
    assert frozenset() == left
    assert (True, True) == (done.safe.reached, done.safe.verified)


@given(
    reading=st.floats(allow_nan=True, allow_infinity=True),
    threshold=st.floats(0.1, 30.0),
    safe=st.sampled_from(["high", "low"]),
)
def test_only_a_plainly_safe_reading_is_safe(reading: float, threshold: float, safe: str) -> None:
    """At or beyond the threshold on the safe side; a reading that is not a number has tripped."""
    guard = Guard.model_validate({"channel": 190, "safe": safe, "threshold": f"{threshold!r} V"})
    well = reading >= guard.threshold if safe == "high" else reading <= guard.threshold

    assert well is not tripped(guard, reading)
    assert tripped(guard, math.nan)


@pytest.mark.parametrize(
    ("text", "trip"),
    [("lid", Trip("lid", -math.inf)), ("emergency stop after 250 ms", Trip("emergency stop", 0.25))],
)
def test_a_trip_is_written_as_people_say_it(guarded: Prepared, text: str, trip: Trip) -> None:
    """By the guard's name, and when."""
    assert trip == parse_trip(text, guarded.fixture.fixture.guards)


@pytest.mark.parametrize("text", ["door", "lid after lunch", "lid after 2", ""])
def test_a_trip_that_cannot_be_is_refused(guarded: Prepared, text: str) -> None:
    """An unknown guard, or no time."""
    with pytest.raises(ValueError, match=r"guard|duration|unit"):
        parse_trip(text, guarded.fixture.fixture.guards)


# ---------------------------------------------------------------- adapters that misbehave


@dataclass
class Passing:
    """A bench adapter that hands everything on."""

    bench: BenchAdapter

    def identity(self) -> str:
        return self.bench.identity()

    def beat(self) -> None:
        self.bench.beat()

    def check(self) -> None:
        self.bench.check()

    def set(self, channel: int, value: float) -> None:
        self.bench.set(channel, value)

    def off(self, channel: int) -> None:
        self.bench.off(channel)

    def all_off(self) -> None:
        self.bench.all_off()

    def energised(self) -> frozenset[int]:
        return self.bench.energised()

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        self.bench.source(channel, volts=volts, amps=amps)

    def supply_state(self, channel: int) -> SupplyState:
        return self.bench.supply_state(channel)

    def measure(self, channel: int) -> float:
        return self.bench.measure(channel)

    def begin(self, capture: Capture) -> Started:
        return self.bench.begin(capture)

    def fetch(self) -> Recording:
        return self.bench.fetch()


def test_a_supply_that_limits_while_waiting_ends_the_run(guarded: Prepared) -> None:
    """Outside its power-up: aborted, by the supply's terminals, although nothing was being recorded."""
    limiting: list[bool] = []

    class Shorted(Passing):
        def supply_state(self, channel: int) -> SupplyState:
            return replace(super().supply_state(channel), limiting=bool(limiting))

    with opened(guarded) as plain:
        rig = replace(plain, bench=Shorted(plain.bench))
        rig.source(201, volts=24.0, amps=1.0)
        rig.wait_until(rig.clock.now() + 0.5)
        assert not rig.powered(201).limiting
        rig.wait_until(rig.clock.now() + 0.5)
        limiting.append(True)
        since = rig.clock.now()
        with pytest.raises(Aborted, match=r"over-current: the supply at X1\.1-X1\.2 went into current limit"):
            rig.wait_until(since + 10.0)
        assert rig.clock.now() <= since + LOOK_EVERY + 1e-9


def test_a_supply_may_limit_at_its_power_up_gate(guarded: Prepared) -> None:
    """Until it was read back: a board that is shorted is a reading and no abort."""

    class Shorted(Passing):
        def supply_state(self, channel: int) -> SupplyState:
            return replace(super().supply_state(channel), limiting=True)

    with opened(guarded) as plain:
        rig = replace(plain, bench=Shorted(plain.bench))
        rig.source(201, volts=24.0, amps=1.0)
        rig.wait_until(rig.clock.now() + 1.0)
        assert rig.powered(201).limiting
        with pytest.raises(Aborted, match="over-current"):
            rig.wait_until(rig.clock.now() + 1.0)


@pytest.mark.parametrize("what", ["measure", "beat"])
def test_a_step_that_never_ends_is_a_bench_fault(guarded: Prepared, what: str) -> None:
    """Each answer comes within its own deadline, for ever: the step's ends it, named, with everything off."""

    class Slow(Passing):
        def _pass_time(self) -> None:
            clock = plain.clock
            assert isinstance(clock, VirtualClock)
            clock.sleep_until(clock.now() + 0.9)

        def measure(self, channel: int) -> float:
            if what == "measure":
                self._pass_time()
            return super().measure(channel)

        def beat(self) -> None:
            if what == "beat":
                self._pass_time()
            super().beat()

    moves = tuple(Measure(name=f"again {number}", channel=301) for number in range(1000))
    step = Step(id="long", title="Look for ever", moves=moves, checks=(), duration=2.0)
    with opened(guarded) as plain:
        rig = replace(plain, bench=Slow(plain.bench))
        if what == "beat":
            rig.begins(step)
            with pytest.raises(RigError, match=r"not over after 1[678]\.\d s"):
                rig.wait_until(rig.clock.now() + 1000.0)
            return
        done = perform(replace(guarded.procedure, steps=(step,)), rig, Watcher())

    assert Outcome.BENCH_FAULT is done.outcome
    assert "during 'Look for ever': not over after 1" in done.reason
    assert "at most 16.0 s" in done.reason
    assert (True, True) == (done.safe.reached, done.safe.verified)


def test_every_step_of_a_shipped_board_has_time_to_spare(bench: Any, carwash: Prepared) -> None:
    """In virtual time a good run takes what was planned: far from the deadline, step by step."""
    moments: list[float] = []
    watcher = Watcher(
        begins=lambda _step, at: moments.append(at), judged=lambda _step, _results, at: moments.append(at)
    )
    done = bench.performed(carwash, watcher=watcher)
    taken = [end - start for start, end in zip(moments[::2], moments[1::2], strict=True)]

    assert Outcome.PASS is done.outcome
    assert all(
        seconds < Patience(factor=1.1, margin=0.1).allowed(step.duration)
        for seconds, step in zip(taken, carwash.procedure.steps, strict=True)
    )


def test_going_to_safety_is_not_hurried(guarded: Prepared) -> None:
    """Past its deadline a step can still be taken to safety, and says so once."""
    with opened(guarded) as rig:
        rig.begins(Step(id="s", title="Short", moves=(AllOff(name="off"),), checks=(), duration=0.0))
        rig.source(201, volts=24.0, amps=1.0)
        rig.clock.sleep_until(rig.clock.now() + 11.0)
        with pytest.raises(RigError, match="not over after 11"):
            rig.heed()
        safe = rig.make_safe(guarded.procedure)

    assert (True, True) == (safe.reached, safe.verified)


def test_a_guard_may_hang_on_an_adapter_of_its_own(guarded: Prepared) -> None:
    """An adapter that serves nothing but the emergency stop is opened with the others, and asked for its channel."""
    fixture = guarded.fixture.fixture
    extra = Adapter.model_validate({"driver": "scpi", "port": "/dev/null", "channels": {190: {}}})
    two = fixture.model_copy(update={"adapters": {**fixture.adapters, "stop": extra}})

    assert (guarded.harness.adapter, "stop") == adapters_of(two, guarded.harness)
    assert frozenset({190}) == channels_of("stop", two, guarded.harness)
    assert 190 not in channels_of(guarded.harness.adapter, two, guarded.harness)
    assert 191 in channels_of(guarded.harness.adapter, two, guarded.harness)
