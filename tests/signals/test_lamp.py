"""Lamp codes: right or doubtful, never wrong."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.procedure import CountRhythm, DigitsRhythm, Rhythm
from benchtest.signals.lamp import Code, decode
from benchtest.signals.levels import Samples

RATE = 500.0
COUNT = CountRhythm(flash=0.2, gap=0.2, pause=1.2)
PAIR = DigitsRhythm(slow=0.3, quick=0.1, between_digits=0.6, between_probes=1.0, pause=2.0, probes=2)
ONE = DigitsRhythm(slow=0.3, quick=0.1, between_digits=0.6, between_probes=1.0, pause=2.0, probes=1)
UNKNOWN = {"doubtful", "irregular", "dark", "steady"}

Durations = list[float]
"""Lit, dark, lit, … of one repeat; the last one is the pause."""


def counted(flashes: int) -> Durations:
    """Return one repeat of a counting code."""
    return [0.2, 0.2] * (flashes - 1) + [0.2, 1.2]


def paired(*codes: str) -> Durations:
    """Return one repeat of two-digit codes."""
    repeat: Durations = []
    for code in codes:
        slow, quick = (int(digit) for digit in code)
        repeat += [0.3, 0.3] * (slow - 1) + [0.3, 0.6] + [0.1, 0.1] * (quick - 1) + [0.1, 1.0]
    return [*repeat[:-1], 2.0]


def brightness(repeat: Durations, *, phase: float, seconds: float, clock: float = 1.0) -> Samples:
    """Return samples of a lamp that gives a repeat for ever, `phase` (0 to 1) of a repeat after its beginning."""
    ends = np.cumsum(np.array(repeat) * clock)
    moments = (np.arange(round(seconds * RATE)) / RATE + phase * ends[-1]) % ends[-1]
    return np.where(np.searchsorted(ends, moments, side="right") % 2 == 0, 0.8, 0.02)


def read(samples: Samples, rhythm: Rhythm) -> Code:
    """Decode with the thresholds of a usual bench."""
    return decode(samples, rate=RATE, low=0.2, high=0.5, rhythm=rhythm)


phases = st.floats(0.0, 1.0, exclude_max=True)
clocks = st.floats(0.95, 1.05)
digits = st.integers(1, 9)
two_digits = st.tuples(digits, digits).map(lambda pair: f"{pair[0]}{pair[1]}")


@given(digits, phases, clocks)
def test_a_counted_code_is_read_from_any_phase(flashes: int, phase: float, clock: float) -> None:
    """Four repeats hold two complete ones, wherever the record begins and ±5 % in the board's clock."""
    repeat = counted(flashes)
    samples = brightness(repeat, phase=phase, seconds=4 * sum(repeat) * 1.05, clock=clock)
    assert read(samples, COUNT).word == str(flashes)


@given(digits, phases, clocks, st.floats(0.01, 20.0))
def test_a_counted_code_is_never_read_wrong(flashes: int, phase: float, clock: float, seconds: float) -> None:
    """From a window of any length the code is right, or there is none; a flashing lamp is never dark or irregular."""
    word = read(brightness(counted(flashes), phase=phase, seconds=seconds, clock=clock), COUNT).word
    assert word in {str(flashes), "doubtful"}


@given(st.lists(two_digits, min_size=2, max_size=2), phases, clocks)
def test_two_probes_are_read_from_any_phase(codes: list[str], phase: float, clock: float) -> None:
    """Two digits for each of two probes, in turn."""
    repeat = paired(*codes)
    samples = brightness(repeat, phase=phase, seconds=4 * sum(repeat) * 1.05, clock=clock)
    assert read(samples, PAIR).word == " ".join(codes)


@given(st.lists(two_digits, min_size=1, max_size=2), phases, clocks, st.floats(0.01, 60.0))
def test_digits_are_never_read_wrong(codes: list[str], phase: float, clock: float, seconds: float) -> None:
    """From a window of any length the digits are right, or there are none."""
    rhythm = PAIR if len(codes) == 2 else ONE
    word = read(brightness(paired(*codes), phase=phase, seconds=seconds, clock=clock), rhythm).word
    assert word in {" ".join(codes), "doubtful"}


@given(digits, digits, st.integers(1, 3), phases)
def test_a_code_that_changes_is_doubtful(first: int, second: int, repeats: int, phase: float) -> None:
    """Two codes in one record are neither: a lamp that alternates gives no code."""
    if first == second:
        return
    repeat = counted(first) * repeats + counted(second) * repeats
    assert read(brightness(repeat, phase=phase, seconds=2.2 * sum(repeat)), COUNT).word == "doubtful"


