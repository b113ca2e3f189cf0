"""States, stillness, lamp codes, messages, and the whole."""

from dataclasses import replace

import numpy as np
import pytest

from benchtest.instruments import Message
from benchtest.procedure import (
    CountRhythm,
    LampCode,
    MessageAnswer,
    MessageGap,
    MessagePeriod,
    SignalValue,
    StateOf,
    Still,
)
from benchtest.results import Verdict
from benchtest.signals.levels import Samples
from tests.judge.workbench import CHANNELS, MADE, OPEN, Bench, recorded, steps_of, within

BENCH = Bench()
NONE = within(0.0, 0.0)


@pytest.mark.parametrize(
    ("channel", "samples", "word"),
    [
        (401, np.full(1000, MADE), "made"),
        (401, np.full(1000, OPEN), "broken"),
        (401, np.full(1000, -OPEN), "broken"),
        (401, np.full(1000, 5.0), "between"),
        (401, steps_of((0.0, OPEN), (0.05, MADE), duration=0.1), "changing"),
        (501, np.full(1000, 0.8), "lit"),
        (501, np.full(1000, 0.02), "dark"),
        (311, np.full(1000, 24.0), "high"),
        (311, np.full(1000, -1.0), "low"),
    ],
)
def test_a_state_has_the_word_of_its_channel(channel: int, samples: Samples, word: str) -> None:
    """Contacts are made or broken, lamps lit or dark, voltages high or low; else changing or between."""
    asked = StateOf(evidence="e", channel=channel, start=0.02, end=0.08)
    result = BENCH.judge(asked, word, evidence=recorded({channel: samples}))
    assert (result.value, result.uncertainty, result.verdict) == (word, None, Verdict.PASS)
    assert BENCH.judge(asked, "else", evidence=recorded({channel: samples})).verdict is Verdict.FAIL


def test_thresholds_that_tell_nothing_apart_are_not_tested() -> None:
    """A channel without thresholds has no states."""
    channels = {**CHANNELS, 401: replace(CHANNELS[401], low=0.0, high=0.0)}
    asked = StateOf(evidence="e", channel=401, start=0.02, end=0.08)
    result = Bench(channels=channels).judge(asked, "made", evidence=recorded({401: np.full(1000, MADE)}))
    assert result.verdict is Verdict.NOT_TESTED


def test_what_stays_is_still() -> None:
    """Open, closed, half-way and reversed contacts, a dark lamp, a coil at rest: nothing moved."""
    waves = {401: np.full(1000, -OPEN), 402: np.full(1000, 5.0), 501: np.full(1000, 0.05), 311: np.full(1000, 0.1)}
    asked = Still(evidence="e", channels=tuple(waves), start=0.0, end=0.1)
    result = BENCH.judge(asked, NONE, evidence=recorded(waves))
    assert (result.value, result.note, result.verdict) == (0.0, "", Verdict.PASS)


@pytest.mark.parametrize(
    ("channel", "samples", "note"),
    [
        (401, steps_of((0.0, OPEN), (0.05, MADE), duration=0.1), "X11.1-X11.2 made at 50 ms"),
        (401, steps_of((0.0, MADE), (0.05, OPEN), duration=0.1), "X11.1-X11.2 broken at 50 ms"),
        (401, steps_of((0.0, -OPEN), (0.05, OPEN), (0.06, MADE), duration=0.1), "X11.1-X11.2 made at 60 ms"),
        (401, steps_of((0.0, MADE), (0.05, -OPEN), duration=0.1), "X11.1-X11.2 broken at 50 ms"),
        (401, steps_of((0.0, MADE), (0.05, 5.0), duration=0.1), "X11.1-X11.2 from made to between"),
        (
            501,
            steps_of((0.0, 0.0), (0.05, 0.8), (0.06, 0.0), duration=0.1),
            "lamp D1 lit at 50 ms and 1 more change",
        ),
        (
            311,
            steps_of((0.0, 0.0), (0.05, 24.0), (0.0501, 0.0), (0.06, 24.0), duration=0.1),
            "TP.1-X1.2 high at 50 ms and 2 more changes",
        ),
    ],
)
def test_what_moved_is_named_with_what_it_did(channel: int, samples: Samples, note: str) -> None:
    """One sample is enough; the note names the terminals, the state and the moment."""
    waves = {402: np.full(1000, OPEN), channel: samples}
    asked = Still(evidence="e", channels=tuple(waves), start=0.0, end=0.1)
    result = BENCH.judge(asked, NONE, evidence=recorded(waves))
    assert (result.value, result.note, result.verdict) == (1.0, note, Verdict.FAIL)


