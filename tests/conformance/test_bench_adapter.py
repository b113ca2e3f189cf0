"""What every bench adapter owes the seam (`benchtest.instruments.BenchAdapter`), whatever it is made of.

Channel numbers are those of the greenhouse cable set. Short recordings: some of these adapters live in real time.
"""

import math
from collections.abc import Iterator

import numpy as np
import pytest

from benchtest.errors import AdapterRefused
from benchtest.instruments import Capture, Order
from tests.conformance.benches import BENCHES, Case

SUPPLY, FIELD, DRIVE, RESISTANCE = 201, 202, 104, 601
SENSE, PAD, CONTACT, LIGHT, CURRENT, OHMS, JUMPER = 301, 313, 403, 503, 801, 701, 703
NOWHERE = 999


@pytest.fixture(params=BENCHES)
def case(request: pytest.FixtureRequest) -> Iterator[Case]:
    with BENCHES[request.param]() as opened:
        yield opened


def capture(*orders: Order, duration: float = 0.04, channels: tuple[int, ...] = (SENSE, CONTACT)) -> Capture:
    return Capture(orders=orders, duration=duration, rate=5000.0, channels=channels)


def test_identity_has_four_parts(case: Case) -> None:
    """Maker, model, serial number and firmware, separated by commas (IEEE 488.2 *IDN?, from memory)."""
    assert len(case.bench.identity().split(",")) == 4
    assert case.bench.identity() == case.bench.identity()


def test_nothing_is_on_at_first(case: Case) -> None:
    """A bench that was just opened has every output in its safe state."""
    assert case.bench.energised() == frozenset()
    case.bench.check()


def test_what_is_energised_is_read_back(case: Case) -> None:
    """Drives, resistances and supplies appear when set, and vanish when taken off one by one."""
    case.bench.set(DRIVE, 1)
    case.bench.set(RESISTANCE, 10e3)
    case.bench.source(SUPPLY, volts=6.0, amps=0.15)
    assert case.bench.energised() == {DRIVE, RESISTANCE, SUPPLY}
    for channel in (DRIVE, RESISTANCE, SUPPLY):
        case.bench.off(channel)
    assert case.bench.energised() == frozenset()


def test_set_to_the_safe_value_is_off(case: Case) -> None:
    """A drive at 0 and an infinite resistance are not energised."""
    case.bench.set(DRIVE, 1)
    case.bench.set(DRIVE, 0)
    case.bench.set(RESISTANCE, 10e3)
    case.bench.set(RESISTANCE, math.inf)
    assert case.bench.energised() == frozenset()


def test_all_off_is_harmless_when_repeated(case: Case) -> None:
    """Everything goes off in one order, and a second one changes nothing."""
    case.bench.set(DRIVE, 1)
    case.bench.set(RESISTANCE, 0.0)
    case.bench.source(SUPPLY, volts=24.0, amps=1.0)
    for _ in range(2):
        case.bench.all_off()
        assert case.bench.energised() == frozenset()
    assert not case.bench.supply_state(SUPPLY).on


def test_off_takes_the_supply_to_zero(case: Case) -> None:
    """A supply that was on is read back off and near 0 V, by itself and by the sense channel."""
    case.bench.source(SUPPLY, volts=12.0, amps=0.5)
    case.wait(0.05)
    state = case.bench.supply_state(SUPPLY)
    assert state.on
    assert state.volts == pytest.approx(12.0, rel=0.01)
    assert 0 < state.amps < 0.5
    assert not state.limiting
    case.bench.off(SUPPLY)
    case.wait(0.1)
    state = case.bench.supply_state(SUPPLY)
    assert not state.on
    assert abs(state.volts) < 0.05
    assert abs(case.bench.measure(SENSE)) < 0.05


def test_a_supply_can_be_on_at_its_current_limit(case: Case) -> None:
    """With less current than the board draws the supply says that it is limiting, and the voltage gives way."""
    case.bench.source(SUPPLY, volts=24.0, amps=0.02)
    case.wait(0.05)
    state = case.bench.supply_state(SUPPLY)
    assert state.limiting
    assert state.volts < 20
    assert state.amps == pytest.approx(0.02, rel=0.05)


