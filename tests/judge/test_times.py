"""Delays and bounce times."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.instruments import Message, Order
from benchtest.procedure import Bounce, Cause, Delay, Heartbeat, Say
from benchtest.results import Verdict
from benchtest.signals.levels import Samples
from tests.judge.workbench import MADE, OPEN, RATE, Bench, recorded, steps_of, within

ORDER = Order(at=0.010, channel=101, value=1.0)
STAMPED = Order(at=0.01003, channel=101, value=1.0)
BENCH = Bench(orders=(ORDER,))
BY_BENCH = Cause(at=0.010, order="bench")
BY_COIL = Cause(at=0.010, order="bench", channel=311, state="high")
OPERATE = Delay(evidence="e", channel=401, state="made", since=BY_BENCH)
LIMITS = within(0.001, 0.012)


def closing(at: float, *, duration: float = 0.1) -> Samples:
    """Return a contact that closes once."""
    return steps_of((0.0, OPEN), (at, MADE), duration=duration)


def test_operate_time_counts_from_the_stamped_order() -> None:
    """Order stamped at 10.03 ms, contact seen made at 15 ms and open at 14.9 ms: 4.92 ms, with its budget."""
    result = BENCH.judge(OPERATE, LIMITS, unit="s", evidence=recorded({401: closing(0.015)}, done=[STAMPED]))
    assert result.verdict is Verdict.PASS
    assert result.value == pytest.approx(0.01495 - 0.01003)
    expected = 2 * np.sqrt((1e-4) ** 2 / 12 + 2 * (20e-6) ** 2 / 3 + (0.00492 * 50e-6) ** 2 / 3)
    assert result.uncertainty == pytest.approx(expected)


def test_bounce_does_not_lengthen_the_operate_time() -> None:
    """The first making counts, not the last."""
    bouncy = steps_of((0.0, OPEN), (0.015, MADE), (0.016, OPEN), (0.018, MADE), duration=0.1)
    plain = BENCH.judge(OPERATE, LIMITS, evidence=recorded({401: closing(0.015)}, done=[STAMPED]))
    assert BENCH.judge(OPERATE, LIMITS, evidence=recorded({401: bouncy}, done=[STAMPED])).value == plain.value


@pytest.mark.parametrize(
    ("at", "verdict"),
    [
        (0.0215, Verdict.PASS),
        (0.0220, Verdict.CONDITIONAL_PASS),
        (0.0221, Verdict.CONDITIONAL_FAIL),
        (0.0230, Verdict.FAIL),
    ],
)
def test_the_guard_band_is_the_uncertainty(at: float, verdict: Verdict) -> None:
    """Closings around 12 ms after the order: half a sample interval decides nothing."""
    result = BENCH.judge(OPERATE, LIMITS, evidence=recorded({401: closing(at)}, done=[ORDER]))
    assert result.verdict is verdict


@pytest.mark.parametrize("sample", [101, *range(605, 617), *range(4700, 4713), 9998, 9999])
def test_a_contact_that_comes_late_is_found_where_it_comes(sample: int) -> None:
    """Soon, late, last of all, and about where the look goes on: the moment is midway before the first made sample."""
    wave = np.where(np.arange(10_000) < sample, OPEN, MADE)
    result = BENCH.judge(OPERATE, within(0.0, 2.0), evidence=recorded({401: wave}, done=[STAMPED]))
    assert result.value == pytest.approx((sample - 0.5) / RATE - STAMPED.at, rel=1e-12)


def test_a_contact_that_never_makes_fails_and_says_so() -> None:
    """Watched for 90 ms and not made: a valid observation, without a value."""
    result = BENCH.judge(OPERATE, LIMITS, evidence=recorded({401: np.full(1000, OPEN)}, done=[STAMPED]))
    assert (result.value, result.uncertainty, result.verdict) == (None, None, Verdict.FAIL)
    assert result.note == "never made within 90 ms"


def test_a_recording_too_short_to_say_never_is_not_tested() -> None:
    """Watched for 10 ms where 12 ms are permitted: nothing is decided."""
    evidence = recorded({401: np.full(200, OPEN)}, done=[STAMPED])
    result = BENCH.judge(OPERATE, LIMITS, evidence=evidence)
    assert (result.value, result.verdict) == (None, Verdict.NOT_TESTED)


def test_a_welded_contact_fails_because_it_was_made_already() -> None:
    """A contact that is closed before the order has no operate time."""
    result = BENCH.judge(OPERATE, LIMITS, evidence=recorded({401: np.full(1000, MADE)}, done=[STAMPED]))
    assert (result.value, result.verdict, result.note) == (None, Verdict.FAIL, "X11.1-X11.2 was made already")


def test_a_delay_may_count_from_the_coil() -> None:
    """Coil driven 8 ms after the order, contact 5 ms after the coil: 5 ms."""
    waves = {401: closing(0.023), 311: steps_of((0.0, 0.0), (0.018, 24.0), duration=0.1)}
    asked = Delay(evidence="e", channel=401, state="made", since=BY_COIL)
    result = BENCH.judge(asked, LIMITS, evidence=recorded(waves, done=[STAMPED]))
    assert result.value == pytest.approx(0.005)
    assert result.verdict is Verdict.PASS


def test_a_coil_that_is_never_driven_is_named_and_the_contact_not_blamed() -> None:
    """Without its cause, an operate time is not tested, and the note says which cause."""
    waves = {401: np.full(1000, OPEN), 311: np.zeros(1000)}
    asked = Delay(evidence="e", channel=401, state="made", since=BY_COIL)
    result = BENCH.judge(asked, LIMITS, evidence=recorded(waves, done=[STAMPED]))
    assert result.verdict is Verdict.NOT_TESTED
    assert result.note == "nothing to count from: TP.1-X1.2 never high within 90 ms"


def test_an_order_that_was_not_carried_out_is_not_tested() -> None:
    """What the bench did not do is not the board's fault."""
    result = BENCH.judge(OPERATE, LIMITS, evidence=recorded({401: closing(0.015)}, done=[]))
    assert result.verdict is Verdict.NOT_TESTED


