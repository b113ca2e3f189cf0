"""A person with a meter at a virtual board: the verdicts are those of any bench."""

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchtest.cli.documents import Prepared
from benchtest.clock import VirtualClock
from benchtest.errors import Paused
from benchtest.perform import Kept, Watcher
from benchtest.plan import plan
from benchtest.procedure import Measure
from benchtest.readings import Evidence, Origin, Skipped, Told
from benchtest.results import Outcome, Verdict
from tests.adapters.technician import by_hand, worked_by


@pytest.fixture(scope="module")
def carwash_by_hand(bench: Any) -> Prepared:
    """The car-wash board for a person with a meter."""
    prepared: Prepared = bench.prepared("carwash", fixture="byhand")
    return prepared


@pytest.fixture(scope="module")
def greenhouse_by_hand(bench: Any) -> dict[str, Prepared]:
    """The greenhouse board for a person with a meter, without and with the bench on its link."""
    about = {"variant": "two-bay", "options": ("dosing",)}
    return {fixture: bench.prepared("greenhouse", **about, fixture=fixture) for fixture in ("byhand", "byhand-link")}


def verdicts(done: Any) -> dict[str, str]:
    """Return the verdict of every check that was decided."""
    return {r.check.id: r.verdict.value for r in done.results if r.verdict is not Verdict.NOT_TESTED}


@pytest.mark.parametrize(
    "fault",
    [
        "",
        "K3 contact welded",
        "K2 contact never closes",
        "K1 coil open",
        "K1 contact resistance high",
        "K4 driver shorted",
        "D3 lamp dark",
        "D6 lamp code wrong",
        "main shorted",
        "X4 jumper plug missing",
        "brush only with the gate shut ignored",
        "gate_shut input stuck",
    ],
)
def test_a_person_decides_as_a_recording_bench_does_wherever_a_meter_can(
    bench: Any, carwash: Prepared, carwash_by_hand: Prepared, fault: str
) -> None:
    """Every check that is decided by hand has the verdict that the embedded bench gives the same board."""
    faults = [fault] if fault else []
    recorded = verdicts(bench.performed(carwash, *faults))
    found = verdicts(by_hand(carwash_by_hand, *faults).done)

    assert found
    assert {name: recorded.get(name) for name in found} == found
    assert ("fail" in recorded.values()) == ("fail" in found.values())


@pytest.mark.parametrize(
    ("fixture", "fault", "decided"),
    [
        ("byhand", "", 50),
        ("byhand", "D20 lamp dark", 20),
        ("byhand", "D22 lamp code wrong", 50),
        ("byhand-link", "", 270),
        ("byhand-link", "pump only with a valve open ignored", 250),
    ],
)
def test_the_greenhouse_board_by_hand_decides_as_a_recording_bench_does(
    bench: Any, greenhouse: Prepared, greenhouse_by_hand: dict[str, Prepared], fixture: str, fault: str, decided: int
) -> None:
    """With nobody on the link a part of it, with the bench on the link nearly all, and never another verdict."""
    faults = [fault] if fault else []
    recorded = verdicts(bench.performed(greenhouse, *faults))
    found = verdicts(by_hand(greenhouse_by_hand[fixture], *faults).done)

    assert decided <= len(found)
    assert {name: recorded.get(name) for name in found} == found
    assert bool(fault) == ("fail" in found.values())


def test_contacts_read_with_an_ohmmeter_decide_what_it_can_resolve(bench: Any) -> None:
    """A two-wire meter of ±0.2 Ω tells open from closed, and leaves 200 mΩ undecided rather than passed."""
    prepared: Prepared = bench.prepared("carwash", fixture="byhand")
    fixture = prepared.fixture.fixture
    ohms = fixture.adapters["io"].model_copy(update={"contacts": "ohms"})
    leads = fixture.accuracy.ohms.model_copy(update={"plus": 0.2})
    accuracy = fixture.accuracy.model_copy(update={"ohms": leads})
    fixture = fixture.model_copy(update={"adapters": {"io": ohms}, "accuracy": accuracy})
    procedure = plan(prepared.fitted, database=None, fixture=fixture, harness=prepared.harness)
    prepared = replace(prepared, procedure=procedure)
    done = by_hand(prepared).done
    found = {r.check.title: r.verdict for r in done.results}

    assert Verdict.PASS is found["K1 open contact at first"]
    assert Verdict.CONDITIONAL_PASS is found["K1 contact resistance"]
    assert Outcome.FAIL is by_hand(prepared, "K1 contact never closes").done.outcome


