"""What a log of CAN frames shows: periods, gaps, load, and who was not heard."""

from dataclasses import replace

import cantools
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.signals.bus_load import Bus
from benchtest.signals.frames import Frames, Identifier, Kind, chosen
from benchtest.signals.periods import missing, period
from benchtest.signals.regularity import Row
from benchtest.signals.traffic import Traffic, traffic
from tests.signals.bit_by_bit import Frame, bits_on_the_bus, data_frame, frames_of

TICK = 1 / 1024
"""Seconds: sums and differences of these are exact."""
DATABASE = cantools.database.load_string(
    """VERSION ""
BU_: Pump Panel Lamp
BO_ 257 PumpBeat: 2 Pump
 SG_ count : 0|8@1+ (1,0) [0|255] "" Panel
BO_ 288 PanelOrder: 1 Panel
 SG_ run : 0|1@1+ (1,0) [0|1] "" Pump
BO_ 300 LampState: 1 Lamp
 SG_ lit : 0|1@1+ (1,0) [0|1] "" Panel
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 65535;
BA_ "GenMsgCycleTime" BO_ 257 100;
""",
    "dbc",
)


def beats(times: list[float], *, identifier: int = 0x101, **given: object) -> Row:
    """Return the only row of a log of one message that counts up."""
    log = frames_of([data_frame(identifier, bytes([place % 256, 0])) for place in range(len(times))], times=times)
    (row,) = traffic(log, **given).rows  # type: ignore[arg-type]
    return row


def every(step: int, count: int) -> list[float]:
    """Return moments at even steps, in ticks."""
    return [step * TICK * place for place in range(count)]


def test_a_punctual_message_has_its_period_and_no_jitter() -> None:
    """Fifty messages every 100 ticks: 49 intervals, all of them alike."""
    row = beats(every(100, 50))
    assert row.period is not None
    assert (49, 100 * TICK, 0.0, 0.0, 0.0, 0.0) == (
        row.period.intervals,
        row.period.mean,
        row.period.deviation,
        row.period.jitter_peak,
        row.period.jitter_rms,
        row.period.jitter_cycle,
    )
    assert (row.count, row.missing, row.rejected, row.duplicates, row.gone) == (50, 0, 0, 0, False)


def test_jitter_is_against_the_mean_and_against_the_neighbour() -> None:
    """Intervals of 9, 11, 10, 10 ms: peak 1 ms and r.m.s. 0.71 ms off the mean, 2 ms from one to the next."""
    found = period(np.array([0.009, 0.011, 0.010, 0.010]), np.ones(4, np.bool_))
    assert found is not None
    assert found.mean == pytest.approx(0.010)
    assert found.jitter_peak == pytest.approx(0.001)
    assert found.jitter_rms == pytest.approx(np.sqrt(2 / 4) * 0.001)
    assert found.deviation == pytest.approx(np.sqrt(2 / 3) * 0.001)
    assert found.jitter_cycle == pytest.approx(0.002)


def test_one_message_alone_has_no_period() -> None:
    """No interval, no period, no gap; nothing missing is claimed either."""
    row = beats([1.0])
    assert (None, None, None) == (row.period, row.gap, row.missing)


@given(st.integers(6, 40), st.data())
def test_a_dropped_message_makes_one_gap_and_no_jitter(count: int, data: st.DataObject) -> None:
    """Whichever message between the first and the last is lost, one is missing, and the period stays."""
    times = every(10, count)
    lost = data.draw(st.integers(1, count - 2))
    row = beats([*times[:lost], *times[lost + 1 :]])
    assert row.period is not None
    assert row.gap is not None
    assert (1, 20 * TICK, times[lost - 1]) == (row.missing, row.gap.length, row.gap.begin)
    assert (10 * TICK, 0.0) == (row.period.mean, row.period.jitter_peak)


