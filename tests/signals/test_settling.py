"""How contacts come to rest, from every kind of record."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from benchtest.signals.contact import (
    BOUNCE_SHARE,
    BounceRule,
    Settling,
    TimeRule,
    change_time,
    settling,
)
from benchtest.signals.found import Count, Found
from benchtest.signals.levels import states
from benchtest.signals.series import Sampled, Series, Stamped
from tests.signals.trains import HIGH, LOW, MADE, OPEN, Train, random_train

MIL = BounceRule.MIL_R_5757J


def settled(series: Series, **asked: Any) -> Settling:
    """Return how a series of volts across a contact settled."""
    return settling(states(series, low=LOW, high=HIGH), **asked)


def train(*moments: float, duration: float = 0.1) -> Train:
    """Return a train of changes, the first a make."""
    return Train(moments=np.array(moments), duration=duration)


def recorded(*moments: float, rate: float = 1e5, duration: float = 0.1) -> Series:
    """Return a train sampled without noise."""
    times = np.arange(int(duration * rate)) / rate
    return Sampled(values=train(*moments).volts(times), rate=rate)


@pytest.mark.parametrize("kind", ["sampled", "uneven", "stamped"])
@pytest.mark.parametrize("rate", [1e4, 1e5])
def test_a_thousand_random_trains_are_read_within_one_sample(kind: str, rate: float) -> None:
    """First make, last change, bounce time and count of trains whose states are longer than two samples."""
    rng = np.random.default_rng(1)
    for _ in range(1000):
        truth = random_train(rng, shortest=2 / rate)
        found = settled(truth.recorded(kind, rate=rate, rng=rng))
        assert found.first.value == pytest.approx(truth.moments[0], abs=1 / rate)
        assert found.settled.value == pytest.approx(truth.moments[-1], abs=1 / rate)
        assert found.bounce.value == pytest.approx(truth.moments[-1] - truth.moments[0], abs=2 / rate)
        assert found.returns.least == truth.moments.size // 2
        assert found.first.value is not None
        assert abs(found.first.value - truth.moments[0]) <= found.first.doubt / 2 + 1e-12


def test_trains_faster_than_the_samples_are_never_counted_too_high() -> None:
    """Where bounces hide between samples, what was seen is a lower bound, and the first make stays a sample near."""
    rng = np.random.default_rng(2)
    for _ in range(300):
        truth = random_train(rng, shortest=0.0)
        found = settled(truth.recorded("sampled", rate=5e3, rng=rng))
        assert found.returns.least <= truth.moments.size // 2
        assert found.returns.most is None
        assert found.settled.value is not None
        assert found.settled.value <= truth.moments[-1] + 2e-4


def test_peaks_of_scipy_are_as_many_as_returns() -> None:
    """scipy.signal.find_peaks counts the same re-openings as plateaus above the threshold."""
    rng = np.random.default_rng(3)
    for _ in range(50):
        series = random_train(rng, shortest=3e-5).recorded("sampled", rate=1e5, rng=rng)
        assert isinstance(series, Sampled)
        peaks, _ = signal.find_peaks(np.clip(series.values, LOW, HIGH), height=HIGH, plateau_size=1)
        assert settled(series).returns.least == peaks.size


def test_a_record_that_begins_made_did_not_show_the_first_make() -> None:
    """A welded contact, or a record begun late: nothing is guessed, and the reason says so."""
    found = settled(Sampled(values=np.full(100, MADE), rate=1e4))
    assert found.first.value is found.settled.value is found.bounce.value is None
    assert "already" in found.first.reason
    assert (found.returns.least, found.returns.most) == (0, None)


@pytest.mark.parametrize(
    ("values", "why"),
    [(np.full(100, OPEN), "not made until"), (np.full(100, 6.0), "neither"), (np.full(100, np.nan), "neither")],
    ids=["open throughout", "half-way throughout", "no numbers"],
)
def test_a_contact_never_made_has_a_reason(values: np.ndarray[tuple[int], np.dtype[np.float64]], why: str) -> None:
    """Open, half-way, or not readable: three different things to be told."""
    assert why in settled(Sampled(values=values, rate=1e4)).first.reason


def test_an_ending_that_still_bounces_is_not_settled() -> None:
    """Open at the end, or made for less than the quiet time: the first make stands, the rest is undecided."""
    opened, short = settled(recorded(0.01, 0.012, duration=0.02)), settled(recorded(0.01, 0.012, 0.018, duration=0.02))
    assert opened.first.value == short.first.value == pytest.approx(0.01, abs=1e-5)
    assert "has not settled" in opened.settled.reason
    assert "may not have settled" in short.settled.reason
    assert settled(recorded(0.01, 0.012, 0.018, duration=0.02), quiet=1e-3).settled.value is not None


def test_a_window_leaves_out_what_is_not_asked() -> None:
    """Bounce before the order and chatter long after it are not part of this make."""
    series = recorded(0.005, 0.02, 0.031, 0.032, 0.033, 0.08, 0.081)
    found = settled(series, since=0.03, until=0.06)
    assert found.first.value == pytest.approx(0.031, abs=1e-5)
    assert found.settled.value == pytest.approx(0.033, abs=1e-5)
    assert found.returns.least == 1


def test_a_window_beyond_the_record_proves_no_rest() -> None:
    """Asked until 1 s of a record that ends 2 ms after the last change: still not settled."""
    found = settled(recorded(0.01, 0.012, 0.018, duration=0.02), since=-1.0, until=1.0)
    assert "may not have settled" in found.settled.reason


def test_breaking_is_the_same_turned_round() -> None:
    """A contact that lets go at 50 ms and touches once more for half a millisecond."""
    found = settled(recorded(0.01, 0.05, 0.051, 0.0515), way="break", since=0.02)
    assert found.first.value == pytest.approx(0.05, abs=1e-5)
    assert found.bounce.value == pytest.approx(0.0015, abs=2e-5)
    assert (found.way, found.returns.least) == ("break", 1)


def test_a_contact_that_feeds_its_sense_line_is_made_above() -> None:
    """Volts behind the contact instead of across it: the same moments."""
    across = recorded(0.01, 0.011, 0.0125)
    assert isinstance(across, Sampled)
    behind = Sampled(values=OPEN - across.values, rate=across.rate)
    assert settled(across).bounce == settled(behind, made="above").bounce


def test_stamped_edges_with_no_step_are_exact() -> None:
    """An ideal logger leaves no doubt about the count; a clock with a step does."""
    times, rising = np.array([0.01, 0.011, 0.012]), np.array([False, True, False])
    ideal = Stamped(times=times, rising=rising, first=True, begin=0.0, end=0.1)
    ticking = Stamped(times=times, rising=rising, first=True, begin=0.0, end=0.1, resolution=1e-4)
    assert settled(ideal).returns == Count(least=1, most=1)
    assert settled(ideal).first == Found.known(0.01)
    assert not settled(ticking).returns.exact


@pytest.mark.parametrize(
    ("rate", "opening", "least", "most"),
    [
        (1e6, 5e-6, 0, 0),  # six samples at the most: shorter than 10 µs for certain
        (1e6, 10.4e-6, 0, 1),  # ten samples: 9 to 11 µs
        (1e6, 20e-6, 1, 2),  # one, or two with a short making between two samples
        (1e4, 250e-6, 1, None),  # others may lie between samples
        (1e4, 100e-6, 0, None),  # one sample open: 0 to 200 µs
    ],
)
def test_ten_microseconds_are_counted_as_far_as_samples_tell(
    rate: float, opening: float, least: int, most: int | None
) -> None:
    """MIL-R-5757J, 4.6.8.5.1: certain, possible, or not to be excluded."""
    begin = 0.02 + 0.3 / rate
    returns = settled(recorded(0.01, begin, begin + opening, rate=rate, duration=0.05), rule=MIL).returns
    assert (returns.least, returns.most) == (least, most)
    assert bool(returns.reason) == (least != most)


def test_stamps_tell_ten_microseconds_exactly() -> None:
    """Openings of 9, 10 and 11 µs: two of the three count."""
    moments = np.cumsum([0.01, 1e-3, 9e-6, 1e-3, 10e-6, 1e-3, 11e-6])
    series = Stamped(times=moments, rising=np.arange(7) % 2 == 1, first=True, begin=0.0, end=0.1)
    assert settled(series, rule=MIL).returns == Count(least=2, most=2)
    assert settled(series).returns == Count(least=3, most=3)


def test_operate_times_by_three_definitions() -> None:
    """Two poles, order at 5 ms: first pole 10 ms, last pole 12 ms, with its bounce 14 ms."""
    poles = [settled(recorded(0.015, 0.0155, 0.016)), settled(recorded(0.017, 0.018, 0.019))]
    times = {rule: change_time(poles, cause=0.005, rule=rule) for rule in TimeRule}
    assert {rule: round((t.seconds.value or 0) * 1e3, 1) for rule, t in times.items()} == {
        TimeRule.FIRST_CONTACT: 10.0,
        TimeRule.LAST_CONTACT: 12.0,
        TimeRule.SETTLED: 14.0,
    }
    assert all(rule is timed.rule for rule, timed in times.items())


def test_one_pole_that_never_makes_leaves_the_time_undecided() -> None:
    """The reason is that pole's; without any pole nothing can be asked."""
    poles = [settled(recorded(0.015)), settled(Sampled(values=np.full(1000, OPEN), rate=1e4))]
    assert "not made" in change_time(poles, cause=0.0, rule=TimeRule.LAST_CONTACT).seconds.reason
    with pytest.raises(ValueError, match="no contact"):
        change_time([], cause=0.0, rule=TimeRule.LAST_CONTACT)


