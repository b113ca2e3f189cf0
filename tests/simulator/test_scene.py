"""Scene, converter and clockwork: exactly repeatable from the seed, as good as the fixture says, quick to work out."""

import math
import time
from functools import partial

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.instruments import Capture, Recording
from benchtest.simulator.events import Events
from benchtest.simulator.trace import Trace
from tests.simulator.stand import BENCH, Stand, greenhouse


def one_run(seed: int) -> tuple[Recording, list[str]]:
    stand = greenhouse(seed=seed)
    stand.power()
    recording = stand.record(say={"fan_1": 1, "frost_hold": 1})
    return recording, [message.frame for message in stand.traffic]


def test_the_same_seed_gives_the_same_recording_and_the_same_traffic() -> None:
    """Two runs with one seed agree in every code and every frame."""
    (first, said), (second, said_again) = one_run(7), one_run(7)

    assert np.array_equal(first.codes, second.codes)
    assert said == said_again


def test_another_seed_is_another_board() -> None:
    """With another seed the codes differ, and so does the moment at which K2 closes."""
    (first, _), (second, _) = one_run(7), one_run(8)
    contact = greenhouse().contact("K2")

    assert not np.array_equal(first.codes, second.codes)
    made = [int(np.argmax(recording.samples(contact) < 6.0)) for recording in (first, second)]
    assert made[0] != made[1]


def test_a_recording_has_what_was_asked_for() -> None:
    """Every channel in order, 16-bit codes, as many samples as duration times rate, nothing overrun."""
    stand = greenhouse()
    channels = stand.everything()[::-1]
    recording = stand.record(*channels, seconds=0.0123, rate=1000.0)

    assert recording.channels == channels
    assert recording.codes.shape == (len(channels), 12)
    assert recording.codes.dtype == np.int16
    assert not recording.overrun


def accuracy_cases(stand: Stand) -> list[tuple[int, float, float, float]]:
    """Channel, true value, and what the fixture allows: relative and absolute."""
    accuracy = BENCH.fixture.accuracy
    return [
        (stand.sense("X1.1-X1.2"), 24.0, accuracy.sense.of_reading, accuracy.sense.plus),
        (stand.sense("TP.3-X1.2"), 0.0, accuracy.sense.of_reading, accuracy.sense.plus),
        (stand.contact("K3"), 12.0 * 0.9995, accuracy.contact.of_reading, accuracy.contact.plus),
    ]


@pytest.mark.parametrize("seed", range(5))
def test_every_channel_is_as_good_as_the_fixture_says(seed: int) -> None:
    """The mean of a quiet channel is within the stated accuracy of the true value, by recording and by reading."""
    stand = greenhouse(seed=seed)
    stand.power()
    recording = stand.record()
    for channel, true, relative, absolute in accuracy_cases(stand):
        allowed = relative * true + absolute
        assert recording.samples(channel).mean() == pytest.approx(true, abs=allowed)
        assert stand.bench.measure(channel) == pytest.approx(true, abs=allowed)


def test_a_whole_run_of_recordings_takes_well_under_a_second() -> None:
    """60 captures of 0.2 s at 10 kS/s and three of 20 s at 500 S/s, all channels: less than 1 s of processor time."""
    stand = greenhouse()
    stand.power()
    begun = time.process_time()
    for turn in range(60):
        stand.record(say={"fan_1": 1 - turn % 2})
    for _ in range(3):
        stand.record(seconds=20.0, rate=500.0)

    assert time.process_time() - begun < 1.0


def test_a_board_on_the_table_for_an_hour_can_still_be_recorded() -> None:
    """Old history is dropped while a lamp flashes for an hour, and the next recording is whole."""
    stand = greenhouse()
    stand.power()
    stand.wait(3600.0)
    lamp = stand.light("D21")
    light = stand.record(lamp, seconds=10.0, rate=100.0).samples(lamp)

    assert light.max() > 0.5
    assert light.min() < 0.1


def test_all_off_ends_a_running_recording() -> None:
    """After all_off the orders still to come are not carried out."""
    stand = greenhouse()
    channel = stand.input("mist_demand")
    from_now = Capture(orders=(), duration=1.0, rate=100.0, channels=(stand.contact("K1"),))
    stand.bench.begin(from_now)
    stand.bench.set(channel, 1)
    stand.bench.all_off()
    stand.wait(2.0)

    assert stand.bench.energised() == frozenset()


pieces = st.lists(
    st.tuples(
        st.floats(0, 10),
        st.floats(-50, 50),
        st.one_of(st.just(0.0), st.floats(1e-3, 1.0)),
    ),
    min_size=1,
    max_size=20,
)


@given(pieces)
def test_sampling_a_trace_is_looking_at_it_moment_by_moment(made: list[tuple[float, float, float]]) -> None:
    """The vectorised samples equal the single values at the same moments."""
    trace = Trace(1.0)
    for moment, target, tau in sorted(made):
        trace.set(moment, target, tau=tau)
    times = np.linspace(-1.0, 11.0, 97)

    sampled = np.broadcast_to(trace.sample(times), times.shape)
    assert sampled == pytest.approx([trace.at(float(moment)) for moment in times], abs=1e-9)


@given(st.floats(1e-3, 10), st.floats(-100, 100), st.floats(-100, 100))
def test_an_approach_has_gone_63_percent_of_its_way_after_one_time_constant(
    tau: float, start: float, to: float
) -> None:
    """1 - 1/e of the step after tau (any textbook)."""
    trace = Trace(start)
    trace.set(2.0, to, tau=tau)

    assert trace.at(2.0 + tau) == pytest.approx(start + (to - start) * (1 - 1 / math.e), abs=1e-9)


@given(st.lists(st.floats(0, 100), max_size=30))
def test_events_happen_in_order_of_time(moments: list[float]) -> None:
    """Whatever the order of entry, actions happen in order of time, and at their time."""
    events = Events()
    seen: list[tuple[float, float]] = []

    def note(moment: float) -> None:
        seen.append((events.now, moment))

    for moment in moments:
        events.at(moment, partial(note, moment))
    events.advance(100.0)

    assert [moment for _, moment in seen] == sorted(moments)
    assert all(now == moment for now, moment in seen)
    assert events.next is None
