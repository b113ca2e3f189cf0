"""The table of states and moves: what can be reached, what is refused with which words, and the picture of it."""

import re
from pathlib import Path

import pytest

from benchtest.depot.states import HOW, MOVES, OVER, Move, State, after, picture, ways_on
from benchtest.errors import WrongMove

PAGE = Path(__file__).parents[2] / "docs/depot.md"


def test_every_state_is_reached_and_every_move_is_made_somewhere() -> None:
    """Nothing stands in the lists that the table does not use."""
    assert set(State) == {State.RECEIVED, *MOVES.values()}
    assert set(Move) == {move for _, move in MOVES} == set(HOW)


def test_every_state_leads_out_of_the_depot() -> None:
    """From everywhere there is a way to the end; at the end there is none any further."""
    leads = set(OVER)
    while more := {state for (state, _), follows in MOVES.items() if follows in leads} - leads:
        leads |= more
    assert set(State) == leads
    assert not {state for state, _ in MOVES} & OVER


def test_nothing_is_repaired_before_it_was_tested_as_found() -> None:
    """The moves of a repair begin only where an as-found run, or an earlier repair, has led."""
    tested = {follows for (_, move), follows in MOVES.items() if move in {Move.FOUND_PASS, Move.FOUND_OTHER}}
    repairs = {state for state, move in MOVES if move in {Move.REPAIR, Move.REPAIR_OVER}}
    assert repairs == tested | {State.IN_REPAIR, State.AS_LEFT}


def test_nothing_is_released_before_its_last_run_passed() -> None:
    """A release begins after a run as left that passed, or where nothing was found and nothing done."""
    assert {State.IN_ORDER, State.AS_LEFT} == {state for state, move in MOVES if move is Move.RELEASE}
    into = {move for (state, move), follows in MOVES.items() if follows is State.AS_LEFT is not state}
    assert {Move.LEFT_PASS} == into


@pytest.mark.parametrize("state", State)
@pytest.mark.parametrize("move", Move)
def test_a_move_is_in_the_table_or_refused_with_the_right_ones(state: State, move: Move) -> None:
    """A refusal names the state, the move and every command that is right there."""
    if (state, move) in MOVES:
        assert MOVES[state, move] is after(state, move, order="W-1")
        return
    with pytest.raises(WrongMove) as refusal:
        after(state, move, order="W-1")
    assert str(refusal.value).startswith(f"work order W-1 is {state}: no ")
    for command in ways_on(state, order="W-1").values():
        assert command in str(refusal.value)
    assert ("new intake" in str(refusal.value)) is (state in OVER)


def test_a_refusal_reads_as_a_sentence() -> None:
    """A board that has not been released is not 'no reopened'."""
    with pytest.raises(WrongMove, match=r"^work order W-1 is received: no reopening now\n"):
        after(State.RECEIVED, Move.REOPEN, order="W-1")


def test_the_picture_in_the_documentation_is_the_table() -> None:
    """Whoever changes the table makes the picture again: python -c 'from benchtest.depot.states import picture; …'."""
    found = re.search(r"```mermaid\n(.*?)\n```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    assert found is not None
    assert found[1] == "\n".join(picture())
