"""What a bench read of itself is kept like everything else."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.canonical import from_canonical, to_canonical
from benchtest.readings import Compared, Evidence, Exchanged, LoopedBack
from benchtest.records.evidence import as_fields, from_fields

seconds = st.floats(min_value=0, max_value=1e6)
pairs = st.tuples(seconds, seconds)


def back(evidence: Evidence) -> Evidence:
    """Return evidence after it lay in a file."""
    return from_fields(from_canonical(to_canonical(as_fields(evidence))))


@given(answers=st.dictionaries(st.text(max_size=8), st.lists(seconds, max_size=4).map(tuple), max_size=3), step=seconds)
def test_round_trips_come_back_as_they_were(answers: dict[str, tuple[float, ...]], step: float) -> None:
    """Every answer of every adapter."""
    evidence = Exchanged(seconds=answers, step=step)
    assert evidence == back(evidence)


@given(asked=pairs, answered=pairs, adapter=pairs)
def test_compared_clocks_come_back_as_they_were(
    asked: tuple[float, float], answered: tuple[float, float], adapter: tuple[float, float]
) -> None:
    """To the last bit."""
    evidence = Compared(asked=asked, answered=answered, adapter=adapter)
    assert evidence == back(evidence)


@pytest.mark.parametrize("way", [0.0012, math.inf])
def test_what_came_round_comes_back_as_it_was(way: float) -> None:
    """Also where nothing came."""
    evidence = LoopedBack(out=way, back=0.001)
    assert evidence == back(evidence)
