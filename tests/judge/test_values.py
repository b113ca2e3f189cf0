"""Voltages, currents, resistances, single readings."""

import math
from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from GTC import ureal
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from benchtest.procedure import (
    Absent,
    ContactResistance,
    EffectiveValue,
    Extent,
    Interval,
    Limiting,
    Mean,
    Measurand,
    OpenShare,
    Scalar,
    StillOn,
)
from benchtest.readings import Left, Supplied, Value
from benchtest.results import Verdict
from tests.judge.workbench import CHANNELS, STEP, Bench, recorded, within

BENCH = Bench()
MEAN = Mean(evidence="e", channel=301, start=0.02, end=0.08)


def test_a_mean_carries_accuracy_resolution_and_scatter() -> None:
    """24 V steady: ±(0.05 % + 3 mV) rectangular and a step of 1.5 mV, doubled."""
    result = BENCH.judge(MEAN, within(23.0, 25.0), unit="V", evidence=recorded({301: np.full(1000, 24.0)}))
    assert result.value == pytest.approx(24.0)
    assert (result.verdict, result.coverage) == (Verdict.PASS, 2.0)
    assert result.uncertainty == pytest.approx(2 * math.hypot(0.015 / math.sqrt(3), 0.0015 / math.sqrt(12)))


def test_a_mean_looks_at_its_window_only() -> None:
    """Samples before the beginning and from the end on do not count."""
    samples = np.full(1000, 24.0)
    samples[:200] = samples[800:] = 3.0
    result = BENCH.judge(MEAN, within(23.9, 24.1), evidence=recorded({301: samples}))
    assert result.value == pytest.approx(24.0)


def test_a_drop_is_the_difference_of_two_channels() -> None:
    """Hum common to both channels is not counted as scatter; both gains are."""
    hum = np.sin(np.arange(1000) / 7)
    waves = {301: 24.0 + hum, 303: 23.9 + hum}
    drop = Mean(evidence="e", channel=301, start=0.02, end=0.08, minus=303)
    result = BENCH.judge(drop, within(None, 0.25), unit="V", evidence=recorded(waves))
    assert result.value == pytest.approx(0.1, abs=1e-3)
    assert result.verdict is Verdict.PASS
    assert result.uncertainty == pytest.approx(2 * math.sqrt(2) * 0.015 / math.sqrt(3), rel=0.02)


def test_what_is_not_common_to_both_channels_is_scatter() -> None:
    """A drift of one channel alone makes their difference less certain."""
    drop = Mean(evidence="e", channel=301, start=0.02, end=0.08, minus=303)
    steady, drifting = np.full(1000, 24.0), np.linspace(22.0, 24.0, 1000)
    calm = BENCH.judge(drop, within(None, 5.0), evidence=recorded({301: steady, 303: steady}))
    wild = BENCH.judge(drop, within(None, 5.0), evidence=recorded({301: steady, 303: drifting}))
    assert calm.uncertainty is not None
    assert wild.uncertainty is not None
    assert wild.uncertainty > 4 * calm.uncertainty


def test_a_change_is_the_mean_less_what_the_channel_had_before() -> None:
    """A coil's share of a current: what flowed before it is taken off, its scatter is not."""
    amps = np.concatenate([np.full(500, 6.0), np.full(500, 7.7)])
    asked = Mean(evidence="e", channel=301, start=0.06, end=0.09, before=(0.01, 0.04))
    result = BENCH.judge(asked, within(1.2, 2.2), unit="A", evidence=recorded({301: amps}))

    assert result.value == pytest.approx(1.7, abs=2e-3)
    assert result.uncertainty is not None


def test_a_change_has_the_degrees_of_freedom_of_both_its_means() -> None:
    """Two means of twenty blocks, one scattering twice as much: 27.9, not 19; GTC, by GUM G.4.1, is the judge."""
    blocks = np.tile(np.repeat([-0.2, 0.2], 15), 10)  # twenty blocks of 15 samples in 300
    amps = np.concatenate([6.0 + blocks, np.full(100, 6.0), 7.7 + 2 * blocks, np.full(300, 7.7)])
    asked = Mean(evidence="e", channel=301, start=0.04, end=0.07, before=(0.0, 0.03))
    exact = {**CHANNELS, 301: replace(CHANNELS[301], of_reading=0.0, plus=0.0, resolution=0.0)}
    result = Bench(channels=exact).judge(asked, within(1.2, 2.2), unit="A", evidence=recorded({301: amps}))
    once = 0.2 * math.sqrt(20 / 19) / math.sqrt(20)
    change = ureal(7.7, 2 * once, 19) - ureal(6.0, once, 19)

    assert result.freedom == pytest.approx(change.df)
    assert result.uncertainty == pytest.approx(stats.t.ppf(stats.norm.cdf(2), math.floor(change.df)) * change.u)