def test_readings_by_hand_say_so_and_carry_the_meter_s_uncertainty(carwash_by_hand: Prepared) -> None:
    """Origin 'entered by hand'; U of 24 V on a meter of 0.1 % + 5 mV + 1 mV steps is 2·√(29²/3 + 1²/12) mV."""
    done = by_hand(carwash_by_hand).done
    volts = next(result for result in done.results if result.check.title == "main voltage at the board")

    assert {Origin.BY_HAND} == {result.origin for result in done.results}
    assert volts.uncertainty == pytest.approx(2 * math.sqrt(0.029**2 / 3 + 0.001**2 / 12), rel=0.02)  # GUM 4.3.7, F.2.2


def test_cautions_come_first_and_are_acknowledged_by_name(carwash_by_hand: Prepared) -> None:
    """Before the first request stand the cautions, a name, and everything off."""
    technician = by_hand(carwash_by_hand).technician

    assert "Extra-low voltage only" in " ".join(technician.told)
    assert "I have read this. Your name:" == technician.heard[0]
    assert "Switch every supply off" in technician.heard[1]


def test_a_no_to_everything_off_is_no_beginning(carwash_by_hand: Prepared) -> None:
    """Who types that it is not so is asked again: the first readings are of a board without power."""
    technician = by_hand(carwash_by_hand, asides={"Switch every supply off": ["n", "not yet"]}).technician

    assert 3 == sum("Switch every supply off" in text for text in technician.heard)
    assert 2 == sum("expected Enter alone when it is done" in text for text in technician.told)


def test_on_the_way_out_the_loads_are_named_first_and_the_supply_last(carwash_by_hand: Prepared) -> None:
    """Paused with the gate contact closed, water demanded and 24 V on: one request, the supply at its end."""
    worked = by_hand(carwash_by_hand, asides={"make contact of K1": ["11.99", "p"]})
    listed = [text.strip() for text in worked.technician.told if text.startswith("    - ")]

    assert "paused by the person at the bench" == worked.done.reason
    assert (True, True) == (worked.done.safe.reached, worked.done.safe.verified)
    assert "Switch off the supply" in listed[-1]
    assert any("Take the 24\u00a0V off X2.1" in text for text in listed[:-1])
    assert not worked.technician.scene.energised()


def test_what_the_person_cannot_confirm_is_not_claimed(carwash_by_hand: Prepared) -> None:
    """'n' at every request to switch off: the run says what may still be on."""
    worked = by_hand(carwash_by_hand, asides={"make contact of K1": ["p"], "Enter when it is off": ["n", "n"]})

    assert (False, False) == (worked.done.safe.reached, worked.done.safe.verified)
    assert "nobody confirmed that everything is off: X2.5-X2.6, X1.1-X1.2" == worked.done.safe.note


# ---------------------------------------------------------------- second thoughts


def seen_by(done: list[tuple[str, Evidence]]) -> Watcher:
    """Return a watcher that writes down what is seen."""
    return Watcher(seen=lambda name, evidence: done.append((name, evidence)))


def test_going_back_reads_the_request_before_again_and_keeps_both(carwash_by_hand: Prepared) -> None:
    """A slip in the first reading of K1, noticed at the second: both stay, the later counts, the earlier is shown."""
    seen: list[tuple[str, Evidence]] = []
    asides = {"Volts across X3.1 and X3.2": ["5 m"], "Is lamp D1 (green, coil of K1)": ["0", "b"]}
    worked = by_hand(carwash_by_hand, asides=asides, watcher=seen_by(seen))
    twice = [evidence.value for name, evidence in seen if name == "exercise-K1-0 contact X3.1-X3.2"]  # type: ignore[union-attr]

    assert "fail" not in verdicts(worked.done).values()
    assert [0.005, pytest.approx(12, abs=0.1)] == twice
    assert "  Your answer was: 5 mV" in worked.technician.told