def test_the_second_of_two_like_orders_is_found_by_its_turn() -> None:
    """On, off, on: the delay of the second on counts from the second stamp."""
    orders = tuple(Order(at=at, channel=101, value=value) for at, value in ((0.01, 1.0), (0.04, 0.0), (0.07, 1.0)))
    waves = {401: steps_of((0.0, OPEN), (0.015, MADE), (0.045, OPEN), (0.078, MADE), duration=0.1)}
    asked = Delay(evidence="e", channel=401, state="made", since=Cause(at=0.07, order="bench"))
    result = Bench(orders=orders).judge(asked, LIMITS, evidence=recorded(waves, done=orders))
    assert result.value == pytest.approx(0.00795)


def test_a_link_order_counts_from_the_hosts_stamp_and_is_less_certain() -> None:
    """The host said it at 10.4 ms, ± 1 ms and ± 0.5 ms on the beginning: 4.55 ms ± 1.3 ms."""
    bench = Bench(link_orders=(Say(at=0.01, message="Command", signals={}),))
    asked = Delay(evidence="e", channel=401, state="made", since=Cause(at=0.01, order="link"))
    result = bench.judge(asked, LIMITS, evidence=recorded({401: closing(0.015)}, said=[0.0104]))
    assert result.value == pytest.approx(0.00455)
    assert result.uncertainty == pytest.approx(
        2 * np.sqrt((1e-3**2 + 0.5e-3**2 + 20e-6**2) / 3 + 1e-4**2 / 12), rel=1e-3
    )


def test_a_loss_counts_from_the_last_heartbeat_before_it() -> None:
    """Silenced at 50 ms, last heartbeat at 40 ms, contact open at 90 ms: 50 ms; a later message does not count."""
    bench = Bench(link_orders=(Heartbeat(at=0.05, alive=False),))
    beats = [Message(at=at, name="Beat", signals={}, frame="", sent=True) for at in (0.02, 0.04, 0.08)]
    since = Cause(at=0.05, order="link", last_sent="Beat")
    asked = Delay(evidence="e", channel=401, state="broken", since=since)
    waves = {401: steps_of((0.0, MADE), (0.09, OPEN), duration=0.12)}
    result = bench.judge(asked, within(0.03, 0.06), evidence=recorded(waves, said=[0.05], messages=beats))
    assert result.value == pytest.approx(0.04995)
    assert result.verdict is Verdict.PASS


@pytest.mark.parametrize(
    ("since", "note"),
    [
        (Cause(at=0.02, order="bench"), "the procedure has no order at 0.02 s"),
        (Cause(at=0.05, order="link"), "the link order of 0.05 s was not carried out"),
        (Cause(at=0.01, order="bench", last_sent="Beat"), "nothing to count from: Beat was not sent before 10 ms"),
        (BY_COIL, "nothing to count from: TP.1-X1.2 was high already"),
    ],
)
def test_a_cause_that_cannot_be_found_is_not_tested(since: Cause, note: str) -> None:
    """No such order, not carried out, never sent, or there before: nothing to count from, and the note says why."""
    bench = Bench(orders=(ORDER,), link_orders=(Heartbeat(at=0.05, alive=False),))
    asked = Delay(evidence="e", channel=401, state="made", since=since)
    waves = {401: closing(0.015), 311: np.full(1000, 24.0)}
    result = bench.judge(asked, LIMITS, evidence=recorded(waves, done=[ORDER]))
    assert (result.value, result.verdict, result.note) == (None, Verdict.NOT_TESTED, note)


