"""What a person read once, in place of a recording: the same answers, the meter's uncertainty."""

import math
from dataclasses import replace

import pytest

from benchtest.instruments import Role
from benchtest.procedure import ContactResistance, CountRhythm, LampCode, Mean, OpenShare, Scalar, StateOf
from benchtest.readings import Skipped, Told, Value
from benchtest.results import Verdict
from tests.judge.workbench import CHANNELS, OPEN, Bench, recorded, steps_of, within

RESISTANCE = ContactResistance(evidence="e", channel=401, start=0.0, end=0.05)
SHARE = OpenShare(evidence="e", channel=401, start=0.0, end=0.05)
STATE = StateOf(evidence="e", channel=401, start=0.0, end=0.05)
OHMMETER = {**CHANNELS, 401: replace(CHANNELS[401], role=Role.OHMS, plus=0.1, of_reading=0.003, resolution=0.01)}


def test_a_contact_read_once_is_what_a_recording_of_it_says() -> None:
    """10 mV behind 120 Ω at 12 V: the same ohms and the same share, whether sampled or read once."""
    sampled = recorded({401: steps_of((0.0, 0.010), duration=0.1)})
    for what in (RESISTANCE, SHARE):
        once, often = (Bench().judge(what, within(None, None), evidence=seen) for seen in (Value(value=0.010), sampled))
        assert once.value == pytest.approx(often.value)
        assert once.uncertainty == pytest.approx(often.uncertainty)


@pytest.mark.parametrize("ohms", [0.05, 0.5, 13.0, 500.0, 5e3])
def test_an_ohmmeter_s_contact_is_what_the_test_circuit_would_show(ohms: float) -> None:
    """A resistance behind 120 Ω takes R / (R + 120 Ω) of the test voltage (voltage divider, any textbook)."""
    bench, volts = Bench(channels=OHMMETER), OPEN * ohms / (ohms + 120)
    share, state = (bench.judge(what, within(None, None), evidence=Value(value=ohms)) for what in (SHARE, STATE))
    word = Bench().judge(STATE, "made", evidence=Value(value=volts)).value

    assert share.value == pytest.approx(volts / OPEN)
    assert word == state.value


def test_an_ohmmeter_s_reading_has_the_ohmmeter_s_uncertainty() -> None:
    """U of 150 mΩ at 0.3 % + 100 mΩ + 10 mΩ steps, k = 2. GUM 4.3.7 and F.2.2.1."""
    result = Bench(channels=OHMMETER).judge(RESISTANCE, within(None, 0.2), unit="Ω", evidence=Value(value=0.15))

    assert result.uncertainty == pytest.approx(2 * math.sqrt((0.15 * 0.003 + 0.1) ** 2 / 3 + 0.01**2 / 12))
    assert Verdict.CONDITIONAL_PASS is result.verdict


def test_over_range_is_an_open_contact_on_ohms_and_nothing_on_volts() -> None:
    """OL on ohms is open; OL on volts says only that the range was wrong."""
    ohms = Bench(channels=OHMMETER).judge(SHARE, within(0.9, None), unit="%", evidence=Value(value=math.inf))
    closed = Bench(channels=OHMMETER).judge(RESISTANCE, within(None, 0.2), unit="Ω", evidence=Value(value=math.inf))
    volts = Bench().judge(SHARE, within(0.9, None), unit="%", evidence=Value(value=math.inf))

    assert (Verdict.PASS, Verdict.FAIL, Verdict.NOT_TESTED) == (ohms.verdict, closed.verdict, volts.verdict)
    assert "broken" == Bench(channels=OHMMETER).judge(STATE, "broken", evidence=Value(value=math.inf)).value


@pytest.mark.parametrize(
    ("channel", "value", "word"),
    [(401, 0.01, "made"), (401, -11.9, "broken"), (401, 5.0, "between"), (311, 23.9, "high"), (311, 0.2, "low")],
)
def test_a_state_is_read_from_one_value(channel: int, value: float, word: str) -> None:
    """By the thresholds of the channel; a contact's volts count either way round."""
    asked = StateOf(evidence="e", channel=channel, start=0.0, end=0.0)

    assert word == Bench().judge(asked, word, evidence=Value(value=value)).value


def test_what_a_person_saw_is_taken_as_it_is() -> None:
    """Lit, dark, blinking, a code: the word is compared, nothing is added."""
    lamp = StateOf(evidence="e", channel=501, start=0.0, end=0.0)
    code = LampCode(evidence="e", channel=501, rhythm=CountRhythm(flash=0.2, gap=0.2, pause=1.2))

    assert Verdict.PASS is Bench().judge(lamp, "lit", evidence=Told(word="lit")).verdict
    assert Verdict.FAIL is Bench().judge(lamp, "lit", evidence=Told(word="blinking")).verdict
    assert Verdict.FAIL is Bench().judge(code, "1", evidence=Told(word="2")).verdict


@pytest.mark.parametrize(
    "asked", [RESISTANCE, STATE, Scalar(evidence="e"), Mean(evidence="e", channel=301, start=0, end=1)]
)
def test_what_was_skipped_is_not_tested_with_its_reason(asked: ContactResistance | StateOf | Scalar | Mean) -> None:
    """Whatever was asked of it."""
    result = Bench().judge(asked, within(None, None), evidence=Skipped(reason="no lead"))

    assert (Verdict.NOT_TESTED, "skipped: no lead") == (result.verdict, result.note)


def test_a_difference_of_two_readings_has_both_uncertainties() -> None:
    """Bridge and bridge again: the difference is zero, its U is √2 of one (independent, GUM 5.1.2)."""
    bench = Bench(evidence={"bridge": Value(value=0.5)})
    one = bench.judge(Scalar(evidence="bridge"), within(None, None), unit="Ω")
    both = bench.judge(Scalar(evidence="bridge", minus="bridge"), within(None, None), unit="Ω")

    assert 0.0 == both.value
    assert one.uncertainty is not None
    assert both.uncertainty == pytest.approx(math.sqrt(2) * one.uncertainty)


def test_a_difference_to_over_range_is_not_tested() -> None:
    """There is no number to subtract."""
    bench = Bench(evidence={"bridge": Value(value=math.inf)})
    result = bench.judge(Scalar(evidence="bridge", minus="bridge"), within(None, None), unit="Ω")

    assert Verdict.NOT_TESTED is result.verdict
