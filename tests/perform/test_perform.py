"""Whole boards on the embedded bench, in virtual time: good ones pass, each fault fails by its own name."""

import math
from collections.abc import Collection
from dataclasses import replace
from typing import Any

import pytest

from benchtest.cli.documents import Prepared
from benchtest.errors import Aborted, AdapterMissing
from benchtest.faults import Kind, possible
from benchtest.instruments import BenchAdapter
from benchtest.perform import Watcher, perform
from benchtest.readings import Origin
from benchtest.results import Outcome, Verdict
from benchtest.rig import Virtual, open_rig


@pytest.mark.parametrize("seed", [1, 2, 3, 77])
def test_good_boards_pass_whatever_their_seed(bench: Any, carwash: Prepared, seed: int) -> None:
    """Part tolerances of a good board never cost it a reading."""
    done = bench.performed(carwash, seed=seed)

    assert (Outcome.PASS, []) == (done.outcome, [r.check.id for r in done.results if r.verdict is not Verdict.PASS])


@pytest.mark.parametrize(("variant", "options"), [("two-bay", ("dosing",)), ("two-bay", ()), ("one-bay", ())])
def test_every_variant_of_a_good_greenhouse_board_passes(bench: Any, variant: str, options: tuple[str, ...]) -> None:
    """Two bays, one bay, with and without dosing."""
    done = bench.performed(bench.prepared("greenhouse", variant=variant, options=options))

    assert (Outcome.PASS, []) == (done.outcome, [r.check.id for r in done.results if r.verdict is not Verdict.PASS])


def test_one_seed_gives_the_same_readings_again(bench: Any, carwash: Prepared) -> None:
    """Same seed, same values to the last bit; another seed is another board."""
    first, again, other = (bench.performed(carwash, seed=seed).results for seed in (5, 5, 6))

    assert first == again
    assert first != other


@pytest.mark.parametrize(
    ("fault", "named"),
    [
        ("K3 contact welded", "K3"),
        ("K3 contact never closes", "K3"),
        ("K3 slow operate", "K3 operate time"),
        ("K1 contact welded", "K1"),
        ("K11 contact never closes", "K11"),
        ("D3 lamp dark", "D3"),
        ("D20 lamp dark", "D20"),
        ("D21 lamp code wrong", "D21"),
        ("D22 lamp code wrong", "D22"),
        ("link silent", "link"),
        ("main shorted", "main"),
        ("no dosing with a vent open ignored", "no dosing with a vent open"),
        ("pump only with a valve open ignored", "pump only with a valve open"),
        ("vent A opens only while not closing ignored", "vent A opens only while not closing"),
    ],
)
def test_a_fault_fails_first_by_its_own_name(bench: Any, greenhouse: Prepared, fault: str, named: str) -> None:
    """The first failing line names the relay, lamp, link, supply or interlock that is wrong."""
    done = bench.performed(greenhouse, fault)
    first = next(result for result in done.results if result.verdict is Verdict.FAIL)

    assert done.outcome is Outcome.FAIL
    assert named in first.check.title


@pytest.mark.parametrize("fault", ["K3 slow operate", "D3 lamp dark", "K7 contact welded"])
def test_a_fault_in_one_part_leaves_the_other_parts_passing(bench: Any, greenhouse: Prepared, fault: str) -> None:
    """Only readings about the faulty part fail."""
    part = fault.partition(" ")[0].replace("D", "K")
    done = bench.performed(greenhouse, fault)

    assert {part} == {result.check.subject for result in done.results if result.verdict is not Verdict.PASS}


def test_a_short_is_found_without_power_and_never_powered(bench: Any, greenhouse: Prepared) -> None:
    """After a failed gate nothing more is performed, and the rest is not tested by name."""
    begun = []
    done = bench.performed(greenhouse, "main shorted", watcher=Watcher(begins=lambda step, _at: begun.append(step.id)))

    assert ["unpowered"] == begun
    assert 300 < sum(result.verdict is Verdict.NOT_TESTED for result in done.results)
    assert all("not reached: main not shorted failed" in r.note for r in done.results if r.value is None)


