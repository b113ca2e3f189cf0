"""A bench that is not in order says so before a board has power, and never blames the board."""

from dataclasses import replace

import pytest

from benchtest.faults.defects import OF
from benchtest.fixture import Fixture, Harness
from benchtest.plan import plan_self_check
from benchtest.procedure import Cause, Check, Delay, Interval, RoundTrip, Timing
from benchtest.readings import Origin
from benchtest.results import Outcome, Result, Verdict
from benchtest.self_check import as_measured
from tests.self_check.bench_at_work import Told, alone, judged
from tests.self_check.conftest import Short

CHANNEL = {"drive": 103, "light": 503, "sense": 301, "clock": 0}
CAUGHT_BY = {
    "drive stays open": "drive 103 closes",
    "drive stays closed": "drive 103",
    "light blind": "lamp D3 lit by the test light",
    "light dazzled": "lamp D3 dark",
    "sense reads low": "supply 201 at its terminals",
    "clock fast": "clock deviation",
}
"""Everything that can be wrong with a bench, and in which reading it shows; a slow drive is counted in instead."""
WRONG = [(part, wrong) for part, wrongs in OF.items() for wrong in wrongs if wrong != "slow"]


def written(part: str, wrong: str) -> str:
    """Return a defect as it is given on the command line."""
    return " ".join(filter(None, [part, str(CHANNEL[part] or ""), wrong]))


def test_a_bench_in_order_is_fit_and_a_good_board_passes(short: Short) -> None:
    """First the bench with all of its steps, then the board; the times are those of the fixture."""
    told = Told()
    prepared = short.prepared()
    done = judged(prepared, told=told)
    whose = [words.split()[0] for words in told.words]

    assert done.bench is not None
    assert (Outcome.PASS, Outcome.PASS) == (done.bench.outcome, done.performed.outcome)
    assert ["bench", "board", "checked:"] == sorted(set(whose))
    assert whose.index("checked:") == whose.count("bench")
    assert whose[-1] == "board"
    assert prepared.procedure.timing == done.bench.timing


@pytest.mark.parametrize(("part", "wrong"), WRONG)
def test_whatever_is_wrong_with_a_bench_shows_without_a_board(short: Short, part: str, wrong: str) -> None:
    """Each in the reading that is meant for it."""
    bench = alone(short.prepared(), written(part, wrong))
    failed = [result.check.title for result in bench.results if result.verdict is not Verdict.PASS]

    assert Outcome.BENCH_FAULT is bench.outcome
    assert bench.reason.startswith("self-check of the bench: ")
    assert any(CAUGHT_BY[f"{part} {wrong}"] in title for title in failed)


@pytest.mark.parametrize(("part", "wrong"), [one for one in WRONG if one[0] != "sense"])
def test_a_bench_that_is_not_fit_judges_no_board(short: Short, part: str, wrong: str) -> None:
    """Neither pass nor fail: a bench fault, nothing of the board tested, and everything off."""
    told = Told()
    done = judged(short.prepared(), written(part, wrong), told=told)

    assert Outcome.BENCH_FAULT is done.performed.outcome
    assert {Verdict.NOT_TESTED} == {result.verdict for result in done.performed.results}
    assert not [words for words in told.words if words.startswith("board")]
    assert (True, True) == (done.performed.safe.reached, done.performed.safe.verified)


def test_a_drive_that_drags_is_in_every_later_uncertainty(short: Short) -> None:
    """25 ms late is within what a plan gives a drive: the bench is fit, and knows no order better than that."""
    prepared = short.prepared()
    good, slow = (
        {one.check.id: one for one in judged(prepared, *defects).performed.results}
        for defects in ((), ("drive 101 slow",))
    )
    bench = judged(prepared, "drive 101 slow").bench
    times = [name for name in good if name.endswith("operate-time")]

    assert bench is not None
    assert Outcome.PASS is bench.outcome
    assert bench.timing.latency == pytest.approx(0.025, abs=0.001)
    assert prepared.procedure.timing.latency == 0.0
    assert 4 == len(times)
    assert all((good[name].uncertainty or 1.0) < 100e-6 for name in times)  # this board has no coil to count from
    assert all((slow[name].uncertainty or 0.0) > bench.timing.latency for name in times)


