"""What a case knows, and the rules beyond the table: second person, cost limit, straps, a failure that stays."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchtest.depot.case import followed, replayed
from benchtest.depot.entries import (
    BEGINNING,
    BeyondRepair,
    Entry,
    Erased,
    Fact,
    LimitSet,
    Released,
    Reopened,
    Repaired,
    Returned,
    Scrapped,
    Triaged,
    read_entry,
)
from benchtest.depot.states import State
from benchtest.errors import WrongMove
from benchtest.results import Outcome
from tests.depot.cases import AT, FOUND, LEFT, NEW_K3, begun, judged, then


def test_a_whole_stay() -> None:
    """From intake to return: what it cost, what was found, who was at it."""
    case = then(begun(), Triaged(), FOUND, NEW_K3, LEFT, (Released(), "Cy"), Returned())
    assert State.RETURNED is case.state
    assert (4000, 15, Outcome.FAIL, Outcome.PASS) == (case.cost, case.minutes, case.found, case.first_left)
    assert {"bo"} == case.workers
    assert not case.open
    assert not case.without_finding


def test_who_has_worked_on_it_does_not_release_it() -> None:
    """The same name in other letters and blanks is the same person; who is alone says why, and it is kept."""
    case = then(begun(), Triaged(), FOUND, NEW_K3, LEFT)
    for name in ("Bo", " bo", "BO "):
        with pytest.raises(WrongMove, match="second person releases"):
            then(case, (Released(), name))
    assert State.RELEASED is then(case, (Released(alone="alone in the van"), "Bo")).state
    assert State.RELEASED is then(case, (Released(), "Cy")).state


def test_a_failure_as_found_stays() -> None:
    """A later run that passes does not make it a board without a finding; a later failure makes it one with."""
    once = then(begun(), Triaged(), FOUND, judged("as found"))
    assert (State.NOT_IN_ORDER, Outcome.FAIL) == (once.state, once.found)
    later = then(begun(), Triaged(), judged("as found"), FOUND)
    assert (State.NOT_IN_ORDER, Outcome.FAIL) == (later.state, later.found)
    nothing = then(begun(), Triaged(), judged("as found"), (Released(), "Cy"), Returned())
    assert nothing.without_finding


def test_a_repair_that_did_not_help_is_repaired_again() -> None:
    """A failing run as left goes back to repair; the first run as left is remembered for the yield."""
    case = then(begun(), Triaged(), FOUND, NEW_K3, judged("as left", Outcome.FAIL))
    assert State.IN_REPAIR is case.state
    case = then(case, NEW_K3, LEFT)
    assert (Outcome.FAIL, Outcome.PASS, State.AS_LEFT) == (case.first_left, case.left, case.state)


def test_a_repair_over_the_limit_holds_the_case_until_the_customer_agrees() -> None:
    """Work done is never left out; nothing more is done until the limit is raised or the board given up."""
    case = then(begun(cost_limit=5000), Triaged(), FOUND, NEW_K3)
    assert State.IN_REPAIR is case.state
    held = then(case, NEW_K3)
    assert (State.HELD, 8000) == (held.state, held.cost)
    with pytest.raises(WrongMove, match=r"no as-left run now\n.*\n.*depot limit W"):
        then(held, LEFT)
    with pytest.raises(WrongMove, match=r"80\.00 has been spent already, more than 79\.99"):
        then(held, LimitSet(limit=7999, reference="letter 4"))
    assert State.AS_LEFT is then(held, LimitSet(limit=9000, reference="letter 4"), LEFT).state
    assert State.SCRAPPED is then(held, BeyondRepair(reason="too dear"), Scrapped(reference="letter 5")).state


def test_an_estimate_over_the_limit_stops_before_anything_is_done() -> None:
    """The limit is raised first, or the board given up."""
    case = begun(cost_limit=5000)
    with pytest.raises(WrongMove, match=r"estimate 60\.00 is over its cost limit 50\.00"):
        then(case, Triaged(estimate=6000))
    assert State.TO_TEST is then(case, LimitSet(limit=6000, reference="order 7"), Triaged(estimate=6000)).state


def test_straps_that_were_found_are_stated_as_left() -> None:
    """Restoring the customer's settings is forgotten easily: a release without a word on them is refused."""
    case = then(begun(straps="X10 1-2"), Triaged(), FOUND, NEW_K3, LEFT)
    with pytest.raises(WrongMove, match=r"straps as left are not stated \(as found: X10 1-2"):
        then(case, (Released(), "Cy"))
    assert State.RELEASED is then(case, (Released(straps="X10 1-2"), "Cy")).state