@given(st.lists(st.integers(3, 60), max_size=8).filter(lambda gaps: len(gaps) % 2 == 0), st.integers(0, 500))
def test_a_later_start_shifts_moments_and_nothing_else(gaps: list[int], wait: int) -> None:
    """The same train later in the record, and the same record begun later."""
    moments = np.cumsum([500, *gaps]) * 1e-4 + 3e-5
    times = np.arange(3000, dtype=np.float64) * 1e-4
    plain = settled(Sampled(values=Train(moments=moments, duration=1.0).volts(times), rate=1e4))
    later = settled(Sampled(values=Train(moments=moments + wait * 1e-4, duration=1.0).volts(times), rate=1e4))
    moved = settled(Sampled(values=Train(moments=moments, duration=1.0).volts(times), rate=1e4, start=wait * 1e-4))
    assert later.first.value == pytest.approx((plain.first.value or 0) + wait * 1e-4)
    assert moved.first.value == pytest.approx(later.first.value)
    assert plain.bounce.value is not None
    for other in (later, moved):
        assert other.bounce.value == pytest.approx(plain.bounce.value)
        assert other.returns == plain.returns


def test_ninety_per_cent_is_the_bounce_rule_and_a_finding_is_value_or_reason() -> None:
    """The share has its source's figure; a finding with both, neither, or no number is refused."""
    assert BOUNCE_SHARE == 0.9
    for wrong in ({"value": 1.0, "reason": "x"}, {"value": None}, {"value": float("nan")}, {"value": 1.0, "doubt": -1}):
        with pytest.raises(ValueError, match=r"value or a reason|no finding"):
            Found(**wrong)
