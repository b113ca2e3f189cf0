"""Intervals and answers on the link."""

import numpy as np
import pytest

from benchtest.instruments import Message
from benchtest.procedure import MessageAnswer
from benchtest.signals.link import answer, heard, last_value, longest_gap, mean_interval


def message(at: float, name: str, *, sent: bool = False, **signals: float) -> Message:
    """Return a message at a moment."""
    return Message(at=at, name=name, signals=signals, frame="", sent=sent)


QUESTION = MessageAnswer(evidence="e", sent="Command", since=0.1, message="Status", signal="k3", value=1.0)


def test_only_received_messages_of_the_name_are_heard() -> None:
    """What the bench sent itself, and other names, do not count."""
    messages = [message(0.3, "Beat"), message(0.1, "Beat"), message(0.2, "Beat", sent=True), message(0.2, "Other")]
    assert heard(messages, "Beat").tolist() == [0.1, 0.3]


def test_mean_interval_needs_two_moments() -> None:
    """Four beats in 0.75 s are 0.25 s apart; one beat is nothing apart."""
    assert mean_interval(np.array([0.1, 0.3, 0.6, 0.85])) == pytest.approx(0.25)
    assert mean_interval(np.array([0.1])) is None


def test_the_ends_of_the_recording_bound_a_gap() -> None:
    """A link silent from 0.5 s to the end at 2 s has a gap of 1.5 s; one never heard is a gap as a whole."""
    assert longest_gap(np.array([0.1, 0.3, 0.5]), start=0.0, end=2.0) == 1.5
    assert longest_gap(np.array([]), start=0.0, end=2.0) == 2.0


def test_an_answer_is_the_first_message_with_the_value() -> None:
    """A status still showing 0 is no answer; the next one, 40 ms after the command, is."""
    messages = [
        message(0.02, "Status", k3=0.0),
        message(0.1, "Command", sent=True),
        message(0.12, "Status", k3=0.0),
        message(0.14, "Status", k3=1.0),
        message(0.2, "Status", k3=1.0),
    ]
    found = answer(messages, QUESTION, slack=0.0)
    assert found.delay == pytest.approx(0.04)
    assert found.sent == 0.1


def test_a_value_shown_before_the_question_is_no_answer() -> None:
    """A feedback stuck at 1 answers everything at once, and therefore nothing."""
    messages = [message(0.0, "Status", k3=1.0), message(0.1, "Command", sent=True), message(0.12, "Status", k3=1.0)]
    assert answer(messages, QUESTION, slack=0.0).already


def test_a_question_stamped_a_little_early_is_still_the_question() -> None:
    """Within the slack the sending may be stamped before its planned moment, and no earlier."""
    messages = [message(0.05, "Command", sent=True), message(0.0995, "Command", sent=True)]
    assert answer(messages, QUESTION, slack=0.001).sent == 0.0995
    assert answer(messages, QUESTION, slack=0.0).sent is None


def test_the_last_value_in_the_window_counts() -> None:
    """Between 0.1 s and 0.3 s the last status says 0; later ones and sent ones are not asked."""
    messages = [
        message(0.15, "Status", k3=1.0),
        message(0.25, "Status", k3=0.0),
        message(0.28, "Status", other=1.0),
        message(0.29, "Status", sent=True, k3=1.0),
        message(0.4, "Status", k3=1.0),
    ]
    assert last_value(messages, "Status", "k3", start=0.1, end=0.3) == 0.0
    assert last_value(messages, "Status", "k3", start=0.5, end=0.6) is None