def test_missing_messages_are_counted_against_the_required_period() -> None:
    """A message that comes every 20 ms where 10 ms are required misses one of two, however regular it is."""
    assert 19 == beats([0.02 * place for place in range(20)], nominal={"0x101": 0.01}).missing
    assert 0 == beats([0.02 * place for place in range(20)]).missing
    assert 3 == missing(np.array([0.01, 0.0149, 0.016, 0.031]), every=0.01)


def test_a_message_that_comes_on_occasion_misses_nothing() -> None:
    """Without a rhythm and without a required period nobody can say what is missing, nor that it has gone silent."""
    times = np.cumsum(np.random.default_rng(1).exponential(0.1, 200)).tolist()
    row = beats(times, end=times[-1] + 60)
    assert row.period is not None
    assert not row.period.regular
    assert (None, False) == (row.missing, row.gone)


def test_a_message_gone_silent_is_told() -> None:
    """Silent for more than three periods before the end; two and a half say nothing yet."""
    assert beats(every(10, 20), end=19 * 10 * TICK + 31 * TICK).gone
    assert not beats(every(10, 20), end=19 * 10 * TICK + 25 * TICK).gone
    log = frames_of([data_frame(0x101)] * 10 + [data_frame(0x102)] * 40, times=[*every(10, 10), *every(10, 40)])
    order = np.argsort(log.time, kind="stable")
    gone, present = traffic(chosen(log, order)).rows
    assert (True, False) == (gone.gone, present.gone)
    assert gone.silent == 30 * 10 * TICK


def test_stamps_that_step_back_are_counted_and_measure_nothing() -> None:
    """A recorder's clock set back by 2.5 s in the middle: one interval rejected, the period untouched."""
    times = every(100, 40)
    log = frames_of(
        [data_frame(0x101, bytes([place])) for place in range(40)],
        times=[*times[:20], *(time - 2.5 for time in times[20:])],
    )
    found = traffic(log, bit_rate=125e3)
    (row,), (bus,) = found.rows, found.buses
    assert row.period is not None
    assert (1, 1, 38) == (row.rejected, bus.steps_back, row.period.intervals)
    assert (100 * TICK, 0.0, 0) == (row.period.mean, row.period.jitter_peak, row.missing)
    assert bus.duration == 38 * 100 * TICK
    assert any("step back once" in note for note in found.notes)


def test_a_step_back_smaller_than_the_period_spoils_no_interval() -> None:
    """An interval stays positive when the clock steps back by less; another message's stamps show the step."""
    frames = [data_frame(0x101), data_frame(0x102), data_frame(0x103), data_frame(0x101, b"\x01")]
    found = traffic(frames_of(frames, times=[0.0, 0.09, 0.05, 0.06]))
    assert [1, 0, 0] == [row.rejected for row in found.rows]
    assert found.rows[0].period is None


def test_a_frame_logged_twice_is_one_message() -> None:
    """The same data sooner than the bus could carry it again is a duplicate; other data is not, nor is it later."""
    frames = [data_frame(0x101, bytes([value])) for value in (0, 0, 1, 1, 2)]
    log = frames_of(frames, times=[0.0, 0.0, 0.1, 0.1002, 0.2])
    (slow,), (fast,) = traffic(log, bit_rate=125e3).rows, traffic(log, bit_rate=500e3).rows
    (unknown,) = traffic(log).rows
    assert [2, 1, 1] == [row.duplicates for row in (slow, fast, unknown)]
    assert slow.period is not None
    assert (5, 2) == (slow.count, slow.period.intervals)
    assert slow.period.mean == pytest.approx(0.1)
    assert any("logged twice" in note for note in traffic(log, bit_rate=125e3).notes)


def test_remote_frames_and_identifiers_of_both_lengths_are_told_apart() -> None:
    """0x101 in 11 bits, in 29 bits and asked for by a remote frame are three messages."""
    frames = [data_frame(0x101), data_frame(0x101, b"", Kind.EXTENDED), (0x101, Kind.REMOTE, 2, b"")]
    found = traffic(frames_of(frames), database=DATABASE)
    assert ["PumpBeat", "0x00000101", "0x101 (remote)"] == [row.name for row in found.rows]
    assert 1 == found.buses[0].remote
    assert Identifier(0x101, extended=True) == found.rows[1].identifier


