"""Crossings with hysteresis."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import DTypeLike

from benchtest.signals.levels import crossings, interpolated, states, straddling
from benchtest.signals.series import Sampled, Stamped, Uneven
from tests.signals.trains import walked


@given(st.lists(st.sampled_from([0.0, 1.0, 2.0, 3.0, float("nan")]), max_size=60), st.integers(1, 7))
def test_crossings_are_those_of_a_walk(samples: list[float], chunk: int) -> None:
    """Vectorised and in chunks of any length, the edges are those of a comparator that walks sample by sample."""
    found = crossings(np.array(samples, float), low=0.5, high=2.5, chunk=chunk)
    assert walked(samples, 0.5, 2.5) == list(zip(found.index.tolist(), found.rising.tolist(), strict=True))


def test_an_edge_at_the_second_sample_keeps_its_direction() -> None:
    """Direction is a separate array, so the first possible edge is told rising from falling."""
    rising = crossings(np.array([0.0, 5.0]), low=1.0, high=4.0)
    falling = crossings(np.array([5.0, 0.0]), low=1.0, high=4.0)
    assert (rising.index.tolist(), rising.rising.tolist(), rising.first, rising.last) == ([1], [True], False, True)
    assert (falling.index.tolist(), falling.rising.tolist(), falling.first, falling.last) == ([1], [False], True, False)


def test_noise_on_one_threshold_makes_no_edges() -> None:
    """A signal that wanders around one threshold changes its state once, not often."""
    samples = np.array([0.0, 3.9, 4.1, 3.9, 4.1, 3.9, 4.1])
    assert crossings(samples, low=1.0, high=4.0).index.tolist() == [2]


def test_nothing_decided_has_no_state() -> None:
    """A signal between the thresholds all along has neither a first state nor a last."""
    found = crossings(np.full(10, 2.0), low=1.0, high=4.0)
    assert (found.first, found.last, found.index.size) == (None, None, 0)


@pytest.mark.parametrize(("low", "high"), [(2.0, 1.0), (1.0, 1.0), (float("nan"), 1.0)])
def test_thresholds_in_the_wrong_order_are_refused(low: float, high: float) -> None:
    """Without a gap between the thresholds there is no hysteresis."""
    with pytest.raises(ValueError, match="not below"):
        crossings(np.zeros(3), low=low, high=high)


def test_interpolation_finds_the_line() -> None:
    """Between 0 at sample 1 and 10 at sample 2 the line passes 2.5 at 1.25; elsewhere the index stands."""
    samples = np.array([0.0, 0.0, 10.0, 10.0])
    assert interpolated(samples, 2, 2.5) == 1.25
    assert interpolated(samples, 3, 2.5) == 3.0
    assert interpolated(samples, 2, 20.0) == 2.0
    assert interpolated(samples, 0, 2.5) == 0.0


NAN = float("nan")


@given(
    st.lists(st.tuples(st.sampled_from([0, 1, 2, 3]), st.integers(1, 40)), max_size=40),
    st.sampled_from(["f4", "f8", "i2", "u1"]),
    st.integers(1, 64),
)
def test_long_runs_of_every_type_are_read_like_a_walk(runs: list[tuple[int, int]], kind: str, chunk: int) -> None:
    """Stretches longer than a word, of floats and whole numbers, in chunks of any length."""
    samples = np.repeat([value for value, _ in runs], [length for _, length in runs]).astype(kind)
    found = crossings(samples, low=0.5, high=2.5, chunk=chunk)
    expected = walked(samples.astype(float).tolist(), 0.5, 2.5)
    assert expected == list(zip(found.index.tolist(), found.rising.tolist(), strict=True))


@pytest.mark.parametrize("period", [2, 4, 8, 16, 24])
def test_a_square_wave_that_repeats_in_every_word_keeps_all_its_edges(period: int) -> None:
    """Equal words in a row are opened when both sides are in them."""
    samples = np.tile(np.repeat([0.0, 5.0], period // 2), 5000)
    found = crossings(samples, low=1.0, high=4.0, chunk=4096)
    assert found.index.tolist() == list(range(period // 2, samples.size, period // 2))


@pytest.mark.parametrize("kind", ["f4", "f8", "i2"])
def test_quiet_stretches_are_skipped_and_nothing_in_them(kind: DTypeLike) -> None:
    """One sample on the other side, in the midst of a million quiet ones, is found; so is one beside a non-number."""
    samples = np.zeros(1_000_000, kind)
    samples[[300_000, 700_001]] = 5
    if np.issubdtype(samples.dtype, np.floating):
        samples[[300_002, 699_999]] = NAN
    found = crossings(samples, low=1.0, high=4.0, chunk=1 << 12)
    assert found.index.tolist() == [300_000, 300_001, 700_001, 700_002]


def test_thresholds_that_the_samples_cannot_tell_apart_are_refused() -> None:
    """A difference below the last digit of a 32-bit float is none."""
    with pytest.raises(ValueError, match="one and the same"):
        crossings(np.zeros(3, np.float32), low=1.0, high=1.0 + 1e-12)


def test_thresholds_beyond_what_is_stored_are_never_reached() -> None:
    """Codes of a converter and 32-bit floats have ends; a threshold beyond them is no error."""
    for samples in (np.arange(-100, 100, dtype=np.int16), np.linspace(-1, 1, 200, dtype=np.float32)):
        assert crossings(samples, low=-1e300, high=1e300).first is None
        assert crossings(samples, low=0.0, high=np.inf).first is False


def test_crossings_need_little_memory() -> None:
    """Sixteen million samples, in which every other one is an edge, for a while: 64 MiB at most beside them."""
    samples = np.zeros(1 << 24, np.float32)
    samples[: 1 << 20 : 2] = 5.0
    tracemalloc.start()
    found = crossings(samples, low=1.0, high=4.0)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found.index.size == (1 << 20) - 1
    assert most < 64 << 20


def test_a_jump_is_midway_and_in_doubt_by_one_gap() -> None:
    """Between 2 s and 3 s of an uneven column with samples at 0, 2, 3 and 7 s."""
    found = states(Uneven(values=np.array([0.0, 0.0, 5.0, 5.0]), times=np.array([0.0, 2.0, 3.0, 7.0])), low=1, high=4)
    assert (found.moments.tolist(), found.doubts.tolist(), found.gap) == ([2.5], [1.0], 4.0)


def test_a_sampled_slope_crosses_the_middle_where_the_line_does() -> None:
    """A slow ramp of a thousand samples crosses the middle of the thresholds half-way, up and down."""
    ramp = np.linspace(0.0, 10.0, 1001)
    found = states(Sampled(values=np.concatenate((ramp, ramp[::-1])), rate=1000.0), low=1.0, high=9.0)
    assert found.moments == pytest.approx([0.5, 1.501], abs=1e-9)
    assert found.rising.tolist() == [True, False]


def test_samples_that_are_no_numbers_widen_the_doubt_and_the_gap() -> None:
    """A change behind three missing samples lies anywhere in four intervals; so may what was missed."""
    values = np.array([0.0, 0.0, NAN, NAN, NAN, 5.0, 5.0])
    found = states(Sampled(values=values, rate=1.0), low=1.0, high=4.0)
    assert (found.moments.tolist(), found.doubts.tolist()) == ([3.0], [4.0])
    assert (found.gap, found.unread) == (4.0, 3)


def test_stamps_that_change_nothing_are_no_changes() -> None:
    """A logger that repeats the state makes no edge; the state before the first is the other one."""
    series = Stamped(
        times=np.array([1.0, 2.0, 3.0]), rising=np.array([True, True, False]), first=None, begin=0.0, end=4.0
    )
    found = states(series, low=0.0, high=1.0)
    assert (found.moments.tolist(), found.first, found.last) == ([1.0, 3.0], False, False)
    assert [found.at(moment) for moment in (0.5, 1.0, 2.9, 3.5)] == [False, True, True, False]


STEPS = st.lists(st.sampled_from([0.0, 1.0, 2.0, 3.0]), min_size=2, max_size=60)


@given(STEPS, st.floats(0.1, 10.0), st.floats(-5.0, 5.0))
def test_scaling_and_shifting_move_nothing_else(values: list[float], factor: float, shift: float) -> None:
    """A signal in other units, with thresholds in those, started later, changes at the same moments."""
    plain = states(Sampled(values=np.array(values), rate=1.0), low=0.5, high=2.5)
    scaled = np.array(values) * factor
    moved = states(Sampled(values=scaled, rate=1.0, start=shift), low=0.5 * factor, high=2.5 * factor)
    assert moved.rising.tolist() == plain.rising.tolist()
    assert moved.moments == pytest.approx(plain.moments + shift, abs=1e-9)


@given(STEPS.filter(lambda values: values[0] in (0.0, 3.0) and values[-1] in (0.0, 3.0)))
def test_time_reversed_turns_edges_round(values: list[float]) -> None:
    """As many edges, mirrored: a rise becomes a fall. Each within the slope that it had."""
    forth = states(Sampled(values=np.array(values), rate=1.0), low=0.5, high=2.5)
    back = states(Sampled(values=np.array(values[::-1]), rate=1.0), low=0.5, high=2.5)
    assert back.rising[::-1].tolist() == (~forth.rising).tolist()
    assert (back.first, back.last) == (forth.last, forth.first)
    for there, here in zip(forth.moments, len(values) - 1 - back.moments[::-1], strict=True):
        between = values[round(min(there, here) + 0.5 - 1e-9) : round(max(there, here))]
        assert there == pytest.approx(here) or all(0.5 < value < 2.5 for value in between)


@given(STEPS, st.integers(0, 58))
def test_a_repeated_sample_changes_no_state(values: list[float], place: int) -> None:
    """The same sample once more, a little later, adds no edge and moves none by more than the gap it splits."""
    times = np.arange(len(values), dtype=float)
    place = min(place, len(values) - 1)
    plain = states(Uneven(values=np.array(values), times=times), low=0.5, high=2.5)
    doubled = states(
        Uneven(values=np.insert(values, place, values[place]), times=np.insert(times, place + 1, place + 0.5)),
        low=0.5,
        high=2.5,
    )
    assert doubled.rising.tolist() == plain.rising.tolist()
    assert doubled.moments == pytest.approx(plain.moments, abs=1.0)


@given(STEPS, st.integers(1, 58))
def test_a_record_split_anywhere_has_the_same_changes(values: list[float], place: int) -> None:
    """The changes of both parts, and one between them when the state there differs."""
    place = min(place, len(values) - 1)
    parts = values[:place], values[place:]
    whole = states(Sampled(values=np.array(values), rate=1.0), low=0.5, high=2.5)
    first, second = (
        states(Sampled(values=np.array(part), rate=1.0, start=start), low=0.5, high=2.5)
        for part, start in zip(parts, (0.0, float(place)), strict=True)
    )
    between = first.last is not None and second.first is not None and first.last is not second.first
    assert whole.rising.size == first.rising.size + second.rising.size + between
    assert whole.rising.tolist() == [*first.rising, *([second.first] if between else []), *second.rising]


def test_no_sample_on_the_old_side_straddles_nothing() -> None:
    """Two high samples do not cross the middle; samples that are no numbers are stepped over."""
    assert straddling(np.array([5.0, 5.0]), 1, 2.5, rising=True) == (1, 1)
    assert straddling(np.array([0.0, NAN, NAN, 5.0]), 3, 2.5, rising=True) == (0, 3)
    assert straddling(np.array([5.0, 0.0, 0.0]), 2, 2.5, rising=False) == (0, 1)