def test_the_lowest_sample_is_found_and_what_is_beyond_the_range_is_beyond_every_limit() -> None:
    """A diode clamps at -0.7 V; without it the voltage leaves the channel's range, and no limit permits that."""
    asked = Extent(evidence="e", channel=301, start=0.02, end=0.08, of="lowest")
    clamped, wild = np.zeros(1000), np.zeros(1000)
    clamped[400:420], wild[400:405] = -0.7, -32768 * STEP
    good = BENCH.judge(asked, within(-5.0, None), unit="V", evidence=recorded({301: clamped}))
    bad = BENCH.judge(asked, within(-5.0, None), unit="V", evidence=recorded({301: wild}))

    assert good.value == pytest.approx(-0.7, abs=2e-3)
    assert (Verdict.PASS, Verdict.FAIL) == (good.verdict, bad.verdict)
    assert -math.inf == bad.value


def test_ripple_is_from_the_lowest_to_the_highest_sample() -> None:
    """A sine of 0.1 V about 5 V swings over 0.2 V."""
    wave = 5.0 + 0.1 * np.sin(2 * np.pi * 300 * np.arange(1000) / 10_000)
    asked = Extent(evidence="e", channel=301, start=0.02, end=0.08, of="peak to peak")
    result = BENCH.judge(asked, within(None, 0.15), unit="V", evidence=recorded({301: wave}))

    assert result.value == pytest.approx(0.2, rel=0.02)
    assert Verdict.FAIL is result.verdict


@pytest.mark.parametrize(("of", "permitted"), [("lowest", within(-1.0, None)), ("peak to peak", within(None, 10.0))])
@pytest.mark.parametrize(
    "waves", [(0.0, -0.7, 5.0), (0.0, -5.0, 24.0), (0.0, -32768 * STEP, 1.0), (0.0, 32767 * STEP, 1.0)]
)
def test_an_inverting_channel_reads_what_an_upright_one_does(
    of: Literal["lowest", "peak to peak"], permitted: Interval, waves: tuple[float, float, float]
) -> None:
    """The same volts by codes turned over: value = code · scale + offset, as docs/adapter-protocol.md has it."""
    upright = recorded({301: np.repeat(waves, 300)})
    mirrored = ~np.asarray(upright.recording.codes)  # -1 - code
    turned = replace(upright, recording=replace(upright.recording, codes=mirrored, scale=(-STEP,), offset=(-STEP,)))
    asked = Extent(evidence="e", channel=301, start=0.0, end=0.09, of=of)
    one, other = (BENCH.judge(asked, permitted, unit="V", evidence=seen) for seen in (upright, turned))

    assert one.value == pytest.approx(other.value)
    assert one.verdict is other.verdict


def test_effective_value_is_taken_over_whole_cycles() -> None:
    """24 V r.m.s. at 50 Hz, beginning at an odd phase."""
    wave = 24 * math.sqrt(2) * np.sin(2 * np.pi * 50 * np.arange(1000) / 10_000 + 1.1)
    asked = EffectiveValue(evidence="e", channel=301, start=0.0, end=0.1)
    result = BENCH.judge(asked, within(20.4, 26.4), unit="V", evidence=recorded({301: wave}))
    assert result.value == pytest.approx(24.0, abs=0.02)
    assert result.verdict is Verdict.PASS
    assert result.note == "over 4 cycles"


def test_less_than_a_cycle_has_no_effective_value() -> None:
    """A window of a quarter cycle is not tested; one of a supply that is off reads nothing."""
    wave = 34 * np.sin(2 * np.pi * 50 * np.arange(1000) / 10_000)
    short = EffectiveValue(evidence="e", channel=301, start=0.0, end=0.005)
    assert BENCH.judge(short, within(20.0, 26.0), evidence=recorded({301: wave})).verdict is Verdict.NOT_TESTED
    off = BENCH.judge(short, within(20.0, 26.0), evidence=recorded({301: np.zeros(1000)}))
    assert (off.value, off.verdict) == (0.0, Verdict.FAIL)