def test_a_release_is_taken_back_until_the_board_has_gone() -> None:
    """It is tested as left again; once returned, there is a new intake instead."""
    case = then(begun(), Triaged(), FOUND, NEW_K3, LEFT, (Released(), "Cy"))
    assert State.AS_LEFT is then(case, Reopened(reason="wrong label"), LEFT).state
    with pytest.raises(WrongMove, match="new intake"):
        then(case, Returned(), Reopened(reason="wrong label"))


def test_nothing_is_erased_while_the_board_is_here() -> None:
    """Whose it is must be known until it has left."""
    case = then(begun(), Triaged())
    with pytest.raises(WrongMove, match="still needed"):
        then(case, Erased(fields=("customer",), reason="asked"))


def test_a_clock_that_was_set_back_is_noticed() -> None:
    """The entry is kept as it is dated, and the times of the case are not counted."""
    case = begun()
    late = Entry(work_order="W", number=2, at="2026-03-01T09:00:00+00:00", by="Ann", fact=Triaged(), previous=case.head)
    assert not case.clock_back
    assert followed(case, late).clock_back


def test_a_run_that_judged_nothing_is_no_entry() -> None:
    """A bench fault or an abort says nothing of the board."""
    for outcome in (Outcome.BENCH_FAULT, Outcome.ABORTED):
        with pytest.raises(ValueError, match="judged no board"):
            judged("as found", outcome)


TEXT = st.text(max_size=20)
FACTS: st.SearchStrategy[Fact] = st.one_of(
    st.builds(Triaged, note=TEXT, warranty=st.booleans(), estimate=st.none() | st.integers(0, 99999)),
    st.builds(judged, st.sampled_from(["as found", "as left"]), st.sampled_from([Outcome.PASS, Outcome.FAIL])),
    st.builds(Repaired, what=TEXT, part=TEXT, cost=st.integers(0, 9999), minutes=st.integers(0, 99)),
    st.builds(LimitSet, limit=st.integers(0, 99999), reference=TEXT),
    st.builds(Released, straps=TEXT),
    st.builds(Returned, note=TEXT),
    st.builds(BeyondRepair, reason=TEXT),
    st.builds(Scrapped, reference=TEXT),
    st.builds(Reopened, reason=TEXT),
    st.builds(Erased, fields=st.just(("customer",)), reason=TEXT),
)


@settings(max_examples=40)
@given(st.lists(st.tuples(FACTS, st.sampled_from(["Ann", "Bo", "Cy"])), max_size=12))
def test_whatever_is_tried_a_case_can_be_told_again_from_its_lines(said: list[tuple[Fact, str]]) -> None:
    """Refused or not, in any order: the lines that were taken tell the same case, byte for byte."""
    case = begun(cost_limit=9000)
    for one in said:
        try:
            case = then(case, one)
        except WrongMove:
            continue
    lines = [entry.line() for entry in case.entries]
    again = replayed(read_entry(line) for line in lines)
    assert case == again
    assert lines == [entry.line() for entry in again.entries]


def test_lines_that_cannot_follow_one_another_are_no_case() -> None:
    """A release straight after an intake was never entered by this program."""
    case = begun()
    entry = Entry(work_order="W", number=2, at=AT.isoformat(), by="Cy", fact=Released(), previous=case.head)
    with pytest.raises(ValueError, match="entry 2: work order W is received"):
        replayed([*case.entries, entry])
    with pytest.raises(ValueError, match="begins with an intake"):
        replayed([replace(entry, number=1, previous=BEGINNING)])
