"""Crossings with hysteresis."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.signals.levels import crossings, interpolated


def one_by_one(samples: list[float], low: float, high: float) -> list[tuple[int, bool]]:
    """Walk through the samples as a comparator with hysteresis would: the plain reference."""
    state: bool | None = None
    found: list[tuple[int, bool]] = []
    for position, sample in enumerate(samples):
        new = True if sample >= high else False if sample <= low else state
        if state is not None and new is not None and new is not state:
            found.append((position, new))
        state = new
    return found


@given(st.lists(st.sampled_from([0.0, 1.0, 2.0, 3.0, float("nan")]), max_size=60), st.integers(1, 7))
def test_crossings_are_those_of_a_walk(samples: list[float], chunk: int) -> None:
    """Vectorised and in chunks of any length, the edges are those of a comparator that walks sample by sample."""
    found = crossings(np.array(samples, float), low=0.5, high=2.5, chunk=chunk)
    assert one_by_one(samples, 0.5, 2.5) == list(zip(found.index.tolist(), found.rising.tolist(), strict=True))


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
