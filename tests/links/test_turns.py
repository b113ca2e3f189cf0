"""Whose turn it is on a line where one is asked and answers, by moments that are told."""

import pytest

from benchtest.messages import Layout, SerialFormat, Turns

FORM = SerialFormat(
    kind="text",
    ends="0D0A",
    messages=(
        Layout(name="Ask", word="Q", length=1, signals={}),
        Layout(name="Order", word="O", length=1, signals={}),
        Layout(name="State", word="S", length=1, signals={}, answers="Ask", within=0.02),
    ),
)


@pytest.fixture
def turns() -> Turns:
    """A line on which Ask was sent at 10 s; it and its answer take 5 ms on the wire."""
    turns = Turns(FORM)
    turns.asked("Ask", 10.0, on_the_wire=0.005)
    return turns


def test_while_an_answer_is_awaited_nobody_else_speaks(turns: Turns) -> None:
    """Neither a question nor an order, until it must have come."""
    assert 10.025 == turns.free_at("Order", 10.001) == turns.free_at("Ask", 10.001)


def test_an_answer_frees_the_line(turns: Turns) -> None:
    """At once."""
    assert turns.heard("State", 10.010)
    assert turns.free_at("Order", 10.011) <= 10.011
    assert (0, 0) == (turns.unanswered, turns.late)


def test_after_a_missing_answer_the_same_is_not_asked_until_a_late_one_must_have_passed(turns: Turns) -> None:
    """As long again as it may take; something else may be said meanwhile."""
    assert turns.free_at("Order", 10.026) <= 10.026
    assert turns.free_at("Ask", 10.026) == pytest.approx(10.045)
    assert 1 == turns.unanswered


def test_an_answer_that_nobody_awaits_is_taken_for_none(turns: Turns) -> None:
    """It comes too late."""
    assert not turns.heard("State", 10.030)
    assert (1, 1) == (turns.unanswered, turns.late)


def test_an_answer_after_the_next_question_is_not_taken_for_that_ones(turns: Turns) -> None:
    """The first one's comes 60 ms late, the second one's in time: neither is believed, nor the one that may be left."""
    turns.asked("Ask", 10.046, on_the_wire=0.005)
    assert not turns.heard("State", 10.060)
    assert 10.091 == pytest.approx(turns.free_at("Ask", 10.061))
    assert not turns.heard("State", 10.062)
    turns.asked("Ask", 10.092, on_the_wire=0.005)
    assert not turns.heard("State", 10.100)
    assert (1, 1, 2) == (turns.unanswered, turns.late, turns.doubted)


def test_one_question_with_one_answer_puts_them_in_step_again(turns: Turns) -> None:
    """After one that never came: the next answer is not believed, the one after it is."""
    turns.asked("Ask", 10.046, on_the_wire=0.005)
    assert not turns.heard("State", 10.056)
    turns.asked("Ask", 10.092, on_the_wire=0.005)
    assert turns.heard("State", 10.100)
    assert (1, 0, 1) == (turns.unanswered, turns.late, turns.doubted)


def test_a_second_answer_is_taken_for_none(turns: Turns) -> None:
    """And leaves the next one in doubt."""
    assert turns.heard("State", 10.010)
    assert not turns.heard("State", 10.011)
    turns.asked("Ask", 10.040, on_the_wire=0.005)
    assert not turns.heard("State", 10.050)


def test_what_answers_nothing_is_believed_at_any_time(turns: Turns) -> None:
    """Messages that come by themselves take no turn."""
    assert turns.heard("Order", 10.001)
    assert ("State", "") == (turns.answer_to("Ask"), turns.answer_to("Order"))
