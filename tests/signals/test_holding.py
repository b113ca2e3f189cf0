"""Chatter of held contacts, misses and sticks of cycled ones."""

import numpy as np
import pytest

from benchtest.signals.found import Count
from benchtest.signals.holding import CLOSED_MAY_OPEN, ELECTRONIC_LOGIC, HIGH_LEVEL, Hold, chatter, held
from benchtest.signals.levels import states
from benchtest.signals.series import Sampled, Stamped, Uneven
from tests.signals.trains import HIGH, LOW

RATE = 1e5


def closed_but(*openings: tuple[float, float], rate: float = RATE) -> Sampled:
    """Return a tenth of a second of a closed contact with openings, begin and length in seconds."""
    times = np.arange(round(0.1 * rate)) / rate
    volts = np.full(times.size, 0.01)
    for begin, length in openings:
        volts[(times >= begin) & (times < begin + length)] = 12.0
    return Sampled(values=volts, rate=rate)


def test_a_held_contact_that_opens_twice_chatters() -> None:
    """Two openings of 1 and 2 ms: counted as a lower bound, the longest within a sample."""
    found = chatter(states(closed_but((0.02, 1e-3), (0.05, 2e-3)), low=LOW, high=HIGH), since=0.0, until=0.099)
    assert (found.count.least, found.count.most) == (2, None)
    assert found.longest.value == pytest.approx(2e-3, abs=1 / RATE)


def test_a_quiet_contact_does_not_chatter_as_far_as_samples_tell() -> None:
    """None seen; the longest that may have hidden is one sample interval."""
    found = chatter(states(closed_but(), low=LOW, high=HIGH), since=0.0, until=0.099)
    assert (found.count.least, found.longest.value, found.longest.doubt) == (0, 0.0, 1 / RATE)


def test_a_contact_that_was_not_closed_was_not_held() -> None:
    """An open contact does not chatter as a closed one; neither does one that was not watched all the time."""
    found = states(closed_but((0.0, 0.1)), low=LOW, high=HIGH)
    assert "not closed" in chatter(found, since=0.0, until=0.09).longest.reason
    assert chatter(found, closed=False, since=0.0, until=0.09).count.least == 0
    assert "watched only" in chatter(found, closed=False, since=0.0, until=0.2).longest.reason


def test_chatter_beyond_what_vibration_allows() -> None:
    """Ten microseconds are allowed: at 1 MS/s an opening of 5 µs is within, one of 20 µs beyond."""
    found = states(closed_but((0.02, 5e-6), (0.05, 20e-6), rate=1e6), low=LOW, high=HIGH)
    assert chatter(found, since=0.0, until=0.09, allowed=CLOSED_MAY_OPEN).beyond == Count(least=1, most=1)


ORDERS = (Hold(closed=True, begin=0.0, end=0.05), Hold(closed=False, begin=0.05, end=0.1))


def cycled(*, closes: float = 0.004, opens: float = 0.053, closed: float = 0.1, opened: float = 5.0) -> Sampled:
    """Return a 5 V electronic-logic contact that is cycled once."""
    times = np.arange(10_000) / RATE
    return Sampled(values=np.where((times >= closes) & (times < opens), closed, opened), rate=RATE)


def test_a_good_contact_is_held_in_both_states() -> None:
    """0.1 V closed, 5 V open: neither missed nor stuck; the worst is reported."""
    closed, opened = held(cycled(), ORDERS, open_circuit=5.0, rule=ELECTRONIC_LOGIC)
    assert (closed.word, closed.worst, opened.word, opened.worst) == ("held", 0.1, "held", 5.0)


@pytest.mark.parametrize(
    ("series", "words"),
    [
        (cycled(closes=1.0, opens=2.0), ("miss", "held")),
        (cycled(opens=1.0), ("held", "stick")),
        (cycled(closed=2.1), ("miss", "held")),
        (cycled(closed=2.05), ("held", "held")),
        (cycled(opened=4.4), ("held", "stick")),
    ],
    ids=["never closes", "never opens", "drops 2.1 V", "drops 2.05 V", "opens to 88 %"],
)
def test_misses_and_sticks(series: Sampled, words: tuple[str, str]) -> None:
    """MIL-PRF-22885/71C: a drop of 2.1 V is a miss, less than 90 % of the open voltage a stick."""
    assert tuple(h.word for h in held(series, ORDERS, open_circuit=5.0, rule=ELECTRONIC_LOGIC)) == words


def test_bounce_in_the_first_ten_milliseconds_is_no_miss_but_later_is() -> None:
    """The contact is looked at from 10 ms after its first closure."""
    series = cycled()
    series.values[1000:1010] = 5.0  # 6 ms after the first closure
    assert held(series, ORDERS, open_circuit=5.0, rule=ELECTRONIC_LOGIC)[0].word == "held"
    series.values[2000:2010] = 5.0  # 16 ms after it
    missed = held(series, ORDERS, open_circuit=5.0, rule=ELECTRONIC_LOGIC)[0]
    assert missed.word == "miss"
    assert missed.at == pytest.approx(0.02)
    assert held(series, ORDERS, open_circuit=5.0, rule=HIGH_LEVEL)[0].at == pytest.approx(0.01)


def test_what_cannot_be_told_is_undecided() -> None:
    """Too short a hold, no samples in it, or stamps without volts: each with its reason; no voltage is refused."""
    short, outside = Hold(closed=True, begin=0.0, end=0.01), Hold(closed=True, begin=1.0, end=2.0)
    found = held(cycled(), (short, outside), open_circuit=5.0, rule=ELECTRONIC_LOGIC)
    assert [h.word for h in found] == ["undecided", "undecided"]
    assert all(h.reason for h in found)
    longer = held(cycled(), (Hold(closed=False, begin=0.05, end=0.2),), open_circuit=5.0, rule=ELECTRONIC_LOGIC)
    assert "watched only" in longer[0].reason
    stamps = Stamped(times=np.array([0.01]), rising=np.array([False]), first=True, begin=0.0, end=0.1)
    assert "no volts" in held(stamps, ORDERS, open_circuit=5.0, rule=ELECTRONIC_LOGIC)[0].reason
    with pytest.raises(ValueError, match="not zero"):
        held(cycled(), ORDERS, open_circuit=0.0, rule=ELECTRONIC_LOGIC)


def test_an_uneven_column_is_held_to_the_same_rule() -> None:
    """The same contact at its own times, with the test voltage the other way round."""
    even = cycled(closed=2.2)
    uneven = Uneven(values=-even.values, times=np.arange(10_000) / RATE)
    words = [tuple(h.word for h in held(s, ORDERS, open_circuit=-5.0, rule=ELECTRONIC_LOGIC)) for s in (even, uneven)]
    assert words[0] == words[1] == ("miss", "held")
