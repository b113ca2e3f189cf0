"""Whatever happens on the way, the bench goes to safety: loads first, supplies last, read back, once."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchtest.cli.documents import Prepared
from benchtest.errors import Aborted, AdapterMissing, AdapterRefused, AdapterSilent, RigError
from benchtest.instruments import Capture, Started, SupplyState
from benchtest.perform import Performed, Watcher, perform
from benchtest.results import Outcome, Verdict
from benchtest.rig import Rig
from tests.rig.test_guards import Passing, opened

SUPPLIES = frozenset({201})


@dataclass
class Failing(Passing):
    """A bench adapter on which something happens at its n-th call, and that notes how it is taken to safety."""

    at: int = 0
    happens: Callable[[], None] = lambda: None
    calls: int = 0

    def __post_init__(self) -> None:
        self.off_order: list[int] = []
        self.left: frozenset[int] = frozenset()

    def _count(self) -> None:
        self.calls += 1
        if self.calls == self.at:
            self.happens()

    def set(self, channel: int, value: float) -> None:
        self._count()
        super().set(channel, value)

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        self._count()
        super().source(channel, volts=volts, amps=amps)

    def measure(self, channel: int) -> float:
        self._count()
        return super().measure(channel)

    def supply_state(self, channel: int) -> SupplyState:
        self._count()
        return super().supply_state(channel)

    def begin(self, capture: Capture) -> Started:
        self._count()
        return super().begin(capture)

    def beat(self) -> None:
        self._count()
        super().beat()

    def off(self, channel: int) -> None:
        self.off_order.append(channel)
        super().off(channel)


def failed(prepared: Prepared, at: int, happens: Callable[[], None]) -> tuple[Performed, Failing, frozenset[int]]:
    """Perform until something happens at the n-th call of the adapter."""
    with opened(prepared) as rig:
        adapter = Failing(rig.bench, at=at, happens=happens)
        done = perform(prepared.procedure, replace(rig, bench=adapter), Watcher())
        return done, adapter, rig.bench.energised()


def raising(problem: Exception) -> Callable[[], None]:
    """Return what raises."""

    def happens() -> None:
        raise problem

    return happens


@settings(deadline=None, max_examples=25)
@given(
    at=st.integers(1, 120),
    problem=st.sampled_from(
        [
            AdapterSilent("no answer"),
            AdapterMissing("the cable was pulled"),
            AdapterRefused("no"),
            Aborted("lid has tripped"),
        ]
    ),
)
def test_whatever_call_fails_the_bench_is_off_loads_first(guarded: Prepared, at: int, problem: Exception) -> None:
    """A lost adapter or a trip at any call: nothing is on, supplies went last, and the board is not judged for it."""
    done, adapter, left = failed(guarded, at, raising(problem))
    expected = Outcome.BENCH_FAULT if isinstance(problem, RigError) else Outcome.ABORTED
    last = [channel in SUPPLIES for channel in adapter.off_order]

    assert frozenset() == left
    assert (True, True) == (done.safe.reached, done.safe.verified)
    assert sorted(last) == last
    if adapter.calls >= at:
        assert expected is done.outcome
        assert Verdict.FAIL not in {result.verdict for result in done.results}
    else:
        assert Outcome.PASS is done.outcome


def test_a_stop_while_going_to_safety_changes_nothing(guarded: Prepared) -> None:
    """The reason of the first stop stays; a second one during the way off does not shorten it."""
    reasons: list[str] = []
    with opened(guarded) as plain:

        class Late(Passing):
            def off(self, channel: int) -> None:
                reasons.append("a second stop")
                super().off(channel)

        rig: Rig = replace(plain, bench=Late(plain.bench), stopped=lambda: reasons[0] if reasons else "")
        rig.source(201, volts=24.0, amps=1.0)
        rig.bench.set(101, 1.0)
        reasons.append("the first stop")
        with pytest.raises(Aborted, match="the first stop"):
            rig.heed()
        safe = rig.make_safe(guarded.procedure)
        left = rig.bench.energised()

    assert (True, True, frozenset()) == (safe.reached, safe.verified, left)
    assert ["the first stop", "a second stop", "a second stop"] == reasons


def test_an_adapter_that_refuses_one_order_keeps_no_other_on(guarded: Prepared) -> None:
    """Off is ordered one by one and then all at once; a refusal stops neither."""
    with opened(guarded) as plain:

        class Stubborn(Passing):
            def off(self, channel: int) -> None:
                raise AdapterRefused(f"channel {channel} will not go off by itself")

        rig = replace(plain, bench=Stubborn(plain.bench))
        rig.source(201, volts=24.0, amps=1.0)
        rig.bench.set(101, 1.0)
        safe = rig.make_safe(guarded.procedure)

        assert frozenset() == plain.bench.energised()
    assert (True, True) == (safe.reached, safe.verified)


def test_what_stays_on_is_said_and_not_called_verified(guarded: Prepared) -> None:
    """Reading back is what counts, and not what was ordered."""
    with opened(guarded) as plain:

        class Welded(Passing):
            def energised(self) -> frozenset[int]:
                return frozenset({102})

        safe = replace(plain, bench=Welded(plain.bench)).make_safe(guarded.procedure)

    assert (True, False, "still on: channels 102") == (safe.reached, safe.verified, safe.note)
