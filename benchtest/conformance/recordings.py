"""Rules about recordings: what was asked for comes back, orders are stamped, what cannot be is refused whole."""

import math
from collections.abc import Iterator
from functools import partial
from typing import Final

import numpy as np

from benchtest.conformance.case import Case, Rule
from benchtest.instruments import Capture, Order, Role

RATE: Final = 5000.0
SHORT: Final = 0.04
"""Seconds of a short recording."""
RECORDED: Final = (Role.CONTACT, Role.SENSE, Role.CURRENT, Role.LIGHT)


def _rate(case: Case) -> float:
    return min(RATE, case.fixture.adapters[case.harness.adapter].rate)


def _capture(case: Case, *orders: Order, duration: float = SHORT, channels: tuple[int, ...] = ()) -> Capture:
    watched = channels or tuple(filter(None, (case.channel(Role.SENSE), case.channel(Role.CONTACT))))
    return Capture(orders=orders, duration=duration, rate=_rate(case), channels=watched)


def _comes_back(case: Case, capture: Capture) -> Iterator[str]:
    """Record, and yield what is wrong with what came back."""
    before = case.clock.now()
    started = case.bench.begin(capture)
    case.wait(max(0.0, started.at + capture.duration - case.clock.now()))
    recording, after = case.bench.fetch(), case.clock.now()
    samples = round(capture.duration * capture.rate)
    if not before - started.uncertainty <= started.at <= after + started.uncertainty:
        yield f"it began at {started.at:g} s, asked at {before:g} s"
    if after < started.at - started.uncertainty + capture.duration:
        yield "it came back before it can have ended"
    if recording.channels != capture.channels or recording.rate != capture.rate:
        yield f"asked {capture.channels} at {capture.rate:g}/s, got {recording.channels} at {recording.rate:g}/s"
    if recording.codes.shape != (len(capture.channels), samples) or recording.codes.dtype != np.int16:
        yield f"asked {samples} samples, got {recording.codes.dtype} {recording.codes.shape}"
    if recording.overrun:
        yield "samples were lost"


def _recording(case: Case) -> Iterator[str]:
    yield from _comes_back(case, _capture(case, channels=tuple(filter(None, map(case.channel, RECORDED)))))


def _orders(case: Case) -> Iterator[str]:
    drive = case.channel(Role.DRIVE)
    plan = ((0.01, 1.0), (0.02, 0.0), (0.03, 1.0))
    orders = tuple(Order(at=at, channel=drive, value=value) for at, value in plan)
    started = case.bench.begin(_capture(case, *orders, duration=0.06))
    case.wait(max(0.0, started.at + 0.06 - case.clock.now()))
    done = case.bench.fetch().done
    if [(one.channel, one.value) for one in done] != [(one.channel, one.value) for one in orders]:
        yield f"ordered {orders}, done {done}"
    for asked, found in zip(orders, done, strict=False):
        if not abs(found.at - asked.at) <= case.stamp(drive):
            yield f"ordered at {asked.at:g} s, stamped {found.at:g} s, more than {case.stamp(drive):g} s apart"
    yield from case.on({drive}, "after the last order")


def _waveform(case: Case) -> Iterator[str]:
    supply, sense = case.channel(Role.SUPPLY), case.beside(Role.SENSE)
    case.bench.source(supply, volts=12.0, amps=1.0)
    case.wait(0.1)
    orders = (Order(at=0.01, channel=supply, value=24.0), Order(at=0.03, channel=supply, value=0.0))
    started = case.bench.begin(_capture(case, *orders, duration=0.06, channels=(sense,)))
    case.wait(max(0.0, started.at + 0.06 - case.clock.now()))
    recording = case.bench.fetch()
    high = np.flatnonzero(recording.samples(sense) > 12.5) / recording.rate
    if not high.size or abs(high[0] - 0.01) > 0.001 or not 0.03 <= high[-1] < 0.045:
        yield f"24 V from 10 ms to 30 ms was seen from {high[:1]} s to {high[-1:]} s"
    yield from case.on(set(), "after a supply was ordered to 0 V")


