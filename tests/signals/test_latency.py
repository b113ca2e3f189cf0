"""How long answers take, paired in a log."""

from dataclasses import replace
from typing import Any

import cantools
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.signals.frames import Frames, Identifier, Kind
from benchtest.signals.latency import Latency, Shows, latency
from tests.signals.bit_by_bit import data_frame, frames_of

ORDER, STATE = Identifier(0x120), Identifier(0x320)
TICK = 1 / 1024
DATABASE: Any = cantools.database.load_string(
    """VERSION ""
BU_: Panel Pump
BO_ 288 Order: 1 Panel
 SG_ run : 0|1@1+ (1,0) [0|1] "" Pump
BO_ 800 State: 2 Pump
 SG_ runs : 0|1@1+ (1,0) [0|1] "" Panel
 SG_ speed : 8|8@1+ (0.5,0) [0|0] "1/s" Panel
""",
    "dbc",
)


def log_of(*messages: tuple[float, Identifier] | tuple[float, Identifier, bytes]) -> Frames:
    """Return a log of messages given as moment, identifier and data."""
    frames = [data_frame(identifier.number, b"".join(data)) for _, identifier, *data in messages]
    return frames_of(frames, times=[message[0] for message in messages])


def totals(found: Latency) -> tuple[int, int, int, int, int]:
    """Return answered, unanswered, open, rejected and unasked."""
    return found.delays.size, found.unanswered, found.open, found.rejected, found.unasked


def test_each_request_has_the_first_answer_after_it() -> None:
    """Two requests, answered after 4 and 7 ms; a second answer to the first was not asked for."""
    log = log_of((0.0, ORDER), (0.004, STATE), (0.006, STATE), (0.1, ORDER), (0.107, STATE))
    found = latency(log, request=ORDER, answer=STATE)
    assert found.delays == pytest.approx([0.004, 0.007])
    assert [0.0, 0.1] == found.asked.tolist()
    assert (2, 0, 0, 0, 1) == totals(found)
    assert (found.shortest, found.mean, found.longest) == pytest.approx((0.004, 0.0055, 0.007))


def test_a_request_overtaken_by_the_next_is_unanswered() -> None:
    """An answer belongs to the request before it, not to the one before that."""
    found = latency(log_of((0.0, ORDER), (0.1, ORDER), (0.11, STATE)), request=ORDER, answer=STATE)
    assert (1, 1, 0, 0, 0) == totals(found)
    assert [0.1] == found.asked.tolist()


def test_an_answer_after_the_permitted_time_is_none() -> None:
    """60 ms where 50 are permitted: unanswered, and the late answer counts for nothing else."""
    log = log_of((0.0, ORDER), (0.06, STATE), (1.0, ORDER), (1.05, STATE))
    assert (1, 1, 0, 0, 0) == totals(latency(log, request=ORDER, answer=STATE, within=0.055))


def test_a_log_that_ends_too_soon_blames_nobody() -> None:
    """The last request has been waiting for 20 ms of 50 when the log ends: open; after 80 ms it is unanswered."""
    log = log_of((0.0, ORDER), (0.01, STATE), (0.1, ORDER), (0.12, Identifier(1)))
    assert (1, 0, 1, 0, 0) == totals(latency(log, request=ORDER, answer=STATE, within=0.05))
    assert (1, 1, 0, 0, 0) == totals(latency(log, request=ORDER, answer=STATE, within=0.015))
    assert (1, 1, 0, 0, 0) == totals(latency(log, request=ORDER, answer=STATE))


def test_stamps_that_step_back_between_make_no_latency() -> None:
    """Neither a negative delay nor one made of two clocks."""
    log = log_of((1.0, ORDER), (0.5, STATE), (1.0, ORDER), (1.2, Identifier(1)), (1.1, Identifier(1)), (1.3, STATE))
    assert (0, 0, 0, 2, 0) == totals(latency(log, request=ORDER, answer=STATE))


def test_an_answer_of_the_same_stamp_follows_by_the_order_of_the_log() -> None:
    """Coarse stamps: the answer behind the request at the same stamp took no time, the one before it is none."""
    log = log_of((0.0, STATE), (0.0, ORDER), (0.0, STATE))
    assert [0.0] == latency(log, request=ORDER, answer=STATE).delays.tolist()


def test_a_value_is_asked_for_and_shown_when_it_comes() -> None:
    """Orders and states repeat; only the one that changes asks, and only the one that changes answers."""
    values = [(ORDER, b"\0"), (STATE, b"\0\0"), (ORDER, b"\1"), (ORDER, b"\1"), (STATE, b"\0\0"), (STATE, b"\1\0")]
    log = log_of(*((0.01 * place, identifier, data) for place, (identifier, data) in enumerate(values)))
    request, answer = (Shows(message=m, signal=s, value=1.0) for m, s in (("Order", "run"), ("State", "runs")))
    found = latency(log, request=request, answer=answer, database=DATABASE)
    assert found.delays == pytest.approx([0.03])
    assert (1, 0, 0, 0, 0) == totals(found)