def test_contact_resistance_comes_from_drop_and_test_current() -> None:
    """4 mV of 12 V behind 120 Ω is 40 mΩ; 1 mV of offset alone makes it ±12 mΩ."""
    asked = ContactResistance(evidence="e", channel=401, start=0.02, end=0.08)
    result = BENCH.judge(asked, within(None, 0.2), unit="Ω", evidence=recorded({401: np.full(1000, 0.004)}))
    assert result.value == pytest.approx(0.04, rel=1e-3)
    assert result.verdict is Verdict.PASS
    assert result.uncertainty == pytest.approx(0.012, rel=0.05)


@pytest.mark.parametrize("volts", [11.9, 12.0, 12.05])
def test_an_open_contact_has_an_infinite_resistance_and_fails(volts: float) -> None:
    """Test voltage across the contact: no current to speak of, over range, beyond any limit."""
    asked = ContactResistance(evidence="e", channel=401, start=0.02, end=0.08)
    result = BENCH.judge(asked, within(None, 0.2), evidence=recorded({401: np.full(1000, volts)}))
    assert (result.value, result.uncertainty, result.verdict) == (math.inf, None, Verdict.FAIL)


@pytest.mark.parametrize(
    ("volts", "ohms", "verdict"),
    [(-0.004, 0.04, Verdict.PASS), (-1.0, 120 / 11, Verdict.FAIL), (-12, math.inf, Verdict.FAIL)],
)
def test_contact_resistance_does_not_care_for_the_polarity(volts: float, ohms: float, verdict: Verdict) -> None:
    """A pair wired the other way round reads the same ohms, none below zero: Ohm's law for 12 V behind 120 Ω."""
    asked = ContactResistance(evidence="e", channel=401, start=0.02, end=0.08)
    result = BENCH.judge(asked, within(None, 0.2), unit="Ω", evidence=recorded({401: np.full(1000, volts)}))
    assert result.value == pytest.approx(ohms, rel=1e-3)
    assert result.verdict is verdict


def test_a_contact_read_once_does_not_care_for_the_polarity() -> None:
    """-12 V across a contact is an open one, and no contact that is closed through its plug."""
    for permitted, verdict in ((within(None, 1.1), Verdict.FAIL), (within(9.6, None), Verdict.PASS)):
        bench = Bench(evidence={"contact": Value(value=-12.0)})
        assert bench.judge(Scalar(evidence="contact"), permitted, unit="V").verdict is verdict


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_open_share_does_not_care_for_the_polarity(sign: float) -> None:
    """11.94 V of 12 V is 99.5 %, either way round."""
    asked = OpenShare(evidence="e", channel=401, start=0.02, end=0.08)
    result = BENCH.judge(asked, within(0.9, None), evidence=recorded({401: np.full(1000, sign * 11.94)}))
    assert result.value == pytest.approx(0.995)
    assert result.verdict is Verdict.PASS


def test_an_open_share_that_swings_through_zero_is_not_open() -> None:
    """A voltage that alternates averages to nothing, and a size averaged would hide it: it fails."""
    wave = np.where(np.arange(1000) % 2 == 0, 12.0, -12.0)
    asked = OpenShare(evidence="e", channel=401, start=0.02, end=0.08)
    assert BENCH.judge(asked, within(0.9, None), evidence=recorded({401: wave})).verdict is Verdict.FAIL


@pytest.mark.parametrize("asked", [MEAN, EffectiveValue(evidence="e", channel=301, start=0.02, end=0.08)])
def test_a_converter_at_its_end_measures_nothing(asked: Measurand) -> None:
    """A sample at full scale may be anything beyond: not tested."""
    samples = np.full(1000, 24.0)
    samples[500] = 2 * 32.767
    result = BENCH.judge(asked, within(0.0, 40.0), evidence=recorded({301: samples}))
    assert (result.value, result.verdict) == (None, Verdict.NOT_TESTED)


def test_a_window_beyond_the_recording_is_not_tested() -> None:
    """A recording cut short says nothing of what it does not hold."""
    result = BENCH.judge(MEAN, within(0.0, 40.0), evidence=recorded({301: np.full(500, 24.0)}))
    assert result.verdict is Verdict.NOT_TESTED


def test_an_overrun_or_a_missing_channel_is_not_tested() -> None:
    """Lost samples spoil the whole recording; a channel that is not in it cannot be looked at."""
    lost = BENCH.judge(MEAN, within(0.0, 40.0), evidence=recorded({301: np.full(1000, 24.0)}, overrun=True))
    assert (lost.verdict, lost.note) == (Verdict.NOT_TESTED, "samples were lost in the recording")
    other = BENCH.judge(MEAN, within(0.0, 40.0), evidence=recorded({303: np.full(1000, 24.0)}))
    assert (other.verdict, other.note) == (Verdict.NOT_TESTED, "channel 301 was not recorded")