def test_a_recording_that_the_procedure_does_not_know_is_not_tested() -> None:
    """Evidence without its planned move has no orders to count from; nor has a channel that is not described."""
    asked = Delay(evidence="other", channel=401, state="made", since=BY_BENCH)
    bench = Bench(orders=(ORDER,), evidence={"other": recorded({401: closing(0.015)}, done=[ORDER])})
    assert bench.judge(asked, LIMITS).note == "the procedure has no recording 'other'"
    unknown = Delay(evidence="e", channel=499, state="made", since=BY_BENCH)
    result = BENCH.judge(unknown, LIMITS, evidence=recorded({499: closing(0.015)}, done=[ORDER]))
    assert result.note == "the procedure says nothing of channel 499"


def test_an_effect_within_the_sample_of_its_cause_is_no_miss() -> None:
    """A coil and its lamp that change within one sample are no time apart, not 'already lit'."""
    waves = {
        311: steps_of((0.0, 0.0), (0.018, 24.0), duration=0.1),
        501: steps_of((0.0, 0.02), (0.018, 0.8), duration=0.1),
    }
    asked = Delay(evidence="e", channel=501, state="lit", since=BY_COIL)
    result = BENCH.judge(asked, within(None, 0.01), evidence=recorded(waves, done=[STAMPED]))
    assert (result.value, result.verdict) == (0.0, Verdict.PASS)


def test_an_effect_seen_a_sample_before_its_cause_is_no_miss_either() -> None:
    """Channels converted one after the other may be a sample apart: less than nothing, within the doubt."""
    waves = {
        311: steps_of((0.0, 0.0), (0.018, 24.0), duration=0.1),
        501: steps_of((0.0, 0.02), (0.0179, 0.8), duration=0.1),
    }
    asked = Delay(evidence="e", channel=501, state="lit", since=BY_COIL)
    result = BENCH.judge(asked, within(None, 0.01), evidence=recorded(waves, done=[STAMPED]))
    assert result.value == pytest.approx(-1e-4)


def test_bounce_time_and_count_are_told() -> None:
    """Made, open for 2 ms, made: 3 ms from first making to last, one re-opening."""
    waves = {401: steps_of((0.0, OPEN), (0.015, MADE), (0.016, OPEN), (0.018, MADE), duration=0.1)}
    asked = Bounce(evidence="e", channel=401, since=0.01, until=0.09)
    result = BENCH.judge(asked, within(None, 0.005), unit="s", evidence=recorded(waves))
    assert result.value == pytest.approx(0.003)
    assert (result.verdict, result.note) == (Verdict.PASS, "at least 1 re-opening")


@pytest.mark.parametrize(
    ("turns", "note"),
    [
        (((0.0, OPEN),), "never made within 80 ms"),
        (((0.0, MADE),), "X11.1-X11.2 was made already"),
        (((0.0, OPEN), (0.02, MADE), (0.023, OPEN)), "made, but open again after 3 ms"),
    ],
)
def test_a_contact_that_does_not_settle_has_no_bounce_time(turns: tuple[tuple[float, float], ...], note: str) -> None:
    """Never made, made before, or let go again: a fail that says which, not a short bounce."""
    asked = Bounce(evidence="e", channel=401, since=0.01, until=0.09)
    result = BENCH.judge(asked, within(None, 0.005), evidence=recorded({401: steps_of(*turns, duration=0.1)}))
    assert (result.value, result.verdict, result.note) == (None, Verdict.FAIL, note)


@given(st.integers(12, 700), st.integers(0, 250), st.sampled_from([2, 4, 5]))
def test_shifting_time_or_sampling_finer_does_not_change_the_word(closes: int, shift: int, finer: int) -> None:
    """The word hangs on the delay alone; a finer converter may only narrow the doubt."""
    at, later = closes / RATE, shift / RATE
    samples = closing(at + 0.01)
    plain = BENCH.judge(OPERATE, LIMITS, evidence=recorded({401: samples}, done=[ORDER]))
    moved_order = Order(at=0.01 + later, channel=101, value=1.0)
    moved = Bench(orders=(moved_order,)).judge(
        Delay(evidence="e", channel=401, state="made", since=Cause(at=0.01 + later, order="bench")),
        LIMITS,
        evidence=recorded({401: closing(at + 0.01 + later, duration=0.13)}, done=[moved_order]),
    )
    assert moved.verdict is plain.verdict
    fine = BENCH.judge(
        OPERATE, LIMITS, evidence=recorded({401: np.repeat(samples, finer)}, rate=RATE * finer, done=[ORDER])
    )
    assert {plain.verdict, fine.verdict} != {Verdict.PASS, Verdict.FAIL}
    assert fine.uncertainty is not None
    assert plain.uncertainty is not None
    assert fine.uncertainty < plain.uncertainty
