"""What a person read once, in place of a recording: the same answers, the meter's uncertainty."""

import math
from dataclasses import replace

import pytest
from GTC import ureal

from benchtest.instruments import Role
from benchtest.judge import judge_check
from benchtest.plan.foresight import foresee
from benchtest.procedure import ContactResistance, CountRhythm, LampCode, Mean, Measure, OpenShare, Scalar, StateOf
from benchtest.readings import Origin, Readings, Skipped, Told, Value
from benchtest.results import Result, Verdict
from tests.judge.workbench import CHANNELS, OPEN, Bench, question, recorded, steps_of, within

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


@pytest.mark.parametrize("ohms", [-0.02, -119.0, -120.0, -121.0])
def test_ohms_below_zero_are_a_closed_contact(ohms: float) -> None:
    """A meter's zero is off by a little, or a minus was typed: no share of 12 100 %, and no division by zero."""
    bench = Bench(channels=OHMMETER)
    share = bench.judge(SHARE, within(0.9, None), unit="%", evidence=Value(value=ohms))

    assert (0.0, Verdict.FAIL) == (share.value, share.verdict)
    assert "made" == bench.judge(STATE, "made", evidence=Value(value=ohms)).value


def test_an_ohmmeter_s_reading_has_the_ohmmeter_s_uncertainty() -> None:
    """U of 150 mΩ at 0.3 % + 100 mΩ + 10 mΩ steps, k = 2. GUM 4.3.7 and F.2.2.1."""
    result = Bench(channels=OHMMETER).judge(RESISTANCE, within(None, 0.2), unit="Ω", evidence=Value(value=0.15))

    assert result.uncertainty == pytest.approx(2 * math.sqrt((0.15 * 0.003 + 0.1) ** 2 / 3 + 0.01**2 / 12))
    assert Verdict.CONDITIONAL_PASS is result.verdict


def test_the_share_of_an_ohmmeter_s_contact_has_the_ohmmeter_s_uncertainty_too() -> None:
    """Of 1080.01 Ω ± 0.3 % and 0.1 Ω behind 120 Ω: the quotient by GTC, and a limit of 90 % within its guard band."""
    bound, ohms = 1080.01 * 0.003 + 0.1, 1080.01
    read = ureal(ohms, math.hypot(bound / math.sqrt(3), 0.01 / math.sqrt(12)))
    share = read / (read + 120)
    result = Bench(channels=OHMMETER).judge(SHARE, within(0.9, None), unit="%", evidence=Value(value=ohms))

    assert result.value == pytest.approx(share.x)
    assert result.uncertainty == pytest.approx(2 * share.u)
    assert Verdict.CONDITIONAL_PASS is result.verdict


def test_the_share_of_an_ohmmeter_s_contact_is_foreseen() -> None:
    """What the judge says of a contact that is just at its limit of 90 %, 1080 Ω behind 120 Ω, the plan has said."""
    bench = Bench(channels=OHMMETER)
    judged = bench.judge(SHARE, within(0.9, None), unit="%", evidence=Value(value=1080.0))
    (foreseen,) = foresee(bench.procedure(question(SHARE, within(0.9, None), unit="%")))

    assert foreseen.uncertainty == pytest.approx(judged.uncertainty)
    assert () == foresee(bench.procedure(question(SHARE, within(1.0, None), unit="%")))


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


def difference(*, high: float, low: float) -> Result:
    """Return the result of one supply voltage minus another, each read once."""
    check = question(Scalar(evidence="into", minus="onward"), within(None, 0.25), unit="V")
    moves = Measure(name="into", channel=301), Measure(name="onward", channel=303)
    procedure = Bench().procedure(check)
    procedure = replace(procedure, steps=(replace(procedure.steps[0], moves=moves),))
    evidence = {"into": Value(value=high), "onward": Value(value=low)}
    return judge_check(check, procedure, Readings(origin=Origin.BY_HAND, evidence=evidence))


def test_a_difference_of_two_readings_has_both_uncertainties() -> None:
    """24 V minus 23.9 V, 0.05 % + 3 mV and 1.5 mV steps each: root of the sum of squares (GUM 5.1.2, 4.3.7)."""
    result = difference(high=24.0, low=23.9)
    squares = [((volts * 0.0005 + 0.003) ** 2) / 3 + 0.0015**2 / 12 for volts in (24.0, 23.9)]

    assert result.value == pytest.approx(0.1)
    assert result.uncertainty == pytest.approx(2 * math.sqrt(sum(squares)), rel=1e-3)
    assert Verdict.PASS is result.verdict


def test_a_difference_to_over_range_is_not_tested() -> None:
    """There is no number to subtract."""
    assert Verdict.NOT_TESTED is difference(high=24.0, low=math.inf).verdict