def test_the_load_is_what_the_bits_and_the_rate_make_it() -> None:
    """A bus filled back to back is full: each frame stamped when its bits and the space behind them have gone."""
    frames = [data_frame(0x100 + place, bytes([place] * (place % 9))) for place in range(64)]
    sizes = [bits_on_the_bus(frame) + 3 for frame in frames]
    found = traffic(frames_of(frames, times=(np.cumsum(sizes) / 250e3).tolist()), bit_rate=250e3).buses[0]
    assert found.bits == sum(sizes)
    assert found.load == pytest.approx(1.0)
    assert traffic(frames_of(frames)).buses[0].load is None


def test_the_busiest_second_shows_a_burst() -> None:
    """A frame each 100 ms, and fifty more within half a second in the middle: the mean hides what the burst loads."""
    times = sorted([place / 10 for place in range(101)] + [5.05 + place / 100 for place in range(50)])
    log = frames_of([data_frame(0x101, bytes([place])) for place in range(151)], times=times)
    bits = np.array([bits_on_the_bus(data_frame(0x101, bytes([place]))) + 3 for place in range(151)])
    walked = max(bits[1:][[end - 1.0 < time <= end for time in times[1:]]].sum() for end in times)
    found = traffic(log, bit_rate=125e3).buses[0]
    assert found.busiest == pytest.approx(walked / 125e3)
    assert walked / 125e3 > 3 * found.bits / (125e3 * found.duration)
    assert traffic(chosen(log, np.arange(5)), bit_rate=125e3).buses[0].busiest is None


def test_error_frames_are_counted_for_the_bus_and_name_nobody() -> None:
    """Their identifier cannot be trusted, so they make no row; their bits nobody knows, so they make no load."""
    log = frames_of([data_frame(1), (0, Kind.ERROR, 0, b""), data_frame(1)], times=[0.0, 0.5, 1.0])
    found = traffic(log, bit_rate=125e3)
    assert (1, 3) == (found.buses[0].errors, found.buses[0].frames)
    assert [2] == [row.count for row in found.rows]
    assert found.buses[0].load == pytest.approx((bits_on_the_bus(data_frame(1)) + 3) / 125e3)
    assert any("1 error frame" in note for note in found.notes)


def test_a_bus_with_flexible_frames_has_no_load() -> None:
    """They have two bit rates; a load that leaves them out would be a wrong one."""
    log = frames_of([data_frame(1), data_frame(2, bytes(48), Kind.FD | Kind.RATE_SWITCH)], times=[0.0, 1.0])
    found = traffic(log, bit_rate=125e3)
    assert (None, None, 1) == (found.buses[0].load, found.buses[0].most_load, found.buses[0].flexible)
    assert any("flexible data rate" in note for note in found.notes)


def test_channels_have_clocks_of_their_own() -> None:
    """Two buses whose stamps are an hour apart are two buses, each with its own period and load."""
    times, channels = [0.0, 3600.0, 0.1, 3600.2, 0.2, 3600.4], ["1", "2"] * 3
    found = traffic(frames_of([data_frame(1, bytes([i])) for i in range(6)], times=times, channels=channels))
    assert ["1", "2"] == [bus.channel for bus in found.buses]
    assert [0, 0] == [bus.steps_back for bus in found.buses]
    periods = [row.period.mean for row in found.rows if row.period is not None]
    assert periods == pytest.approx([0.1, 0.2])


def test_the_database_names_messages_periods_and_absent_nodes() -> None:
    """The pump's cycle time is required of it; the lamp is a node that nobody heard."""
    log = frames_of([data_frame(0x101, bytes([i, 0])) for i in range(20)], times=[0.1 * i for i in range(20)])
    found = traffic(log, database=DATABASE)
    assert ("PumpBeat", 0.1) == (found.rows[0].name, found.rows[0].nominal)
    assert ("PanelOrder", "LampState") == found.never_heard
    assert ("Panel", "Lamp") == found.missing_nodes
    assert any("never heard: PanelOrder, LampState" in note for note in found.notes)
    assert 0.2 == traffic(log, database=DATABASE, nominal={"PumpBeat": 0.2}).rows[0].nominal
    assert ("0x700",) == traffic(log, nominal={"0x700": 0.1, "0x101": 0.1}).never_heard