def test_going_back_over_the_end_of_a_step_judges_that_step_again(carwash_by_hand: Prepared) -> None:
    """The last lamp of one step was a slip, noticed at the first request of the next."""
    judged: list[str] = []
    watcher = Watcher(
        judged=lambda _step, results, _at: judged.extend(r.verdict for r in results if "D4" in r.check.id)
    )
    asides = {"Is lamp D4 (green": ["1"], "Volts across X3.1 and X3.2": ["b"]}
    worked = by_hand(carwash_by_hand, asides=asides, watcher=watcher)

    assert ["fail", "pass"] == judged[:2]
    assert "fail" not in verdicts(worked.done).values()


def test_nobody_goes_back_further_than_one_request(carwash_by_hand: Prepared) -> None:
    """Further back the board was in another state; that is said, and the request stands."""
    asides = {"Is lamp D1 (green, coil of K1)": ["0", "b"], "Volts across X3.1 and X3.2": ["12", "b", "11.99"]}
    worked = by_hand(carwash_by_hand, asides=asides)

    assert any("No further back" in text for text in worked.technician.told)
    assert "fail" not in verdicts(worked.done).values()


def test_a_slip_that_would_end_the_run_can_be_taken_back(carwash_by_hand: Prepared) -> None:
    """At a gate the run ends; before it does, the last reading may be a slip."""
    asides = {"Ohms between X1.1 and X1.2": ["12"], "failed, and the run ends here": ["b"]}
    worked = by_hand(carwash_by_hand, asides=asides)

    assert Outcome.INCONCLUSIVE is worked.done.outcome
    assert "fail" not in verdicts(worked.done).values()


def test_what_is_skipped_is_not_tested_with_its_reason(carwash_by_hand: Prepared) -> None:
    """A skipped lamp is that alone; a skipped order takes what was to be seen after it along, and no more."""
    asides = {
        "Is lamp D2 (green, coil of K2)": ["s"],
        "Put 24 V on X2.3": ["s"],
        "Why is it skipped?": ["cover in the way", "lead is missing"],
    }
    worked = by_hand(carwash_by_hand, asides=asides)
    notes = {r.check.id: r.note for r in worked.done.results if r.note.startswith("skipped")}

    assert "skipped: cover in the way" == notes.pop("lamps-3.D2.at-rest")
    assert {"skipped: lead is missing"} == set(notes.values())
    assert {"K3"} == {name.split(".")[1] for name in notes}
    assert "exercise.K3.open-contact-at-first" not in notes
    assert 1 == sum("Take the 24 V off X2.3" in text for text in worked.technician.heard)  # of the interlock's step


@pytest.mark.parametrize(
    "where",
    ["current limit 100 mA, then 6 V", "in current limit", "that the supply at", "Switch off the supply at X1.1"],
)
def test_a_supply_is_not_skipped(carwash_by_hand: Prepared, where: str) -> None:
    """Nothing that follows means anything without it, on or off: skip is refused there, and the person is told.

    Nor is the look at its current limit, without which a short would be fed from stage to stage.
    """
    worked = by_hand(carwash_by_hand, asides={where: ["s"], "Why is it skipped?": ["in a hurry"]})

    assert any("This cannot be skipped" in text for text in worked.technician.told)
    assert Outcome.INCONCLUSIVE is worked.done.outcome


def test_what_cannot_be_confirmed_off_is_a_fault_of_the_bench(carwash_by_hand: Prepared) -> None:
    """At the last step a slip of the finger is told; a no, again and again, is no failure of the board, and a caution.

    The cautions are those of the trade: what is not confirmed is cut in hardware before anybody touches the board.
    """
    worked = by_hand(carwash_by_hand, asides={"Enter when it is off": ["p", *["n"] * 20]})

    assert (Outcome.BENCH_FAULT, False) == (worked.done.outcome, worked.done.safe.verified)
    assert "bench channels left on failed (2)" == worked.done.reason
    assert any("or n when that cannot be confirmed, got 'p'" in text for text in worked.technician.told)
    assert any("Cut the supply in hardware before you touch the board" in text for text in worked.technician.told)