def test_half_a_repeat_is_not_counted() -> None:
    """Pause, 3, pause, 3, pause cut to nothing: one repeat and a half, so doubtful; a pause more, so 3."""
    repeat = counted(3)
    start = 1 - 1.1 / sum(repeat)  # 1.1 s before the first flash
    shorter = 1.1 + 2 * sum(repeat) - 1.0
    assert read(brightness(repeat, phase=start, seconds=shorter), COUNT).word == "doubtful"
    assert read(brightness(repeat, phase=start, seconds=shorter + 0.9), COUNT).word == "3"


@pytest.mark.parametrize(
    ("repeat", "word"),
    [
        ([0.2, 0.2], "irregular"),  # flashes on without a pause
        ([0.4, 0.2, 0.2, 1.2], "irregular"),
        ([0.2, 0.5, 0.2, 1.2], "irregular"),
        ([0.2, 3.0], "irregular"),
        ([0.002, 1.2], "irregular"),
    ],
)
def test_a_rhythm_that_is_not_the_codes_is_irregular(repeat: Durations, word: str) -> None:
    """Marks, gaps or pauses of the wrong length are seen, not rounded to the nearest code."""
    assert read(brightness(repeat, phase=0.3, seconds=15.0), COUNT).word == word


def test_the_other_rhythm_is_irregular() -> None:
    """A counting lamp read as digits, and digits for one probe where two are expected, give no code."""
    assert read(brightness(counted(3), phase=0.1, seconds=20.0), PAIR).word == "irregular"
    assert read(brightness(paired("11"), phase=0.1, seconds=30.0), PAIR).word == "irregular"


@pytest.mark.parametrize(("level", "word"), [(0.8, "steady"), (0.02, "dark"), (0.35, "doubtful")])
def test_a_lamp_that_does_not_flash_has_a_word(level: float, word: str) -> None:
    """Lit or dark for longer than the rhythm could leave it so; half-lit all along is neither."""
    assert read(np.full(5000, level), COUNT).word == word
    assert read(np.full(50, level), COUNT).word == "doubtful"


def test_a_lamp_that_goes_out_is_irregular() -> None:
    """Flashes, and then dark for longer than a pause."""
    samples = np.concatenate((brightness(counted(2), phase=0.0, seconds=8.0), np.full(2000, 0.02)))
    assert read(samples, COUNT).word == "irregular"


def test_the_raw_pattern_is_always_given() -> None:
    """What was seen is written down as people would, without the stretches that the ends cut."""
    assert read(brightness(counted(2), phase=0.05, seconds=3.6), COUNT).pattern == (
        "… 0.20 off 0.20 on 1.20 off 0.20 on 0.20 off 0.20 on 1.20 off …"
    )
    assert read(np.full(500, 0.02), COUNT).pattern == "1.00 off throughout"
    assert read(np.full(500, 0.3), COUNT).pattern == "neither lit nor dark"
    assert len(read(brightness(counted(9), phase=0.0, seconds=60.0), COUNT).pattern) < 250


@given(digits, phases, st.sampled_from([2, 5]))
def test_sampling_faster_does_not_change_the_code(flashes: int, phase: float, finer: int) -> None:
    """Every sample taken several times at that multiple of the rate gives the same word."""
    samples = brightness(counted(flashes), phase=phase, seconds=9.0)
    finely = decode(np.repeat(samples, finer), rate=RATE * finer, low=0.2, high=0.5, rhythm=COUNT)
    assert finely.word == read(samples, COUNT).word


@given(st.lists(st.tuples(st.sampled_from([0.2, 0.2, 0.2, 0.3]), st.sampled_from([0.2, 1.2, 1.2, 0.6])), max_size=12))
def test_any_flicker_gives_a_count_only_from_two_whole_equal_repeats(turns: list[tuple[float, float]]) -> None:
    """Whatever a lamp does, a number is said only for two whole groups of it, or for three and an odd one."""
    durations = [1.3] + [part for turn in turns for part in turn]  # begins dark, as long as a pause
    ends = np.cumsum(durations)
    samples = np.where(np.searchsorted(ends, np.arange(round(ends[-1] * RATE)) / RATE, side="right") % 2 == 0, 0.0, 0.8)
    word = read(samples, COUNT).word
    if word in UNKNOWN:
        return
    groups = "".join("|" if dark >= 1.2 else "." for lit, dark in turns).split("|")[:-1]
    usual = [lit == 0.2 and dark in {0.2, 1.2} for lit, dark in turns]
    if all(usual[:-1]) and {str(len(group) + 1) for group in groups} == {word}:
        assert len(groups) >= 2
    else:  # one odd repeat is out-voted by three
        assert sum(str(len(group) + 1) == word for group in groups) >= 3