def test_stillness_looks_at_its_window_and_at_all_its_channels() -> None:
    """A change before the window does not count; a channel that was not recorded leaves the question open."""
    waves = {401: steps_of((0.0, OPEN), (0.05, MADE), duration=0.1)}
    later = Still(evidence="e", channels=(401,), start=0.06, end=0.1)
    assert BENCH.judge(later, NONE, evidence=recorded(waves)).verdict is Verdict.PASS
    more = Still(evidence="e", channels=(401, 402), start=0.06, end=0.1)
    assert BENCH.judge(more, NONE, evidence=recorded(waves)).verdict is Verdict.NOT_TESTED
    nobody = Still(evidence="e", channels=(), start=0.06, end=0.1)
    assert BENCH.judge(nobody, NONE, evidence=recorded(waves)).value == 0.0


CODE = LampCode(evidence="e", channel=501, rhythm=CountRhythm(flash=0.2, gap=0.2, pause=1.2))


def flashing(seconds: float) -> Samples:
    """Return a lamp that counts three."""
    cycle = np.concatenate([np.full(length, level) for length, level in [(100, 0.8), (100, 0.0)] * 2 + [(100, 0.8)]])
    return np.resize(np.concatenate((cycle, np.zeros(600))), round(seconds * 500))


def test_a_lamp_code_is_a_word_with_its_pattern() -> None:
    """Three flashes are the word 3; another expected word fails, and the note shows what was seen."""
    evidence = recorded({501: flashing(9.0)}, rate=500.0)
    result = BENCH.judge(CODE, "3", evidence=evidence)
    assert (result.value, result.verdict) == ("3", Verdict.PASS)
    assert "0.20 on 1.20 off" in result.note
    assert BENCH.judge(CODE, "2", evidence=evidence).verdict is Verdict.FAIL


def test_a_doubtful_code_decides_nothing() -> None:
    """One repeat is not enough: the word is shown and not tested; a dark lamp fails."""
    result = BENCH.judge(CODE, "3", evidence=recorded({501: flashing(3.0)}, rate=500.0))
    assert (result.value, result.verdict) == ("doubtful", Verdict.NOT_TESTED)
    dark = BENCH.judge(CODE, "3", evidence=recorded({501: np.zeros(4500)}, rate=500.0))
    assert (dark.value, dark.verdict) == ("dark", Verdict.FAIL)


def test_a_code_that_was_out_voted_says_so() -> None:
    """Five repeats of three and one of two: the word is 3, the note gives all repeats and the confidence."""
    lamp = flashing(7 * 2.2)
    lamp[round(2.2 * 500 * 2) + 400 : round(2.2 * 500 * 2) + 500] = 0.0  # the last flash of the third repeat
    result = BENCH.judge(CODE, "3", evidence=recorded({501: lamp}, rate=500.0))
    assert (result.value, result.verdict) == ("3", Verdict.PASS)
    assert "confidence 0.71; repeats 3, 2, 3, 3, 3, 3" in result.note


def test_a_dimmed_lamp_gives_its_code_and_its_flicker() -> None:
    """Dimmed at 125 Hz the lamp still counts three; the note says that it flickers."""
    lamp = flashing(9.0) * (np.arange(4500) % 4 < 2)
    result = BENCH.judge(CODE, "3", evidence=recorded({501: lamp * 1.2}, rate=500.0))
    assert (result.value, result.verdict) == ("3", Verdict.PASS)
    assert "flickers at 125 Hz" in result.note


def test_a_code_is_read_from_a_light_sensor_only() -> None:
    """A voltage that flashes is no lamp."""
    result = BENCH.judge(replace(CODE, channel=311), "3", evidence=recorded({311: flashing(9.0) * 30}, rate=500.0))
    assert result.verdict is Verdict.NOT_TESTED


