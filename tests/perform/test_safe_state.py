"""What is said of the safe state when an adapter cannot be read back, cannot be reached, or has no dead-man."""

from pathlib import Path

from benchtest.cli.documents import Prepared, prepare
from benchtest.errors import AdapterSilent
from benchtest.results import SafeState
from tests.perform.poor_benches import PoorBench

ROOT = Path(__file__).parents[2]


def carwash(bench: str) -> Prepared:
    return prepare(ROOT / "profiles/carwash.yaml", ROOT / f"fixtures/{bench}.yaml", None, (), partial=True)


class Unplugged(PoorBench):
    """Every exchange with the bench fails from the moment that it is unplugged."""

    def unplug(self) -> None:
        def fail(*_: object, **__: object) -> None:
            raise AdapterSilent("nobody answers")

        for name in ("off", "all_off", "energised"):
            setattr(self.rig.bench, name, fail)


def left(bench: PoorBench) -> SafeState:
    return bench.rig.make_safe(bench.prepared.procedure)


def test_outputs_that_are_read_back_are_verified() -> None:
    """Modules say what their coils do."""
    bench = PoorBench(carwash("modbus"), 0.001)
    bench.rig.bench.set(101, 1)
    state = left(bench)

    assert (True, True) == (state.reached, state.verified)
    assert frozenset() == bench.scene.energised()


def test_outputs_that_nobody_can_read_back_are_ordered_off_and_not_verified() -> None:
    """The relay board says nothing: reached, not verified, and the note says why."""
    bench = PoorBench(carwash("relaybox"), 0.001)
    bench.rig.bench.set(101, 1)
    state = left(bench)
    bench.clock.sleep_until(bench.clock.now() + 0.1)

    assert (True, False) == (state.reached, state.verified)
    assert "everything ordered off; what adapter box does cannot be read back" == state.note
    assert frozenset() == bench.scene.energised()


def test_a_dead_man_is_promised_only_where_there_is_one() -> None:
    """Modules with a watchdog let go by themselves; a relay board on frames does not, and a person must."""
    notes = {}
    for name in ("modbus", "relaybox"):
        bench = Unplugged(carwash(name), 0.001)
        bench.unplug()
        state = left(bench)
        assert (False, False) == (state.reached, state.verified)
        notes[name] = state.note

    assert "its dead-man takes everything off by itself" in notes["modbus"]
    assert "adapter box has no dead-man: cut the supply of the bench by hand" in notes["relaybox"]