def test_who_cannot_confirm_is_asked_once_more_and_not_again(carwash_by_hand: Prepared) -> None:
    """After the supply was cut in hardware there is something to confirm; a second no is the last word of this run."""
    first = by_hand(carwash_by_hand, asides={"make contact of K1": ["p"], "Enter when it is off": ["n"] * 20})
    then = by_hand(carwash_by_hand, asides={"make contact of K1": ["p"], "Enter when it is off": ["n", ""]})
    asked = [sum("Enter when it is off" in text for text in one.technician.heard) for one in (first, then)]

    assert [2, 2] == asked
    assert [False, True] == [one.done.safe.verified for one in (first, then)]


def test_current_limit_at_power_up_means_stop(carwash_by_hand: Prepared) -> None:
    """A supply said to be limiting is switched off at once, the gate fails, and nothing more is asked."""
    worked = by_hand(carwash_by_hand, asides={"in current limit": ["y"]})
    heard = worked.technician.heard

    assert Outcome.FAIL is worked.done.outcome
    assert "Enter when it is off" in heard[heard.index(next(t for t in heard if "in current limit" in t)) + 1]
    assert not any("12 V" in text for text in heard)


def test_a_gate_that_fails_on_second_thoughts_energises_nothing(carwash_by_hand: Prepared) -> None:
    """The short is noticed at the first request of the power-up: back, the true reading, and the run ends there."""
    asides = {"Ohms between X1.1 and X1.2": ["1.2k", "0.3"], "Close the contact between X2.5": ["b"]}
    worked = by_hand(carwash_by_hand, asides=asides)

    assert (Outcome.FAIL, "main not shorted failed (300 ± 120 mΩ)") == (worked.done.outcome, worked.done.reason)
    assert not any("current limit" in text for text in worked.technician.heard)


def test_a_supply_that_limits_when_it_comes_back_stops_the_run(carwash_by_hand: Prepared) -> None:
    """At its return after a loss the supply limits: off, and what would follow is not blamed on the board."""
    worked = by_hand(carwash_by_hand, asides={"in current limit": ["n", "n", "n", "y"]})

    assert Outcome.ABORTED is worked.done.outcome
    assert "over-current: the supply at X1.1-X1.2 went into current limit" == worked.done.reason
    assert "fail" not in verdicts(worked.done).values()


def test_current_limit_on_second_thoughts_means_stop_too(carwash_by_hand: Prepared) -> None:
    """'n' was a slip: back at the next stage, 'y', and the voltage goes no higher."""
    worked = by_hand(carwash_by_hand, asides={"current limit 100 mA, then 12 V": ["b"], "in current limit": ["n", "y"]})

    assert Outcome.ABORTED is worked.done.outcome
    assert not worked.technician.scene.energised()
    assert 1 == sum("then 12 V" in text for text in worked.technician.heard)


@pytest.mark.parametrize(
    ("where", "typed", "believed"),
    [
        ("Amps of the supply", ["22", "22 m"], "Understood 22 A"),
        ("Volts across X3.1 and X3.2", ["5", "12"], "neither closed"),
        ("Volts that the supply at", ["2.4", "6"], "the supply was set to 6 V"),
        ("Ohms between X1.1 and X1.2", ["-12", "1200"], "not below zero"),
    ],
)
def test_what_can_hardly_be_is_asked_once_more(
    carwash_by_hand: Prepared, where: str, typed: list[str], believed: str
) -> None:
    """A slip of unit or point is told with how it was understood, and typed again."""
    worked = by_hand(carwash_by_hand, asides={where: typed})

    assert any(believed in text for text in worked.technician.told)
    assert "fail" not in verdicts(worked.done).values()


def test_what_can_hardly_be_is_believed_when_it_is_typed_again(carwash_by_hand: Prepared) -> None:
    """The person has looked twice: the reading stands, and it fails."""
    worked = by_hand(carwash_by_hand, asides={"Amps of the supply": ["22", "22"], "the run ends here": [""]})

    assert {"rest.main.idle-current": "fail"}.items() <= verdicts(worked.done).items()