TIMING = Timing(clock=50e-6, stamp=20e-6, link_stamp=2e-3, latency=0.0)


def result(measurand: RoundTrip | Delay, value: float, uncertainty: float) -> Result:
    """Return what was measured of a bench."""
    permitted = Interval(low=None, high=0.2)
    check = Check(id="b", subject="io", title="b", measurand=measurand, unit="s", permitted=permitted, probe="")
    return Result(
        check=check,
        value=value,
        uncertainty=uncertainty,
        coverage=2.0,
        verdict=Verdict.PASS,
        note="",
        origin=Origin.SIMULATED,
    )


@pytest.mark.parametrize(
    ("measured", "expected"),
    [
        pytest.param(0.009, replace(TIMING, link_stamp=0.009), id="longer than stated"),
        pytest.param(0.001, TIMING, id="as stated"),
    ],
)
def test_answers_that_take_longer_than_stated_widen_the_moments_on_the_link(
    short: Short, measured: float, expected: Timing
) -> None:
    """The statement of the fixture is refuted; a bench that is better than stated is not believed."""
    prepared = short.prepared()
    trip = result(RoundTrip(evidence="e", adapter="io", share=0.95), measured, 0.0)

    assert expected == as_measured(TIMING, [trip], prepared.fixture.fixture, prepared.harness)


def test_a_drive_that_follows_within_the_doubt_refutes_nothing(short: Short) -> None:
    """40 µs ± 66 µs is no lateness."""
    prepared = short.prepared()
    loop = result(Delay(evidence="e", channel=151, state="high", since=Cause(at=0.1, order="bench")), 40e-6, 66e-6)

    assert TIMING == as_measured(TIMING, [loop], prepared.fixture.fixture, prepared.harness)


def test_what_was_not_looked_at_is_told_by_name(short: Short) -> None:
    """Without wires of its own, a bench with a board looks only at rest, answers and clock."""
    prepared = short.prepared(
        ("  drives: {101: 151, 102: 152, 103: 153, 104: 154, 105: 155, 106: 156}\n", ""),
        ("  test_light: 195\n", ""),
        ("with_board: [drives, test light]", "level: 24 V"),
    )
    bench = prepared.self_check

    assert bench is not None
    assert ["bench-rest", "bench-answers", "bench-clocks"] == [step.id for step in bench.procedure.steps]
    assert ["drives", "supplies", "test light"] == [text.partition(":")[0] for text in bench.left_out]


def test_wires_that_may_disturb_a_board_wait_for_a_bench_without_one(short: Short) -> None:
    """The fixture says what leaves a board alone; the rest says when it is done."""
    prepared = short.prepared(("with_board: [drives, test light]", "with_board: [drives]"))
    bench = prepared.self_check

    assert bench is not None
    assert "bench-drives" in {step.id for step in bench.procedure.steps}
    assert "bench-light" not in {step.id for step in bench.procedure.steps}
    assert any(text.startswith("test light: not done while a board is connected") for text in bench.left_out)


def test_the_light_that_tests_sensors_and_the_drives_are_off_afterwards(short: Short) -> None:
    """They belong to the loads that go off first, and are read back like all others."""
    prepared = short.prepared()
    bench = prepared.self_check

    assert bench is not None
    assert {101, 102, 103, 104, 105, 106, 195} == set(bench.procedure.loads)
    assert Outcome.PASS is judged(prepared).performed.outcome


def test_where_a_person_is_the_bench_nothing_checks_itself(bench_by_hand: tuple[Fixture, Harness]) -> None:
    """They answer for themselves."""
    fixture, harness = bench_by_hand

    assert plan_self_check(fixture, harness, link=None, board=True) is None