QUIET = {301: np.full(10_000, 24.0)}
"""One second."""


def beats(*moments: float) -> list[Message]:
    """Return heartbeats of the board."""
    return [Message(at=at, name="Beat", signals={"alive": 1.0}, frame="", sent=False) for at in moments]


def test_the_period_of_a_heartbeat() -> None:
    """Four beats 250 ms apart; two stamps of 1 ms over three intervals."""
    evidence = recorded(QUIET, messages=beats(0.1, 0.35, 0.6, 0.85))
    result = BENCH.judge(MessagePeriod(evidence="e", message="Beat"), within(0.225, 0.275), unit="s", evidence=evidence)
    assert result.value == pytest.approx(0.25)
    assert result.uncertainty == pytest.approx(2 * np.sqrt(2 / 3) * 1e-3 / 3, rel=0.01)
    assert (result.verdict, result.note) == (Verdict.PASS, "4 messages")


@pytest.mark.parametrize(
    ("moments", "note"), [((), "Beat never heard in 1 s"), ((0.5,), "Beat only once heard in 1 s")]
)
def test_a_heart_that_does_not_beat_fails(moments: tuple[float, ...], note: str) -> None:
    """Listening and hearing nothing is a valid observation."""
    evidence = recorded(QUIET, messages=beats(*moments))
    result = BENCH.judge(MessagePeriod(evidence="e", message="Beat"), within(0.2, 0.3), evidence=evidence)
    assert (result.value, result.verdict, result.note) == (None, Verdict.FAIL, note)


def test_the_longest_gap_reaches_to_the_ends() -> None:
    """Silent from 0.35 s to the end of the second."""
    evidence = recorded(QUIET, messages=beats(0.1, 0.35))
    result = BENCH.judge(MessageGap(evidence="e", message="Beat"), within(None, 0.3), evidence=evidence)
    assert result.value == pytest.approx(0.65)
    assert result.verdict is Verdict.FAIL


ANSWER = MessageAnswer(evidence="e", sent="Command", since=0.1, message="Status", signal="k1", value=1.0)


def status(at: float, k1: float) -> Message:
    """Return a status message of the board."""
    return Message(at=at, name="Status", signals={"k1": k1}, frame="", sent=False)


def test_answers_in_time_late_and_never() -> None:
    """20 ms passes, 200 ms fails, none fails, and one that was shown before fails too."""
    command = Message(at=0.1, name="Command", signals={}, frame="", sent=True)
    limits = within(None, 0.06)

    def verdict(*messages: Message) -> tuple[Verdict, str]:
        result = BENCH.judge(ANSWER, limits, evidence=recorded(QUIET, messages=messages))
        return result.verdict, result.note

    assert verdict(command, status(0.12, 1.0)) == (Verdict.PASS, "")
    assert verdict(command, status(0.3, 1.0)) == (Verdict.FAIL, "")
    assert verdict(command, status(0.12, 0.0)) == (Verdict.FAIL, "no Status with k1 = 1 within 900 ms")
    assert verdict(status(0.05, 1.0), command, status(0.12, 1.0)) == (Verdict.FAIL, "Status showed k1 = 1 already")
    assert verdict(status(0.12, 1.0))[0] is Verdict.NOT_TESTED
    late = Message(at=0.97, name="Command", signals={}, frame="", sent=True)
    assert verdict(late)[0] is Verdict.NOT_TESTED  # 30 ms of listening where 60 ms are permitted


def test_a_signal_is_read_from_the_last_message_of_a_window() -> None:
    """The word is the number; without a message nothing is decided."""
    evidence = recorded(QUIET, messages=[status(0.2, 0.0), status(0.3, 1.0)])
    asked = SignalValue(evidence="e", message="Status", signal="k1", start=0.1, end=0.4)
    assert BENCH.judge(asked, "1", evidence=evidence).verdict is Verdict.PASS
    assert BENCH.judge(asked, "0", evidence=evidence).verdict is Verdict.FAIL
    silent = BENCH.judge(replace(asked, start=0.5, end=0.6), "1", evidence=evidence)
    assert (silent.value, silent.verdict) == (None, Verdict.NOT_TESTED)
