"""Several devices as one bench: routing, orders and looks by the host, and when nothing may be judged."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.adapters.composed import ComposedBench, Part
from benchtest.adapters.host_timed import Look, held, latest_gap
from benchtest.clock import VirtualClock
from benchtest.errors import AdapterRefused, AdapterSilent, PlanError
from benchtest.instruments import Capture, Device, Order, Recording
from tests.adapters.table_devices import Box, Panel, Psu, Recorder
from tests.simulator.stand import carwash

STAMP = 0.05
DRIVE, SUPPLY, CONTACT, LAMP, WAVE = 101, 201, 401, 501, 301


class Table:
    """A bench of box, supply, panel and perhaps a recorder, on virtual time."""

    def __init__(
        self,
        *,
        seen: Callable[[int, float], float] = lambda _channel, _at: 0.0,
        recorder: bool = False,
        at_once: bool = True,
        takes: float = 0.004,
    ) -> None:
        self.clock = VirtualClock()
        self.box, self.psu = Box(self.clock), Psu(self.clock)
        self.panel, self.recorder = Panel(self.clock, seen, takes), Recorder(self.clock)
        parts = [
            self._part("box", self.box.device(), DRIVE, 102),
            self._part("psu", self.psu.device(), SUPPLY),
            self._part("panel", self.panel.device(at_once=at_once), CONTACT, LAMP),
        ]
        if recorder:
            parts.append(self._part("recorder", self.recorder.device(), WAVE))
        self.bench = ComposedBench(parts, self.clock)

    @staticmethod
    def _part(name: str, device: Device, *channels: int) -> Part:
        return Part(name=name, device=device, channels=frozenset(channels), stamp=STAMP, every=0.02)

    def record(self, *orders: Order, channels: tuple[int, ...] = (CONTACT, LAMP), duration: float = 1.0) -> Recording:
        """Record as a rig does: wait, tend when due, fetch."""
        capture = Capture(orders=orders, duration=duration, rate=1000.0, channels=channels)
        started = self.bench.begin(capture)
        while (now := self.clock.now()) < started.at + duration:
            self.clock.sleep_until(min(started.at + duration, now + 0.2, max(now, self.bench.due())))
            self.bench.beat()
        return self.bench.fetch()


def order(at: float, channel: int, value: float) -> Order:
    return Order(at=at, channel=channel, value=value)


def test_each_channel_goes_to_its_device() -> None:
    """A drive to the box, a supply to the supply, a reading to the panel, and nothing to anybody else."""
    table = Table(seen=lambda channel, _: float(channel))
    table.bench.set(DRIVE, 1)
    table.bench.source(SUPPLY, volts=6.0, amps=0.15)

    assert {DRIVE, SUPPLY} == table.bench.energised()
    assert ["set 101 1"] == table.box.log
    assert ["source 201 6 V 0.15 A"] == table.psu.log
    assert 501.0 == table.bench.measure(LAMP)


@pytest.mark.parametrize(
    ("act", "said"),
    [
        (lambda bench: bench.set(CONTACT, 1), "channel 401 of adapter panel cannot be set"),
        (lambda bench: bench.measure(DRIVE), "channel 101 of adapter box cannot be read"),
        (lambda bench: bench.source(DRIVE, volts=1.0, amps=1.0), "channel 101 of adapter box cannot source"),
        (lambda bench: bench.set(999, 1), "there is no channel 999 on this bench"),
        (lambda bench: bench.fetch(), "nothing is being recorded"),
    ],
)
def test_what_a_device_cannot_do_is_refused_by_name(act: Callable[[ComposedBench], object], said: str) -> None:
    """The refusal names channel, adapter and what was asked."""
    with pytest.raises(AdapterRefused, match=said):
        act(Table().bench)


@pytest.mark.parametrize(
    "wrong",
    [
        Capture(orders=(order(0.2, DRIVE, 1), order(0.1, DRIVE, 0)), duration=1.0, rate=100.0, channels=()),
        Capture(orders=(order(1.1, DRIVE, 1),), duration=1.0, rate=100.0, channels=()),
        Capture(orders=(order(-0.1, DRIVE, 1),), duration=1.0, rate=100.0, channels=()),
        Capture(orders=(order(math.nan, DRIVE, 1),), duration=1.0, rate=100.0, channels=()),
        Capture(orders=(order(0.1, DRIVE, math.nan),), duration=1.0, rate=100.0, channels=()),
        Capture(orders=(order(0.1, CONTACT, 1),), duration=1.0, rate=100.0, channels=()),
        Capture(orders=(order(0.1, 999, 1),), duration=1.0, rate=100.0, channels=()),
        Capture(orders=(), duration=1.0, rate=100.0, channels=(DRIVE,)),
        Capture(orders=(), duration=0.0, rate=100.0, channels=(CONTACT,)),
        Capture(orders=(), duration=math.inf, rate=100.0, channels=(CONTACT,)),
        Capture(orders=(), duration=0.01, rate=1e9, channels=(CONTACT,)),
    ],
)
def test_a_capture_that_cannot_be_is_refused_whole(wrong: Capture) -> None:
    """Nothing of it is done, and a proper one can follow."""
    table = Table()
    with pytest.raises(AdapterRefused):
        table.bench.begin(wrong)

    assert [] == table.box.log
    assert not table.record().overrun


def test_a_recording_that_fails_at_its_first_look_is_not_running() -> None:
    """A channel that its device knows but cannot read is found out at the first look; a proper recording can follow."""
    table = Table()
    seen = table.panel.seen

    def refuse(channel: int, moment: float) -> float:
        del moment
        raise AdapterRefused(f"channel {channel} is no input")

    table.panel.seen = refuse
    with pytest.raises(AdapterRefused, match="is no input"):
        table.record()
    table.panel.seen = seen

    assert not table.record().overrun


def test_two_recorders_are_refused() -> None:
    """Two hardware clocks are two time bases."""
    clock = VirtualClock()
    parts = [
        Part(name=name, device=Recorder(clock).device(), channels=frozenset({channel}), stamp=0.1, every=0.1)
        for name, channel in (("one", 301), ("two", 302))
    ]
    with pytest.raises(PlanError, match="one and two both record in hardware"):
        ComposedBench(parts, clock)


def test_host_orders_are_done_when_due_and_stamped_in_the_middle_of_their_exchange() -> None:
    """Two orders of 4 ms each: carried out in order, stamped 2 ms after they began."""
    table = Table()
    recording = table.record(order(0.1, DRIVE, 1), order(0.3, DRIVE, 0), channels=())

    assert [(DRIVE, 1.0), (DRIVE, 0.0)] == [(done.channel, done.value) for done in recording.done]
    assert [0.102, 0.302] == pytest.approx([done.at for done in recording.done])
    assert not recording.overrun


def test_an_order_that_comes_too_late_spoils_the_recording() -> None:
    """An exchange longer than the stated lateness: an overrun, from which nothing is judged."""
    table = Table()
    table.box.takes = STAMP + 0.01

    assert table.record(order(0.1, DRIVE, 1), channels=()).overrun


def test_a_supply_follows_an_order_under_the_limit_that_it_was_given() -> None:
    """Not under the current that it happens to draw; nothing is off; and it comes back as it was."""
    table = Table()
    table.bench.source(SUPPLY, volts=24.0, amps=1.5)
    table.record(order(0.1, SUPPLY, 0.0), order(0.3, SUPPLY, 24.0), channels=())

    orders = [line for line in table.psu.log if line != "beat"]
    assert ["source 201 24 V 1.5 A", "off 201", "source 201 24 V 1.5 A"] == orders


def test_a_supply_that_is_set_to_nothing_is_off() -> None:
    """As a person is told to switch a supply off: whichever device has it does so."""
    table = Table()
    table.bench.source(SUPPLY, volts=24.0, amps=1.5)
    table.bench.set(SUPPLY, 0.0)

    assert ["source 201 24 V 1.5 A", "off 201"] == [line for line in table.psu.log if line != "beat"]


def test_an_instrument_with_drives_and_supplies_is_told_to_switch_its_supply_off() -> None:
    """It would refuse to set a supply as if it were a drive; with a person at the bench that ended runs."""
    stand = carwash()
    supply = stand.supply("main")
    part = Part(name="io", device=Device.whole(stand.bench), channels=frozenset({supply}), stamp=STAMP, every=0.02)
    bench = ComposedBench([part], stand.clock)
    bench.source(supply, volts=24.0, amps=0.5)
    bench.set(supply, 0.0)

    assert frozenset() == bench.energised()


def test_a_supply_without_a_limit_is_not_switched_on() -> None:
    """A channel that was never sourced is no supply yet: the order is refused, the bench is at fault."""
    table = Table()
    with pytest.raises(AdapterRefused, match="channel 201 of adapter psu cannot be set"):
        table.record(order(0.1, SUPPLY, 24.0), channels=())


@pytest.mark.parametrize("at_once", [True, False])
def test_a_change_is_seen_at_the_next_look(at_once: bool) -> None:
    """A lamp lit at 0.5 s: the row changes within the time from one look to the end of the next, never before."""
    table = Table(seen=lambda channel, at: float(channel == LAMP and at >= 0.5), at_once=at_once)
    recording = table.record()
    lit = np.argmax(recording.samples(LAMP) > 0.5) / recording.rate

    assert not recording.overrun
    assert 0.5 - 0.004 <= lit <= 0.5 + STAMP
    assert 0.0 == np.abs(recording.samples(CONTACT)).max()


def test_neighbours_are_read_in_one_exchange() -> None:
    """Two channels of a device that can look at many cost as many exchanges as one."""
    one, many = Table(), Table(at_once=False)
    one.record()
    many.record()

    assert 40 <= one.panel.exchanges <= 60
    assert many.panel.exchanges > 1.5 * one.panel.exchanges


@pytest.mark.parametrize("moment", [0.0, 0.5, 0.97])
def test_a_look_that_comes_too_late_spoils_the_recording(moment: float) -> None:
    """One exchange that hangs, at the beginning, in the middle or at the end: an overrun."""
    table = Table()
    table.panel.stall = (moment, STAMP + 0.01)

    assert table.record().overrun


def test_the_next_recording_after_a_spoilt_one_is_whole() -> None:
    """Lateness belongs to its recording."""
    table = Table()
    table.panel.stall = (0.5, STAMP + 0.01)

    assert [True, False] == [table.record().overrun, table.record().overrun]


def test_hardware_and_host_share_one_time_base() -> None:
    """What the recorder sampled comes as it was, beside what the host saw; orders of both are there in order."""
    table = Table(seen=lambda _, at: float(at >= 0.25), recorder=True)
    recording = table.record(order(0.1, DRIVE, 1), order(0.2, WAVE, 1), channels=(WAVE, CONTACT))

    assert np.array_equal(np.arange(1000), recording.samples(WAVE))
    assert 0.25 <= np.argmax(recording.samples(CONTACT) > 0.5) / 1000 <= 0.25 + STAMP
    assert [DRIVE, WAVE] == [done.channel for done in recording.done]
    assert (WAVE, CONTACT) == recording.channels


def test_doubt_about_the_recorders_beginning_counts_as_lateness() -> None:
    """A beginning known only to 60 ms cannot carry looks that promise 50 ms."""
    table = Table(recorder=True)
    table.recorder.doubt = STAMP + 0.01

    assert table.record(channels=(WAVE, CONTACT)).overrun
    assert not table.record(channels=(WAVE,)).overrun


def test_one_recording_at_a_time() -> None:
    """A second begin is refused while one is running."""
    table = Table()
    capture = Capture(orders=(), duration=1.0, rate=100.0, channels=(CONTACT,))
    table.bench.begin(capture)
    with pytest.raises(AdapterRefused, match="a recording is running"):
        table.bench.begin(capture)


def test_all_off_ends_a_recording_and_its_orders() -> None:
    """After all off no order of the running recording is carried out any more."""
    table = Table()
    table.bench.begin(Capture(orders=(order(0.1, DRIVE, 1),), duration=1.0, rate=100.0, channels=()))
    table.bench.all_off()
    table.clock.sleep_until(0.5)
    table.bench.beat()

    assert frozenset() == table.bench.energised()
    assert math.inf == table.bench.due()


def test_everything_is_ordered_off_though_one_device_is_dead() -> None:
    """The supply goes off though the box answers nothing, loads come before supplies, and the problem is told."""
    table = Table()
    table.bench.source(SUPPLY, volts=6.0, amps=0.15)
    table.box.dead = True
    with pytest.raises(AdapterSilent, match="the box answers nothing"):
        table.bench.all_off()

    assert {} == table.psu.volts
    assert "all off" == table.box.log[-1]


def test_fetching_early_waits_and_still_tends() -> None:
    """A host that only fetches gets its orders done, its looks taken and its devices kept content."""
    table = Table()
    table.bench.begin(Capture(orders=(order(0.5, DRIVE, 1),), duration=1.0, rate=100.0, channels=(CONTACT,)))
    recording = table.bench.fetch()

    assert not recording.overrun
    assert [0.502] == pytest.approx([done.at for done in recording.done])
    assert table.box.log.count("beat") > 5


@given(
    change=st.floats(0.1, 0.9),
    takes=st.floats(0.0, 0.08),
    stall=st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 0.1)),
    moments=st.lists(st.floats(0.0, 0.95), max_size=4).map(sorted),
)
def test_what_is_not_an_overrun_is_known_as_well_as_stated(
    change: float, takes: float, stall: tuple[float, float], moments: list[float]
) -> None:
    """However slow and uneven the devices: seen and done within the statement, or nothing is judged."""
    table = Table(seen=lambda _, at: float(at >= change), takes=takes)
    table.box.takes = takes
    table.panel.stall = stall
    recording = table.record(*(order(at, DRIVE, float(n % 2)) for n, at in enumerate(moments)))

    if not recording.overrun:
        seen = float(np.argmax(recording.samples(CONTACT) > 0.5)) / recording.rate
        assert change - STAMP <= seen <= change + STAMP + 1 / recording.rate
        assert len(moments) == len(recording.done)
        assert all(0 <= done.at - at <= STAMP for done, at in zip(recording.done, moments, strict=True))


# ---------------------------------------------------------------- rows from looks

numbers = st.floats(min_value=-1e9, max_value=1e9)


@given(st.lists(numbers, min_size=1, max_size=40))
def test_held_values_come_back(values: list[float]) -> None:
    """Any finite readings survive the way into codes and back to a sixty-thousandth of their spread, in their order."""
    looks = [Look(begun=i * 0.1, ended=i * 0.1, value=value) for i, value in enumerate(values)]
    codes, scale, offset = held(looks, 10 * len(values), 100.0)
    ends = np.iinfo(np.int16)

    spread = max(values) - min(values)
    assert ends.min < codes.min()
    assert codes.max() < ends.max
    back = codes[5::10] * scale + offset
    assert np.allclose(back, values, rtol=0, atol=spread / 60000 + 1e-9 * max(1.0, *map(abs, values)))


@given(st.lists(st.tuples(st.floats(0, 10), st.floats(0, 0.5)), min_size=1, max_size=30), st.floats(0.1, 11))
def test_no_gap_is_missed(spans: list[tuple[float, float]], duration: float) -> None:
    """The longest unwatched time is found as by going through the moments one by one."""
    begun = np.cumsum([gap for gap, _ in spans])
    looks = [Look(begun=at, ended=at + took, value=0.0) for at, (_, took) in zip(begun, spans, strict=True)]
    slow = looks[0].ended
    for index in range(1, len(looks)):
        slow = max(slow, looks[index].ended - looks[index - 1].begun)
    slow = max(slow, duration - looks[-1].begun, 0.0)

    assert latest_gap(looks, duration) == slow


def test_over_range_and_nothing_seen_read_as_a_converter_at_its_end() -> None:
    """Infinity and not-a-number, and a channel without a look, are codes that no judge takes for a value."""
    looks = [Look(begun=float(i), ended=float(i), value=v) for i, v in enumerate((1.0, math.inf, math.nan, -math.inf))]
    codes, _, _ = held(looks, 4, 1.0)

    assert [32767, 32767, -32768] == list(codes[1:])
    assert [32767] * 3 == list(held([], 3, 1.0)[0])
    assert math.inf == latest_gap([], 1.0)