def test_missing_evidence_and_absent_things_are_not_tested() -> None:
    """A step that was not performed, evidence of another kind, and what this bench cannot look at."""
    assert BENCH.judge(MEAN, within(0.0, 40.0)).verdict is Verdict.NOT_TESTED
    assert BENCH.judge(MEAN, within(0.0, 40.0), evidence=Value(value=24.0)).verdict is Verdict.NOT_TESTED
    absent = BENCH.judge(Absent(reason="no light sensor"), "lit")
    assert (absent.verdict, absent.note) == (Verdict.NOT_TESTED, "no light sensor")


@pytest.mark.parametrize(
    ("ohms", "permitted", "verdict"),
    [
        (0.3, within(None, 1.0), Verdict.PASS),
        (math.inf, within(None, 1.0), Verdict.FAIL),
        (math.inf, within(500.0, None), Verdict.PASS),
        (math.nan, within(None, 1.0), Verdict.NOT_TESTED),
        (0.99, within(None, 1.0), Verdict.CONDITIONAL_PASS),
    ],
)
def test_a_meters_reading(ohms: float, permitted: Interval, verdict: Verdict) -> None:
    """Within, over range on either side, not a number, within the guard band."""
    bench = Bench(evidence={"bridge": Value(value=ohms)})
    assert bench.judge(Scalar(evidence="bridge"), permitted, unit="Ω").verdict is verdict


def test_what_a_supply_says_of_itself() -> None:
    """Volts without a calibrated accuracy have no uncertainty and say so; amps are as good as the current channel."""
    bench = Bench(evidence={"on": Supplied(volts=24.0, amps=0.06, limiting=False)})
    volts = bench.judge(Scalar(evidence="on", field="volts"), within(23.0, 25.0), unit="V")
    assert (volts.value, volts.uncertainty, volts.verdict) == (24.0, None, Verdict.PASS)
    assert "no calibrated instrument" in volts.note
    amps = bench.judge(Scalar(evidence="on", field="amps"), within(0.025, 0.095), unit="A")
    assert amps.uncertainty == pytest.approx(2 * math.hypot(0.00103 / math.sqrt(3), 0.0005 / math.sqrt(12)))
    assert bench.judge(Limiting(evidence="on"), "free").verdict is Verdict.PASS
    assert bench.judge(Limiting(evidence="on"), "limiting").verdict is Verdict.FAIL
    assert bench.judge(Scalar(evidence="on"), within(0.0, 1.0)).verdict is Verdict.NOT_TESTED


def test_what_stayed_on_is_named() -> None:
    """Nothing on passes; two channels on fail and are named by their terminals where these are known."""
    nothing = Bench(evidence={"off": Left(channels=())}).judge(StillOn(evidence="off"), within(0.0, 0.0))
    assert nothing.verdict is Verdict.PASS
    two = Bench(evidence={"off": Left(channels=(201, 999))}).judge(StillOn(evidence="off"), within(0.0, 0.0))
    assert (two.value, two.verdict, two.note) == (2.0, Verdict.FAIL, "still on: X1.1-X1.2, channel 999")


def test_a_word_against_a_range_decides_nothing() -> None:
    """A procedure that permits a range where a word is read is not passed by accident."""
    bench = Bench(evidence={"on": Supplied(volts=24.0, amps=0.06, limiting=False)})
    assert bench.judge(Limiting(evidence="on"), within(None, None)).verdict is Verdict.NOT_TESTED
    assert bench.judge(Scalar(evidence="on", field="volts"), "24").verdict is Verdict.NOT_TESTED


@given(st.integers(1, 15_000), st.integers(0, 400), st.sampled_from([2, 3]))
def test_shifting_and_resampling_leave_a_mean_alone(code: int, shift: int, finer: int) -> None:
    """A steady voltage has the same mean and word wherever the window lies and however often it is sampled."""
    samples, limits = np.full(1000, code * STEP), within(5.0, 20.0)
    plain = BENCH.judge(MEAN, limits, evidence=recorded({301: samples}))
    shifted = Mean(evidence="e", channel=301, start=shift / 10_000, end=0.06 + shift / 10_000)
    moved = BENCH.judge(shifted, limits, evidence=recorded({301: samples}))
    fine = BENCH.judge(MEAN, limits, evidence=recorded({301: np.repeat(samples, finer)}, rate=10_000.0 * finer))
    assert plain.verdict is moved.verdict is fine.verdict
    assert plain.value == pytest.approx(moved.value)
    assert plain.value == pytest.approx(fine.value)