class NoNumber:
    """The bench with an ohmmeter that answers with what is not a number (9.91E37 in SCPI-99)."""

    def __init__(self, bench: BenchAdapter, ohms: Collection[int]) -> None:
        self._bench, self._ohms = bench, ohms

    def __getattr__(self, name: str) -> Any:
        return getattr(self._bench, name)

    def measure(self, channel: int) -> float:
        return math.nan if channel in self._ohms else self._bench.measure(channel)


def test_nothing_is_fed_where_the_meter_gave_no_number(carwash: Prepared) -> None:
    """A short cannot be ruled out, so there is no power; the board is not blamed, and what is missing is named."""
    begun: list[str] = []
    with open_rig(
        carwash.procedure,
        carwash.fitted,
        fixture=carwash.fixture.fixture,
        harness=carwash.harness,
        ports={},
        virtual=Virtual(seed=1),
    ) as rig:
        speechless = replace(rig, bench=NoNumber(rig.bench, carwash.harness.ohms.values()))
        done = perform(carwash.procedure, speechless, Watcher(begins=lambda step, _at: begun.append(step.id)))

    assert ["unpowered"] == begun
    assert Outcome.INCONCLUSIVE is done.outcome
    assert "not a number" in done.reason
    assert all("could not be read before it" in result.note for result in done.results if "power-up" in result.check.id)


def test_every_reading_says_that_it_is_simulated(bench: Any, carwash: Prepared) -> None:
    """Nothing from a virtual board can pass for measured."""
    assert {Origin.SIMULATED} == {result.origin for result in bench.performed(carwash).results}


def test_the_bench_is_safe_and_read_back_at_the_end(bench: Any, carwash: Prepared) -> None:
    """After a good run nothing is left on."""
    safe = bench.performed(carwash).safe

    assert (True, True) == (safe.reached, safe.verified)


@pytest.mark.parametrize(
    ("stop", "outcome"),
    [
        (KeyboardInterrupt(), Outcome.ABORTED),
        (Aborted("stopped by SIGTERM"), Outcome.ABORTED),
        (AdapterMissing("the cable was pulled"), Outcome.BENCH_FAULT),
    ],
)
def test_whatever_stops_a_run_the_bench_is_safe_and_the_board_not_judged(
    bench: Any, carwash: Prepared, stop: BaseException, outcome: Outcome
) -> None:
    """At every step of the run: stop it there, and everything is off, verified, and the board is not judged."""
    for step in carwash.procedure.steps:

        def pull(begun: Any, _at: float, name: str = step.id) -> None:
            if begun.id == name:
                raise stop

        done = bench.performed(carwash, watcher=Watcher(begins=pull))

        assert outcome is done.outcome
        assert (True, True) == (done.safe.reached, done.safe.verified)
        assert any(result.verdict is Verdict.NOT_TESTED for result in done.results)


SELDOM = {Kind.MISSES, Kind.INPUT_MISSES, Kind.LAMP_FLICKERS, Kind.HEARTBEAT_JITTERS, Kind.LINK_DROPS}
"""They come and go, and may stay away for one run."""
UNSEEN = {Kind.LAMP_DIM, Kind.SCALING_WRONG, Kind.INPUT_SLOW, Kind.CODE_DISAGREES, Kind.STARTS_LATE}
"""No step asks for what would show them on every part; `benchtest coverage` says so."""


@pytest.mark.parametrize("board", ["greenhouse", "carwash"])
def test_no_kind_of_fault_escapes(bench: Any, board: str, request: pytest.FixtureRequest) -> None:
    """The last part that can have it: each kind of fault that is always there makes the run fail."""
    prepared: Prepared = request.getfixturevalue(board)
    last = {fault.kind: fault.text for fault in possible(prepared.fitted) if fault.kind not in SELDOM | UNSEEN}

    assert [] == [text for text in last.values() if bench.performed(prepared, text).outcome is not Outcome.FAIL]
