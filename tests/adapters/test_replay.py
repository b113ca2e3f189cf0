"""A recorded run in the place of the bench: the same evidence bit for bit, the profile's limits of today."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from benchtest.adapters.replay import Recalled, ReplayBench
from benchtest.cli.documents import Prepared
from benchtest.errors import Aborted, AdapterRefused, PlanError
from benchtest.perform import Performed, Watcher, perform
from benchtest.plan.replayed import replayed
from benchtest.procedure import Interval, Procedure
from benchtest.readings import Origin, Recorded
from benchtest.results import Outcome, Verdict
from benchtest.rig import Company, Virtual, open_rig
from tests.adapters.technician import by_hand


@pytest.fixture(scope="module")
def asked(bench: Any) -> Prepared:
    """The car-wash board as it is planned for a replay."""
    prepared: Prepared = bench.prepared("carwash", fixture="replay")
    return prepared


@pytest.fixture(scope="module")
def good(bench: Any, carwash: Prepared) -> Performed:
    """A good board on the embedded bench."""
    performed: Performed = bench.performed(carwash)
    return performed


def recalled(done: Performed, procedure: Procedure, *, ended: str = "") -> Recalled:
    """Return a performed run as it is recalled."""
    return Recalled(name="N-1", serial="A1", procedure=procedure, readings=done.readings, ended=ended)


def replay(asked: Prepared, run: Recalled, procedure: Procedure | None = None) -> Performed:
    """Put a recorded run through what is asked now."""
    procedure = procedure or replayed(asked.procedure, run.procedure)
    rig = open_rig(
        procedure,
        asked.fitted,
        fixture=asked.fixture.fixture,
        harness=asked.harness,
        ports={},
        virtual=Virtual(),
        company=Company(recalled=run),
    )
    with rig as opened:
        return perform(procedure, opened, Watcher())


def test_the_evidence_comes_back_bit_for_bit(asked: Prepared, carwash: Prepared, good: Performed) -> None:
    """Every array, scale, message and moment of every recording, and every reading, is the recorded one."""
    again = replay(asked, recalled(good, carwash.procedure)).readings.evidence

    assert list(good.readings.evidence) == list(again)
    for name, evidence in good.readings.evidence.items():
        other = again[name]
        if isinstance(evidence, Recorded) and isinstance(other, Recorded):
            assert evidence.recording.codes.dtype == other.recording.codes.dtype
            assert np.array_equal(evidence.recording.codes, other.recording.codes), name
            assert (evidence.recording.scale, evidence.messages) == (other.recording.scale, other.messages)
        else:
            assert evidence == other


@pytest.mark.parametrize("fault", ["", "K3 slow operate", "K2 contact never closes", "D6 lamp code wrong"])
def test_the_same_profile_gives_the_same_results_again(
    bench: Any, asked: Prepared, carwash: Prepared, fault: str
) -> None:
    """Values, uncertainties, verdicts and notes are those of the recorded run; the origin says 'replayed'."""
    done = bench.performed(carwash, *([fault] if fault else []))
    again = replay(asked, recalled(done, carwash.procedure))

    assert done.outcome is again.outcome
    assert [(r.value, r.uncertainty, r.verdict, r.note) for r in done.results] == [
        (r.value, r.uncertainty, r.verdict, r.note) for r in again.results
    ]
    assert {Origin.REPLAYED} == {result.origin for result in again.results}


def test_a_run_by_hand_is_replayed_too(bench: Any, asked: Prepared) -> None:
    """What a person typed and saw comes back, and what nobody could read stays not tested, for the same reason."""
    prepared: Prepared = bench.prepared("carwash", fixture="byhand")
    done = by_hand(prepared, "D3 lamp dark").done
    again = replay(asked, recalled(done, prepared.procedure))

    assert [(r.value, r.uncertainty, r.verdict, r.note) for r in done.results] == [
        (r.value, r.uncertainty, r.verdict, r.note) for r in again.results
    ]


def test_a_changed_limit_is_judged_on_what_was_recorded(asked: Prepared, carwash: Prepared, good: Performed) -> None:
    """A tighter limit fails what it would have failed, by that check alone."""
    tight = Interval(low=0.0, high=0.001)
    steps = tuple(
        replace(
            step,
            checks=tuple(
                replace(check, permitted=tight) if check.title == "K2 operate time" else check for check in step.checks
            ),
        )
        for step in asked.procedure.steps
    )
    procedure = replayed(replace(asked.procedure, steps=steps), carwash.procedure)
    again = replay(asked, recalled(good, carwash.procedure), procedure)

    assert ["K2 operate time"] == [r.check.title for r in again.results if r.verdict is not Verdict.PASS]


def test_what_the_recorded_run_did_not_look_at_is_named(asked: Prepared, carwash: Prepared) -> None:
    """A check and a step that are asked now and were not then are refused by name, all of them at once."""
    shorter = replace(
        carwash.procedure,
        steps=tuple(
            replace(step, checks=step.checks[1:]) if step.id == "exercise-K1" else step
            for step in carwash.procedure.steps
            if step.id != "exercise-K2"
        ),
    )
    with pytest.raises(PlanError) as refusal:
        replayed(asked.procedure, shorter)

    assert 2 == len(refusal.value.reasons)
    assert "'K1 open contact at first' was not looked at in the recorded run" in str(refusal.value)
    assert "(exercise-K2) is not in the recorded run" in str(refusal.value)


def test_a_run_of_another_board_is_refused(asked: Prepared, greenhouse: Prepared) -> None:
    """A greenhouse run says nothing about a car-wash board."""
    with pytest.raises(PlanError, match=r"of GZ-2140, two-bay, and this profile is for CW-0410"):
        replayed(asked.procedure, greenhouse.procedure)


def test_a_reading_at_another_place_of_the_board_is_refused(asked: Prepared, carwash: Prepared) -> None:
    """A contact that has moved to other terminals was not read there."""
    moved = tuple(
        replace(step, checks=tuple(replace(check, probe="X9.9-X9.8") for check in step.checks))
        if step.id == "exercise-K4"
        else step
        for step in asked.procedure.steps
    )
    with pytest.raises(PlanError, match=r"'K4 operate time' is asked at X9\.9-X9\.8, and was recorded at X3\.7-X3\.8"):
        replayed(replace(asked.procedure, steps=moved), carwash.procedure)


def test_a_stopped_run_is_replayed_to_where_it_ended(bench: Any, asked: Prepared, carwash: Prepared) -> None:
    """Stopped at K3: K1 and K2 have their results again, the rest is not tested, and the reason says where it ended."""

    def stop(step: Any, _at: float) -> None:
        if step.id == "exercise-K3":
            raise Aborted("stopped by the operator")

    done = bench.performed(carwash, watcher=Watcher(begins=stop))
    again = replay(asked, recalled(done, carwash.procedure, ended=done.reason))

    assert "the recorded run N-1 ends before 'exercise-K3' (stopped by the operator)" == again.reason
    assert Outcome.ABORTED is again.outcome
    assert [r.verdict for r in done.results] == [r.verdict for r in again.results]


def test_a_hole_in_the_middle_of_a_recorded_run_is_a_bench_fault(
    asked: Prepared, carwash: Prepared, good: Performed
) -> None:
    """Evidence that is missing among evidence that is there is named, and the board is not judged."""
    evidence = {name: seen for name, seen in good.readings.evidence.items() if name != "exercise-K2"}
    torn = replace(good, readings=replace(good.readings, evidence=evidence))
    again = replay(asked, recalled(torn, carwash.procedure))

    assert Outcome.BENCH_FAULT is again.outcome
    assert "the recorded run N-1 does not hold 'exercise-K2'" in again.reason


def test_nothing_can_be_energised_on_a_replay(carwash: Prepared, good: Performed) -> None:
    """A recorded run has no outputs: whoever would act on it is refused, and nothing is on."""
    opened = ReplayBench(recalled(good, carwash.procedure))
    acts = [
        lambda: opened.source(201, volts=24.0, amps=1.0),
        lambda: opened.set(101, 1.0),
        lambda: opened.measure(301),
        opened.fetch,
    ]
    for act in acts:
        with pytest.raises(AdapterRefused, match="there is no bench to"):
            act()

    assert frozenset() == opened.energised()


def test_what_is_replayed_is_no_more_real_than_it_was(carwash: Prepared, good: Performed) -> None:
    """A measured run becomes 'replayed'; a simulated one stays simulated."""
    run = recalled(good, carwash.procedure)
    measured = replace(run, readings=replace(run.readings, origin=Origin.MEASURED))

    assert (Origin.SIMULATED, Origin.REPLAYED) == (run.origin, measured.origin)
