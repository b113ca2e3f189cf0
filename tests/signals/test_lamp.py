"""Lamp codes: right or doubtful, never wrong."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.procedure import CountRhythm, DigitsRhythm, Rhythm
from benchtest.signals.lamp import Code, decode, learn
from benchtest.signals.levels import Samples
from benchtest.signals.series import Sampled, Stamped

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


def rough(samples: Samples, seed: int = 1) -> Samples:
    """Return samples with noise 26 dB below the step, and a slow drift."""
    return samples + np.random.default_rng(seed).normal(0, 0.04, samples.size) + np.linspace(0, 0.3, samples.size)


scales = st.floats(1e-3, 1e3)
offsets = st.floats(-100.0, 100.0)


@given(digits, phases, scales, offsets)
def test_neither_gain_nor_ambient_light_changes_the_code(
    flashes: int, phase: float, gain: float, offset: float
) -> None:
    """Brightness times a gain plus an offset of up to a hundred steps gives the same word and pattern."""
    samples = rough(brightness(counted(flashes), phase=phase, seconds=4 * sum(counted(flashes)) * 1.05))
    plain, changed = (decode(part, COUNT, rate=RATE) for part in (samples, gain * (samples + offset)))
    assert plain.word == changed.word == str(flashes)
    assert plain.pattern == changed.pattern


@given(digits, phases, st.floats(-1e4, 1e4))
def test_the_code_does_not_depend_on_when_it_was_recorded(flashes: int, phase: float, start: float) -> None:
    """The same samples at another time give the same code."""
    samples = rough(brightness(counted(flashes), phase=phase, seconds=4 * sum(counted(flashes)) * 1.05))
    there = decode(Sampled(values=samples, rate=RATE, start=start), COUNT)
    assert (there.word, there.pattern) == (str(flashes), decode(samples, COUNT, rate=RATE).pattern)


@given(digits, phases, st.floats(0.0, 1.0))
def test_a_part_of_a_record_says_the_same_or_nothing(flashes: int, phase: float, cut: float) -> None:
    """Cut anywhere, both parts give the code or are doubtful, thresholds given or not."""
    samples = rough(brightness(counted(flashes), phase=phase, seconds=5 * sum(counted(flashes))))
    at = int(cut * samples.size)
    for part in (samples[:at], samples[at:]):
        assert decode(part, COUNT, rate=RATE).word in {str(flashes), "doubtful", "dark or steady"}
        assert decode(part, COUNT, 0.4, 0.6, rate=RATE).word in {str(flashes), "doubtful"}


@given(digits, phases)
def test_a_record_played_twice_is_as_certain_at_least(flashes: int, phase: float) -> None:
    """Three whole repeats, twice: the same code from more repeats, with no less confidence."""
    samples = brightness(counted(flashes), phase=phase, seconds=3 * sum(counted(flashes)))
    samples = samples + np.random.default_rng(1).normal(0, 0.2, samples.size)
    once, twice = (decode(np.tile(samples, times), COUNT, rate=RATE) for times in (1, 2))
    assert twice.word == str(flashes)
    assert once.word in {str(flashes), "doubtful"}
    assert len(twice.repeats) > len(once.repeats)
    assert twice.confidence >= once.confidence - 1e-6


@given(digits, phases)
def test_stamped_changes_give_the_code_that_samples_give(flashes: int, phase: float) -> None:
    """A list of changes, as of a logic analyser, is read like brightness, with certainty."""
    repeat = counted(flashes)
    samples = brightness(repeat, phase=phase, seconds=4 * sum(repeat) * 1.05)
    edges = np.flatnonzero(np.diff(samples)) + 1
    stamped = Stamped(
        times=edges / RATE,
        rising=samples[edges] > 0.5,
        first=bool(samples[0] > 0.5),
        begin=0.0,
        end=samples.size / RATE,
    )
    code = decode(stamped, COUNT)
    assert (code.word, code.confidence) == (str(flashes), 1.0)
    nothing = Stamped(times=np.empty(0), rising=np.empty(0, np.bool_), first=True, begin=0.0, end=9.0)
    assert decode(nothing, COUNT).word == "steady"
    assert decode(Stamped(times=nothing.times, rising=nothing.rising, first=None, begin=0.0, end=9.0), COUNT).word in {
        "doubtful",
        "dark or steady",
    }


@pytest.mark.parametrize(
    ("odd", "word", "repeats"),
    [
        ([0.2, 0.6, 0.2, 1.2], "4", ("4", "4", "4", "?", "4")),  # the second and the third flash are missing
        ([0.2, 0.2] * 4 + [0.2, 1.2], "4", ("4", "4", "4", "5", "4")),  # one more
        ([0.2, 0.2] * 2 + [0.2, 1.6], "4", ("4", "4", "4", "3", "4")),  # the last is missing, so the pause is longer
        ([0.2, 0.2, 0.2, 1.2], "doubtful", ("4", "4", "4", "2", "4")),  # another code, not a flash too few
    ],
)
def test_one_repeat_with_a_wrong_flash_is_outvoted_by_three(
    odd: Durations, word: str, repeats: tuple[str, ...]
) -> None:
    """Three equal repeats outvote one with a flash too few or too many; the confidence says that it was a vote."""
    usual = counted(4)
    durations = [*usual * 4, *odd, *usual * 2]
    samples = rough(brightness(durations, phase=0.01, seconds=sum(durations) - 1.0))
    code = read(samples, COUNT) if word == "doubtful" else decode(samples, COUNT, rate=RATE)
    assert (code.word, code.repeats) == (word, repeats)
    assert code.confidence < 0.9
    two = brightness([*usual, *odd], phase=0.0, seconds=2 * (sum(usual) + sum(odd)) + 1.0)
    assert decode(two, COUNT, rate=RATE).word in {"doubtful", "irregular"}


def test_samples_that_are_no_numbers_are_looked_past() -> None:
    """One in twenty is not a number, and a stretch as long as half a flash; where a whole flash may be lost, none."""
    samples = rough(brightness(counted(3), phase=0.2, seconds=9.0))
    samples[np.random.default_rng(1).random(samples.size) < 0.05] = np.nan
    samples[1000:1050] = np.nan
    assert decode(samples, COUNT, rate=RATE).word == "3"
    samples[1000:1110] = np.nan
    assert decode(samples, COUNT, rate=RATE).word == "doubtful"
    assert decode(np.full(100, np.nan), COUNT, rate=RATE).word == "doubtful"


@pytest.mark.parametrize("size", [0, 1, 2, 3, 10])
def test_a_record_of_hardly_any_samples_is_doubtful(size: int) -> None:
    """Nothing is read from nothing."""
    for rhythm in (COUNT, None):
        assert decode(np.zeros(size), rhythm, 0.2, 0.5, rate=RATE).word == "doubtful"


def test_without_thresholds_one_level_is_dark_or_steady() -> None:
    """Which of them cannot be known; a threshold tells, also one alone."""
    level = np.full(5000, 0.8)
    assert decode(level, COUNT, rate=RATE).word == "dark or steady"
    assert decode(level, None, rate=RATE).word == "dark or steady"
    assert decode(level, COUNT, high=0.5, rate=RATE).word == "steady"
    assert decode(level, COUNT, low=0.9, rate=RATE).word == "dark"


def test_a_lamp_that_flashes_evenly_has_no_code_to_be_learned() -> None:
    """Without a declared rhythm, half a second lit and dark by turns is flashing; anything goes is irregular."""
    assert decode(rough(brightness([0.5, 0.5], phase=0.2, seconds=12.0)), rate=RATE).word == "flashing"
    wild = brightness([0.5, 0.2, 0.1, 0.9, 0.3, 0.4, 1.1, 0.15], phase=0.2, seconds=12.0)
    assert decode(rough(wild), rate=RATE).word == "irregular"


def test_the_learned_rhythm_is_told() -> None:
    """Flash, gap and pause come out as they were, and slow and quick digits for two probes too."""
    rhythm = learn(rough(brightness(counted(4), phase=0.2, seconds=12.0)), rate=RATE)
    assert isinstance(rhythm, CountRhythm)
    assert (rhythm.flash, rhythm.gap, rhythm.pause) == pytest.approx((0.2, 0.2, 1.2), rel=0.03)
    rhythm = learn(rough(brightness(paired("21", "13"), phase=0.2, seconds=40.0)), rate=RATE)
    assert isinstance(rhythm, DigitsRhythm)
    assert (rhythm.slow, rhythm.quick, rhythm.between_digits) == pytest.approx((0.3, 0.1, 0.6), rel=0.03)
    assert (rhythm.between_probes, rhythm.pause, rhythm.probes) == pytest.approx((1.0, 2.0, 2), rel=0.03)
    assert learn(np.full(1000, 0.3), rate=RATE) is None


def test_what_cannot_be_asked_is_refused() -> None:
    """Plain samples without a rate, and thresholds the wrong way round."""
    with pytest.raises(ValueError, match="need their rate"):
        decode(np.zeros(10), COUNT)
    with pytest.raises(ValueError, match=r"low 0.5 is not below high 0.2"):
        decode(np.zeros(10), COUNT, 0.5, 0.2, rate=RATE)
