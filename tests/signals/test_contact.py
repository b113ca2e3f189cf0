"""What a switched signal did."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.signals.contact import arrival, bouncing, side
from benchtest.signals.levels import Samples

OPEN, MADE = 12.0, 0.005


def contact(*runs: int) -> Samples:
    """Return volts of runs of samples: open for a positive length, made for a negative one."""
    return np.concatenate([np.full(abs(run), OPEN if run > 0 else MADE) for run in runs])


def test_the_first_making_is_the_arrival_whatever_bounces_after_it() -> None:
    """Five open samples, then made: between the fifth and the sixth, bounce or not."""
    for samples in (contact(5, -20), contact(5, -2, 3, -15)):
        assert arrival(samples, low=1.0, high=9.0, above=False, after=2).moment == 4.5


def test_a_contact_that_was_there_already_does_not_arrive() -> None:
    """A welded contact does not become made by being commanded."""
    found = arrival(contact(-20), low=1.0, high=9.0, above=False, after=3)
    assert (found.moment, found.already) == (None, True)


def test_a_contact_that_never_comes_has_no_arrival() -> None:
    """Open to the end of the record: no arrival, and not there before."""
    found = arrival(contact(20), low=1.0, high=9.0, above=False, after=3)
    assert (found.moment, found.already) == (None, False)


def test_half_way_is_no_arrival() -> None:
    """Between the thresholds is neither state."""
    samples = np.array([12.0, 12.0, 5.0, 5.0, 0.0])
    assert arrival(samples, low=1.0, high=9.0, above=False, after=0).moment == 3.5


def test_bounce_runs_from_first_making_to_last_change() -> None:
    """Made, open for 3, made, open for 1, made: 2 + 3 + 4 + 1 samples, two re-openings."""
    found = bouncing(contact(5, -2, 3, -4, 1, -20), low=1.0, high=9.0)
    assert found is not None
    assert (found.duration, found.count, found.settled) == (10.0, 2, True)


def test_a_clean_contact_has_no_bounce() -> None:
    """One making and nothing after it is a bounce of nothing."""
    found = bouncing(contact(5, -20), low=1.0, high=9.0)
    assert found is not None
    assert (found.duration, found.count, found.settled) == (0.0, 0, True)


def test_a_contact_that_lets_go_has_not_settled() -> None:
    """Made once and open at the end."""
    found = bouncing(contact(5, -2, 20), low=1.0, high=9.0)
    assert found is not None
    assert not found.settled


@pytest.mark.parametrize("samples", [contact(20), np.full(20, 5.0)])
def test_a_contact_never_made_has_no_bounce(samples: Samples) -> None:
    """Open all along, or half-way all along."""
    assert bouncing(samples, low=1.0, high=9.0) is None


@given(st.lists(st.integers(1, 30), min_size=1, max_size=9), st.integers(1, 50), st.integers(2, 5))
def test_finer_sampling_and_a_later_start_scale_and_shift_nothing_else(runs: list[int], wait: int, finer: int) -> None:
    """Sampled faster, bounce grows by that factor; started later, it does not change."""
    turns = [run if position % 2 else -run for position, run in enumerate(runs)]
    plain = bouncing(contact(5, *turns, -40), low=1.0, high=9.0)
    later = bouncing(contact(5 + wait, *turns, -40), low=1.0, high=9.0)
    fine = bouncing(np.repeat(contact(5, *turns, -40), finer), low=1.0, high=9.0)
    assert plain == later
    assert plain is not None
    assert fine is not None
    assert (fine.duration, fine.count) == (plain.duration * finer, plain.count)


@pytest.mark.parametrize(
    ("samples", "word"),
    [
        (contact(9), "above"),
        (contact(-9), "below"),
        (contact(4, -4), "changing"),
        (np.array([12.0, 5.0]), "changing"),
        (np.array([5.0, 5.0]), "between"),
        (np.array([float("nan")]), "between"),
        (np.array([]), "changing"),
    ],
)
def test_the_side_of_a_window(samples: Samples, word: str) -> None:
    """One word for the whole window; an empty one shows no state."""
    assert side(samples, low=1.0, high=9.0) == word