@pytest.mark.parametrize("volts", [30.5, 1000.0, -1.0, math.nan, math.inf])
def test_a_voltage_beyond_the_bench_is_refused(case: Case, volts: float) -> None:
    """The bench's hard limit holds at the last line before the hardware, and nothing is switched on."""
    with pytest.raises(AdapterRefused):
        case.bench.source(SUPPLY, volts=volts, amps=0.1)
    assert case.bench.energised() == frozenset()


@pytest.mark.parametrize("amps", [3.5, 0.0, -1.0, math.nan, math.inf])
def test_a_current_limit_beyond_the_bench_is_refused(case: Case, amps: float) -> None:
    """A supply is never switched on without a current limit that the bench permits."""
    with pytest.raises(AdapterRefused):
        case.bench.source(SUPPLY, volts=5.0, amps=amps)
    assert case.bench.energised() == frozenset()


@pytest.mark.parametrize(
    ("channel", "value"),
    [
        (DRIVE, 2.0),
        (DRIVE, math.nan),
        (RESISTANCE, -1.0),
        (RESISTANCE, math.nan),
        (SENSE, 1.0),
        (SUPPLY, 5.0),
        (NOWHERE, 1.0),
    ],
)
def test_a_nonsense_setting_is_refused(case: Case, channel: int, value: float) -> None:
    """A value out of range, a channel that is no output and one that is not there change nothing."""
    with pytest.raises(AdapterRefused):
        case.bench.set(channel, value)
    assert case.bench.energised() == frozenset()


@pytest.mark.parametrize("channel", [NOWHERE, DRIVE, SUPPLY])
def test_what_cannot_be_measured_is_refused(case: Case, channel: int) -> None:
    """An output and a channel that is not there give no reading."""
    with pytest.raises(AdapterRefused):
        case.bench.measure(channel)


def test_readings_have_the_unit_of_their_role(case: Case) -> None:
    """Volts, volts across an open contact, share of light, amps."""
    case.bench.source(SUPPLY, volts=24.0, amps=1.0)
    case.wait(0.1)
    test = case.fixture.contact_test
    assert case.bench.measure(SENSE) == pytest.approx(24.0, rel=0.01)
    assert case.bench.measure(CONTACT) == pytest.approx(test.voltage, rel=0.02)
    assert 0 <= case.bench.measure(LIGHT) < case.fixture.light.dark
    assert 0.01 < case.bench.measure(CURRENT) < 0.1


def test_ohms_are_read_without_power_only(case: Case) -> None:
    """The bridge of the jumper plug and the supply's resistance are read, and refused while the supply is on."""
    assert 0 < case.bench.measure(JUMPER) < 1
    assert case.bench.measure(OHMS) > 500
    case.bench.source(SUPPLY, volts=6.0, amps=0.15)
    with pytest.raises(AdapterRefused):
        case.bench.measure(OHMS)


def test_a_recording_is_what_was_asked_for(case: Case) -> None:
    """All channels in order, samples by rate and duration, 16-bit codes, SI values after scale and offset."""
    case.bench.source(SUPPLY, volts=24.0, amps=1.0)
    case.wait(0.1)
    channels = (CONTACT, SENSE, CURRENT, LIGHT)
    before = case.clock.now()
    started = case.bench.begin(capture(channels=channels))
    recording = case.bench.fetch()

    assert before - started.uncertainty <= started.at <= case.clock.now() + started.uncertainty
    assert case.clock.now() >= started.at - started.uncertainty + 0.04
    assert recording.channels == channels
    assert recording.rate == 5000.0
    assert recording.duration == pytest.approx(0.04)
    assert recording.codes.shape == (4, 200)
    assert recording.codes.dtype == np.int16
    assert not recording.overrun
    assert recording.samples(SENSE).mean() == pytest.approx(24.0, rel=0.01)