@pytest.mark.parametrize("wrong", [0.0, -1.0, float("nan"), float("inf")])
def test_a_rate_or_period_that_is_none_is_refused(wrong: float) -> None:
    """Neither can be zero, negative, infinite or no number."""
    with pytest.raises(ValueError, match="the bit rate is"):
        traffic(frames_of([data_frame(1)]), bit_rate=wrong)
    with pytest.raises(ValueError, match="the period of Beat is"):
        traffic(frames_of([data_frame(1)]), nominal={"Beat": wrong})


def test_an_empty_log_shows_nothing() -> None:
    """No frames, no rows, no buses, no error."""
    assert Traffic(rows=(), buses=(), never_heard=(), missing_nodes=(), notes=()) == traffic(frames_of([]))


@st.composite
def logs(draw: st.DrawFn) -> Frames:
    """Draw a log of few identifiers on two channels, stamps in ticks, some of them stepping back."""
    kinds = st.sampled_from([Kind(0), Kind.EXTENDED, Kind.REMOTE, Kind.ERROR, Kind.FD])
    count = draw(st.integers(0, 40))
    frames: list[Frame] = []
    for _ in range(count):
        kind, data = draw(kinds), draw(st.binary(max_size=3))
        empty = bool(kind & (Kind.REMOTE | Kind.ERROR))
        frames.append((draw(st.integers(1, 3)), kind, len(data), b"" if empty else data))
    steps = draw(st.lists(st.integers(-3, 30), min_size=count, max_size=count))
    channels = draw(st.lists(st.sampled_from(["a", "b"]), min_size=count, max_size=count))
    return frames_of(frames, times=(np.cumsum([0, *steps])[:count] * TICK).tolist(), channels=channels)


def counts(buses: tuple[Bus, ...]) -> dict[str, np.ndarray]:
    """Return what adds up, per channel."""
    return {b.channel: np.array([b.frames, b.errors, b.remote, b.flexible, b.bits, b.most_bits]) for b in buses}


@given(logs(), st.integers(0, 40))
def test_counts_of_two_halves_add_up(log: Frames, cut: int) -> None:
    """Wherever a log is split, frames, error frames and bits of both parts make those of the whole."""
    places = np.arange(len(log))
    parts = [traffic(chosen(log, places[:cut])), traffic(chosen(log, places[cut:]))]
    whole = traffic(log)
    for channel, expected in counts(whole.buses).items():
        found = sum(counts(part.buses).get(channel, np.zeros(6, int)) for part in parts)
        assert np.array_equal(expected, found)
    for row in whole.rows:
        same = [r.count for p in parts for r in p.rows if (r.channel, r.identifier) == (row.channel, row.identifier)]
        assert row.count == sum(same)


@given(logs(), st.integers(-(1 << 20), 1 << 20))
def test_shifting_time_changes_nothing_but_the_moments(log: Frames, shift: int) -> None:
    """Two logs that differ by a shift of all stamps show the same traffic, shifted."""
    found, later = traffic(log, bit_rate=125e3), traffic(replace(log, time=log.time + shift * TICK), bit_rate=125e3)
    assert found.buses == later.buses
    for row, moved in zip(found.rows, later.rows, strict=True):
        gap = None if row.gap is None else replace(row.gap, begin=row.gap.begin + shift * TICK)
        assert replace(row, gap=gap, last=row.last + shift * TICK) == moved


@given(logs())
def test_every_frame_is_in_one_row_or_an_error_frame(log: Frames) -> None:
    """Nothing is lost between the log and the rows."""
    found = traffic(log)
    assert len(log) == sum(row.count for row in found.rows) + sum(bus.errors for bus in found.buses)