def test_a_value_within_its_tolerance_is_shown() -> None:
    """A speed of 20.5 is 20 within half a unit, and 21 is not; half a step is always permitted."""
    log = log_of((0.0, ORDER), (0.1, STATE, b"\0\0"), (0.2, STATE, bytes([0, 42])), (0.3, STATE, bytes([0, 41])))
    for tolerance, delay in ((0.0, []), (0.3, [0.3]), (0.8, [0.2])):
        speed = Shows(message="State", signal="speed", value=20.0, tolerance=tolerance)
        assert delay == pytest.approx(latency(log, request=ORDER, answer=speed, database=DATABASE).delays.tolist())


def test_a_short_frame_shows_no_value() -> None:
    """One byte of two says nothing, even about the signal in that byte."""
    log = log_of((0.0, ORDER), (0.1, STATE, b"\0\0"), (0.2, STATE, b"\1"))
    runs = Shows(message="State", signal="runs", value=1.0)
    assert (0, 1, 0, 0, 0) == totals(latency(log, request=ORDER, answer=runs, database=DATABASE))


@pytest.mark.parametrize(
    ("asked", "database", "said"),
    [
        (Shows(message="State", signal="runs", value=1), None, "there is no database"),
        (Shows(message="Stat", signal="runs", value=1), DATABASE, "no message 'Stat' in the database"),
        (Shows(message="State", signal="run", value=1), DATABASE, r"no signal 'run' \(it has: runs, speed\)"),
    ],
)
def test_what_is_not_in_the_database_is_refused(asked: Shows, database: Any, said: str) -> None:
    """No database, no such message, no such signal."""
    with pytest.raises(ValueError, match=said):
        latency(log_of((0.0, ORDER)), request=ORDER, answer=asked, database=database)


def test_stamps_of_two_channels_are_not_compared() -> None:
    """A log of two channels needs one named; what the other one carries is no answer."""
    frames = [data_frame(0x120), data_frame(0x320), data_frame(0x320)]
    log = frames_of(frames, times=[0.0, 0.1, 0.2], channels=["a", "b", "a"])
    assert [0.2] == latency(log, request=ORDER, answer=STATE, channel="a").delays.tolist()
    with pytest.raises(ValueError, match=r"no channel is named \(the log has: a, b\)"):
        latency(log, request=ORDER, answer=STATE)
    with pytest.raises(ValueError, match="no channel 'c'"):
        latency(log, request=ORDER, answer=STATE, channel="c")


def test_a_remote_frame_asks_for_its_message() -> None:
    """The request is the remote frame, the answer the data frame of the same identifier."""
    log = frames_of([(0x320, Kind.REMOTE, 2, b""), data_frame(0x320, b"\1\2")], times=[0.0, 0.002])
    found = latency(log, request=replace(STATE, remote=True), answer=STATE)
    assert [0.002] == found.delays.tolist()


def test_an_empty_log_has_no_latency() -> None:
    """Nothing asked, nothing answered, no mean."""
    found = latency(frames_of([]), request=ORDER, answer=STATE, within=1.0)
    assert (0, 0, 0, 0, 0) == totals(found)
    assert (None, None, None) == (found.mean, found.shortest, found.longest)


@given(st.lists(st.tuples(st.integers(-2, 20), st.booleans()), max_size=40), st.none() | st.integers(1, 30))
def test_every_request_and_answer_is_counted_once(steps: list[tuple[int, bool]], within: int | None) -> None:
    """Requests are answered, unanswered, open or rejected, as a walk through the log finds; answers pair or not."""
    times = (np.cumsum([step for step, _ in steps]) * TICK).tolist() if steps else []
    asks = [asking for _, asking in steps]
    log = log_of(*((time, ORDER if asking else STATE) for time, asking in zip(times, asks, strict=True)))
    found = latency(log, request=ORDER, answer=STATE, within=None if within is None else within * TICK)
    walked = [
        times[place + 1] - times[place]
        for place in range(len(steps) - 1)
        if asks[place] and not asks[place + 1] and 0 <= steps[place + 1][0] <= (within or 30)
    ]
    assert walked == found.delays.tolist()
    assert sum(asks) == found.requests == found.delays.size + found.unanswered + found.open + found.rejected
    paired = sum(asks[place] and not asks[place + 1] for place in range(len(steps) - 1))
    assert len(asks) - sum(asks) == paired + found.unasked