def test_a_code_that_is_never_read_the_same_is_irregular(carwash_by_hand: Prepared) -> None:
    """Four readings, no two alike in a pair: the lamp gives no code, and it fails."""
    worked = by_hand(carwash_by_hand, asides={"lamp D6": ["1", "2", "1", "3"]})
    result = next(result for result in worked.done.results if result.check.subject == "D6")

    assert ("irregular", Verdict.FAIL) == (result.value, result.verdict)


def test_a_step_kept_from_before_a_pause_is_not_asked_again(carwash_by_hand: Prepared) -> None:
    """Its evidence is judged as it was, with the time in the note; the board is brought up anew."""
    seen: list[tuple[str, Evidence]] = []
    by_hand(carwash_by_hand, watcher=seen_by(seen))
    found = dict(seen)
    kept = {
        step.id: Kept(
            evidence={move.name: found[move.name] for move in step.moves if getattr(move, "name", "") in found},  # type: ignore[union-attr]
            when="2026-11-25T19:20:00+00:00",
        )
        for step in carwash_by_hand.procedure.steps
        if step.id.startswith(("unpowered", "lamps", "exercise"))
    }
    worked = by_hand(carwash_by_hand, kept=kept)
    lamp = next(result for result in worked.done.results if result.check.id == "lamps-3.D4.at-rest")

    assert not any("make contact of K1" in text for text in worked.technician.heard[:25])
    assert any("current limit 100 mA" in text for text in worked.technician.heard)
    assert (Verdict.PASS, "kept from before the pause, 2026-11-25T19:20:00+00:00") == (lamp.verdict, lamp.note)
    assert Outcome.INCONCLUSIVE is worked.done.outcome


def test_every_reading_that_is_planned_is_asked_for_once(carwash_by_hand: Prepared) -> None:
    """What a good board's person sees is one value for every reading of the procedure, told once."""
    seen: list[tuple[str, Evidence]] = []
    by_hand(carwash_by_hand, watcher=seen_by(seen))
    asked = [move.name for step in carwash_by_hand.procedure.steps for move in step.moves if isinstance(move, Measure)]
    names = [name for name, _ in seen]

    assert len(names) == len(set(names))
    assert set(asked) <= set(names)
    assert not [evidence for _, evidence in seen if isinstance(evidence, Skipped)]
    assert any(isinstance(evidence, Told) for _, evidence in seen)


class Anybody:
    """Types what is at hand until there is no more, and then is gone."""

    def __init__(self, typed: list[str]) -> None:
        self.typed = typed
        self.told: list[str] = []

    def tell(self, text: str) -> None:
        """Listen."""
        self.told.append(text)

    def ask(self, prompt: str) -> str:
        """Type the next thing."""
        del prompt
        if not self.typed:
            raise Paused("gone")
        return self.typed.pop(0)


AT_HAND = [
    "",
    "b",
    "s",
    "why not",
    "y",
    "n",
    "1",
    "0",
    "2",
    "12",
    "24",
    "6",
    "6 m",
    "22 mA",
    "1k",
    "OL",
    "?",
    "-1",
    "x",
]


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(typed=st.lists(st.sampled_from([*AT_HAND, "", "", "n", "n"]), max_size=150), end=st.sampled_from(["", "p"]))
def test_whatever_anybody_answers_the_run_ends_in_order(carwash_by_hand: Prepared, typed: list[str], end: str) -> None:
    """Every check has one result, nothing was raised, and safety is claimed only where somebody confirmed it."""
    anybody = Anybody(["A. Tester", "", *typed, *([end] if end else [])])
    done = worked_by(anybody, carwash_by_hand, clock=VirtualClock())
    planned = [check.id for step in carwash_by_hand.procedure.steps for check in step.checks]

    assert sorted(planned) == sorted(result.check.id for result in done.results)
    assert done.safe.verified == ("nobody confirmed" not in done.safe.note)
    assert done.outcome is not Outcome.PASS
    assert done.outcome is not Outcome.BENCH_FAULT