def test_orders_are_carried_out_and_stamped(case: Case) -> None:
    """Each order is done once, in turn, and its stamp is within the adapter's stamp of the plan and of the waveform."""
    case.bench.source(SUPPLY, volts=12.0, amps=1.0)
    case.wait(0.1)
    orders = (
        Order(at=0.01, channel=SUPPLY, value=24.0),
        Order(at=0.01, channel=DRIVE, value=1.0),
        Order(at=0.03, channel=SUPPLY, value=0.0),
    )
    started = case.bench.begin(capture(*orders, duration=0.06))
    recording = case.bench.fetch()
    stamp = case.fixture.adapters[case.harness.adapter].stamp

    assert started.uncertainty >= 0
    assert [(done.channel, done.value) for done in recording.done] == [(o.channel, o.value) for o in orders]
    assert [done.at for done in recording.done] == pytest.approx([order.at for order in orders], abs=stamp)
    volts = recording.samples(SENSE)
    rises, falls = np.flatnonzero(volts > 12.5)[0], np.flatnonzero(volts > 12.5)[-1]
    assert rises / 5000 == pytest.approx(0.01, abs=0.001)
    assert 0.03 <= falls / 5000 < 0.045
    assert case.bench.energised() == {DRIVE}


@pytest.mark.parametrize(
    "wrong",
    [
        capture(duration=0.0),
        capture(duration=-1.0),
        capture(duration=math.nan),
        Capture(orders=(), duration=0.01, rate=1e9, channels=(SENSE,)),
        Capture(orders=(), duration=0.01, rate=0.0, channels=(SENSE,)),
        capture(channels=(DRIVE,)),
        capture(channels=(NOWHERE,)),
        capture(Order(at=0.5, channel=DRIVE, value=1.0)),
        capture(Order(at=-0.1, channel=DRIVE, value=1.0)),
        capture(Order(at=0.02, channel=DRIVE, value=1.0), Order(at=0.01, channel=DRIVE, value=0.0)),
        capture(Order(at=0.01, channel=DRIVE, value=0.5)),
        capture(Order(at=0.01, channel=SENSE, value=1.0)),
        capture(Order(at=0.01, channel=SUPPLY, value=31.0)),
        capture(Order(at=0.01, channel=FIELD, value=24.0)),  # no current limit was ever set
    ],
)
def test_a_capture_that_cannot_be_is_refused_whole(case: Case, wrong: Capture) -> None:
    """Nothing of a refused capture is carried out, and a proper one can follow."""
    with pytest.raises(AdapterRefused):
        case.bench.begin(wrong)
    case.wait(0.05)
    assert case.bench.energised() == frozenset()
    case.bench.begin(capture())
    assert case.bench.fetch().codes.shape == (2, 200)


def test_one_recording_at_a_time(case: Case) -> None:
    """A second begin is refused while one is running, and fetch without begin as well."""
    with pytest.raises(AdapterRefused):
        case.bench.fetch()
    case.bench.begin(capture())
    with pytest.raises(AdapterRefused):
        case.bench.begin(capture())
    assert case.bench.fetch().codes.shape == (2, 200)
    with pytest.raises(AdapterRefused):
        case.bench.fetch()


def test_all_off_ends_a_recording_and_its_orders(case: Case) -> None:
    """After all off no order of the running recording is carried out any more."""
    case.bench.begin(capture(Order(at=0.05, channel=DRIVE, value=1.0), duration=0.1))
    case.bench.all_off()
    case.wait(0.12)
    assert case.bench.energised() == frozenset()


def test_a_refusal_leaves_the_adapter_usable(case: Case) -> None:
    """After a refused order the queue is clear, and the next proper one works."""
    with pytest.raises(AdapterRefused):
        case.bench.set(NOWHERE, 1)
    case.bench.check()
    case.bench.set(DRIVE, 1)
    assert case.bench.energised() == {DRIVE}