def _refused_whole(case: Case) -> Iterator[str]:
    drive = case.channel(Role.DRIVE)
    for what, wrong in _impossible(case, drive):
        yield from case.refuses(what, partial(case.bench.begin, wrong))
    case.wait(0.05)
    yield from case.on(set(), "after refused recordings")
    yield from _comes_back(case, _capture(case))


def _impossible(case: Case, drive: int) -> Iterator[tuple[str, Capture]]:
    sense, other = case.channel(Role.SENSE), case.channel(Role.SUPPLY, 1)
    for seconds in (0.0, -1.0, math.nan):
        yield f"{seconds:g} s", _capture(case, duration=seconds)
    for rate in (1e9, 0.0):
        yield f"{rate:g}/s", Capture(orders=(), duration=0.01, rate=rate, channels=(sense,))
    for channel in (drive, case.nowhere):
        yield f"recording channel {channel}", _capture(case, channels=(channel,))
    for at in (0.5, -0.1):
        yield f"an order at {at:g} s", _capture(case, Order(at=at, channel=drive, value=1.0))
    backwards = (Order(at=0.02, channel=drive, value=1.0), Order(at=0.01, channel=drive, value=0.0))
    yield "orders out of turn", _capture(case, *backwards)
    yield "half a drive", _capture(case, Order(at=0.01, channel=drive, value=0.5))
    yield "an order to an input", _capture(case, Order(at=0.01, channel=sense, value=1.0))
    if supply := case.channel(Role.SUPPLY):
        beyond = case.fixture.limits.voltage + 1
        yield "too many volts", _capture(case, Order(at=0.01, channel=supply, value=beyond))
    if other:
        yield "a supply that has no current limit", _capture(case, Order(at=0.01, channel=other, value=5.0))


def _one_at_a_time(case: Case) -> Iterator[str]:
    yield from case.refuses("fetching what was never begun", case.bench.fetch)
    started = case.bench.begin(_capture(case))
    yield from case.refuses("a second recording", partial(case.bench.begin, _capture(case)))
    case.wait(max(0.0, started.at + SHORT - case.clock.now()))
    if case.bench.fetch().codes.shape[1] != round(SHORT * _rate(case)):
        yield "the first recording came back short"
    yield from case.refuses("fetching twice", case.bench.fetch)


def _ended_by_all_off(case: Case) -> Iterator[str]:
    late = Order(at=0.05, channel=case.channel(Role.DRIVE), value=1.0)
    case.bench.begin(_capture(case, late, duration=0.1))
    case.bench.all_off()
    case.wait(0.12)
    yield from case.on(set(), "after all off in mid-recording")


RECORDINGS: Final = (
    Rule(
        name="recording",
        sentence="a recording has the channels, rate and samples that were asked for",
        roles=(Role.SENSE,),
        look=_recording,
    ),
    Rule(
        name="orders",
        sentence="orders are done once, in turn, and stamped as well as the fixture says",
        roles=(Role.DRIVE, Role.SENSE),
        look=_orders,
    ),
    Rule(
        name="refused whole",
        sentence="nothing of an impossible recording is carried out, and a proper one can follow",
        roles=(Role.DRIVE, Role.SENSE),
        look=_refused_whole,
    ),
    Rule(
        name="one at a time",
        sentence="one recording runs at a time, and is fetched once",
        roles=(Role.SENSE,),
        look=_one_at_a_time,
    ),
    Rule(
        name="ended by all off",
        sentence="after all off no order of a running recording is carried out",
        roles=(Role.DRIVE, Role.SENSE),
        look=_ended_by_all_off,
    ),
    Rule(
        name="waveform",
        sentence="a supply follows its orders when the adapter says that it did",
        roles=(Role.SUPPLY, Role.SENSE),
        look=_waveform,
        board=True,
    ),
)
