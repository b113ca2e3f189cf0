"""Foreign instruments over real lines: TCP, a pty paced at 115200 baud, and both by VISA, with the same results."""

import math
from collections.abc import Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Literal

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from benchtest.adapters.instrument import TextInstrument, open_instrument
from benchtest.clock import RealClock
from benchtest.errors import AdapterGarbled, AdapterMissing, AdapterRefused, AdapterSilent
from benchtest.fixture.dialect import SHIPPED, Dialect, Numbers, shipped
from benchtest.fixture.document import HardLimits
from benchtest.fixture.instrument import InstrumentAdapter
from benchtest.instruments import Device
from tests.adapters.instrument_peer import IDENTITY, Instrument, served

CLOCK = RealClock()
CHANNELS = {
    201: {"supply": 1},
    301: {"volts_of": 1},
    801: {"amps_of": 1},
    401: {"reads": "dc volts", "route": [11]},
    402: {"reads": "ac volts", "route": [12]},
    701: {"reads": "ohms 4-wire", "route": [13]},
    702: {"reads": "ohms", "route": [14]},
    101: {"closes": 21},
}
QUICK = {"slowest": "0.2 s", "settle": {"output": "1 ms", "route": "1 ms"}}


@dataclass
class Reached:
    """An instrument, and the way to it."""

    peer: Instrument
    port: str

    def opened(
        self, *, identity: str = "Somebody,Bench", dialect: str = "scpi-99", **changes: object
    ) -> AbstractContextManager[Device]:
        """Open it with the fixture's usual entries."""
        written = {"driver": "instrument", "identity": identity, "dead_man": "none", "channels": CHANNELS, **changes}
        adapter = InstrumentAdapter.model_validate(written).model_copy(update={"baud": 115200.0})
        adapter.speaking(words(dialect))
        return open_instrument(adapter=adapter, port=self.port, limits=HardLimits(), clock=CLOCK)


def words(dialect: str, **changes: object) -> Dialect:
    """Return a shipped dialect that waits less."""
    written = yaml.safe_load((SHIPPED / f"{dialect}.yaml").read_text(encoding="utf-8"))
    return Dialect.model_validate({**written, **QUICK, **changes})


def visa(port: str) -> str:
    """Return the resource name of a port (VISA library specification VPP-4.3, resource name grammar; from memory)."""
    if port.startswith("socket://"):
        host, _, number = port.removeprefix("socket://").partition(":")
        return f"TCPIP::{host}::{number}::SOCKET"
    return f"ASRL{port}::INSTR"


@pytest.fixture(params=["tcp", "pty", "visa tcp", "visa pty"])
def reached(request: pytest.FixtureRequest) -> Iterator[Reached]:
    kind: str = request.param
    peer = Instrument()
    with served(peer, kind[-3:], baud=115200 if kind.endswith("pty") else 0) as port:
        yield Reached(peer, visa(port) if kind.startswith("visa") else port)


@pytest.fixture
def plain() -> Iterator[Reached]:
    """One line is enough where the line does not matter."""
    peer = Instrument()
    with served(peer, "tcp") as port:
        yield Reached(peer, port)


def supplies(device: Device) -> TextInstrument:
    assert isinstance(device.supplies, TextInstrument)
    return device.supplies


def orders(peer: Instrument) -> list[str]:
    """Return the orders that the instrument heard, without queries."""
    return [line for line in peer.log if "?" not in line]


def test_limit_then_voltage_then_output(reached: Reached) -> None:
    """A supply is given its current limit, then its voltage, then switched on, and reads back what it does."""
    reached.peer.outputs[1].load = 48.0
    with reached.opened() as device:
        reached.peer.log.clear()
        supplies(device).source(201, volts=24.0, amps=1.5)

        assert ["SOURce:CURRent 1.500000E+00", "SOURce:VOLTage 2.400000E+01", "OUTPut:STATe ON"] == orders(reached.peer)
        state = supplies(device).supply_state(201)
        assert (True, 24.0, 0.5, False) == (state.on, state.volts, state.amps, state.limiting)
        assert (24.0, 0.5) == (supplies(device).measure(301), supplies(device).measure(801))
        assert frozenset({201}) == supplies(device).energised()
    assert not reached.peer.outputs[1].on


def test_a_current_limit_is_never_rounded_up(plain: Reached) -> None:
    """In two digits 155.9 mA is 150 mA; 9 mA would be nothing, and is refused before anything is sent."""
    written = {"driver": "instrument", "identity": "Somebody", "dead_man": "none", "channels": CHANNELS}
    coarse = words("scpi-99", number={"form": "fixed", "digits": 2})
    adapter = InstrumentAdapter.model_validate(written).speaking(coarse)
    with open_instrument(adapter=adapter, port=plain.port, limits=HardLimits(), clock=CLOCK) as device:
        plain.peer.log.clear()
        with pytest.raises(AdapterRefused, match=r"channel 201: of 0\.009 A nothing is left in 2 digits"):
            supplies(device).source(201, volts=24.0, amps=0.009)
        assert [] == orders(plain.peer)
        supplies(device).source(201, volts=24.0, amps=0.1559)
        assert "SOURce:CURRent 0.15" == orders(plain.peer)[0]


@given(
    value=st.just(0.0) | st.floats(min_value=1e-6, max_value=30.0),
    form=st.sampled_from(["fixed", "exponent"]),
    digits=st.integers(min_value=0, max_value=12),
)
def test_what_is_written_at_most_is_the_next_below(
    value: float, form: Literal["fixed", "exponent"], digits: int
) -> None:
    """Never above the value, and less than one last place below it; decimal reckoning decides."""
    text = Numbers(form=form, digits=digits).write_at_most(value)
    last = Decimal(text).as_tuple().exponent
    assert isinstance(last, int)

    assert Decimal(text) <= Decimal(value) or float(text) == value
    assert Decimal(value) - Decimal(text) < Decimal(1).scaleb(last)


def test_supply_that_limits_says_so(reached: Reached) -> None:
    """A load that takes more than the limit shows a lower voltage, the limit's current, and limiting."""
    reached.peer.outputs[1].load = 10.0
    with reached.opened() as device:
        supplies(device).source(201, volts=24.0, amps=1.0)
        state = supplies(device).supply_state(201)

    assert (True, 10.0, 1.0, True) == (state.on, state.volts, state.amps, state.limiting)


def test_limiting_by_the_instruments_own_word(plain: Reached) -> None:
    """Where the dialect knows a bit that means limiting, that bit decides, not the current."""
    dialect = yaml.safe_load((SHIPPED / "scpi-99.yaml").read_text(encoding="utf-8"))
    dialect["supply"]["limiting"] = {"query": "STATus:QUEStionable:CONDition?", "mask": 1}
    written = {"driver": "instrument", "identity": "Somebody", "dead_man": "none", "channels": CHANNELS}
    adapter = InstrumentAdapter.model_validate(written).speaking(Dialect.model_validate({**dialect, **QUICK}))
    plain.peer.outputs[1].load = 24.0
    with open_instrument(adapter=adapter, port=plain.port, limits=HardLimits(), clock=CLOCK) as device:
        supplies(device).source(201, volts=24.0, amps=1.0)
        assert not supplies(device).supply_state(201).limiting
        plain.peer.outputs[1].load = 12.0
        assert supplies(device).supply_state(201).limiting


def test_meter_reads_through_its_route_and_opens_it_again(reached: Reached) -> None:
    """A reading closes its route, and the route is open after it; over-range is infinite, not-a-number is NaN."""
    reached.peer.readings |= {("VOLT", 11): "+1.2345E+01", ("VOLT:AC", 12): "+2.4E+01", ("FRES", 13): "+8.123E-02"}
    with reached.opened() as device:
        assert device.meter is not None
        assert (12.345, 24.0, 0.08123) == tuple(device.meter.measure(channel) for channel in (401, 402, 701))
        assert math.isinf(device.meter.measure(702))
        reached.peer.readings["RES", 14] = "+9.91E+37"
        assert math.isnan(device.meter.measure(702))
        assert set() == reached.peer.closed


def test_switch_unit_drives_and_is_read_back(reached: Reached) -> None:
    """A channel of a switch unit is a drive: closed, read back, opened, and open on the way out."""
    with reached.opened() as device:
        assert device.outputs is not None
        device.outputs.set(101, 1)
        assert ({21}, frozenset({101})) == (reached.peer.closed, device.outputs.energised())
        device.outputs.off(101)
        assert frozenset() == device.outputs.energised()
        device.outputs.set(101, 1)
    assert set() == reached.peer.closed


def test_error_queue_is_read_after_each_order(reached: Reached) -> None:
    """An order that the instrument refuses raises with its words; the queue is empty after, and nothing came on."""
    with reached.opened() as device:
        reached.peer.trouble["OUTPut:STATe ON"] = ["deaf"]
        reached.peer.errors.append('-221,"Settings conflict;output is locked"')
        with pytest.raises(AdapterRefused, match=r"-221, Settings conflict;output is locked after 'SOURce:CURRent"):
            supplies(device).source(201, volts=5, amps=1)
        device.identified.check()
        assert not reached.peer.outputs[1].on


def test_errors_from_before_are_nobodys(plain: Reached) -> None:
    """What waits in the error queue at the start is emptied, and is not held against this run."""
    plain.peer.errors += ['-350,"Queue overflow"'] * 20
    with plain.opened() as device:
        device.identified.check()
    assert "*CLS" in plain.peer.log


@pytest.mark.parametrize(
    ("volts", "amps"), [(30.01, 1.0), (24.0, 3.01), (math.nan, 1.0), (24.0, math.nan), (-0.1, 1.0), (math.inf, 1.0)]
)
def test_hard_limits_hold_before_the_wire(plain: Reached, volts: float, amps: float) -> None:
    """A voltage or current beyond the bench's hard limits, or no number, never reaches the instrument."""
    with plain.opened() as device:
        plain.peer.log.clear()
        with pytest.raises(AdapterRefused, match="hard limit"):
            supplies(device).source(201, volts=volts, amps=amps)
        assert [] == plain.peer.log


def test_hard_limit_holds_for_the_number_as_it_is_sent(plain: Reached) -> None:
    """A value that only rounding to the instrument's digits lifts above the limit is refused too."""
    limits = HardLimits.model_validate({"voltage": "29.5 V", "current": "3 A"})
    written = {"driver": "instrument", "identity": "Somebody", "dead_man": "none", "channels": {201: {"supply": 1}}}
    adapter = InstrumentAdapter.model_validate(written)
    adapter.speaking(words("scpi-99", number={"form": "fixed", "digits": 0}))
    with open_instrument(adapter=adapter, port=plain.port, limits=limits, clock=CLOCK) as device:
        with pytest.raises(AdapterRefused, match="sent as 30"):
            supplies(device).source(201, volts=29.5, amps=1)
        supplies(device).source(201, volts=29.4, amps=1)
    assert "SOURce:VOLTage 29" in plain.peer.log


def test_stranger_is_told_nothing_but_to_say_who_it_is(reached: Reached) -> None:
    """Another identity than the fixture's is refused, naming both, and only `*IDN?` was said."""
    with (
        pytest.raises(AdapterMissing, match=f"found '{IDENTITY}', expected 'Other"),
        reached.opened(identity="Other"),
    ):
        raise AssertionError("the instrument was handed out")
    assert {"*IDN?"} == set(reached.peer.log)


def test_everything_is_off_after_an_error_in_the_block(reached: Reached) -> None:
    """A Ctrl-C inside the block leaves everything off, and it is that which comes out."""

    def interrupted() -> None:
        with reached.opened() as device:
            supplies(device).source(201, volts=24, amps=1)
            supplies(device).set(101, 1)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert (False, set()) == (reached.peer.outputs[1].on, reached.peer.closed)


def test_slow_instrument_is_waited_for(reached: Reached) -> None:
    """Answers that take half the permitted time are taken at the first asking."""
    with reached.opened() as device:
        reached.peer.latency = 0.1
        assert 0.0 == supplies(device).measure(301)
        assert 0 == supplies(device).retries
        reached.peer.latency = 0.0


def test_late_answer_is_never_taken_for_the_next(reached: Reached) -> None:
    """An answer after the time-out is thrown away while the line becomes quiet, and the query is asked once more."""
    reached.peer.late = 0.3
    with reached.opened() as device:
        supplies(device).source(201, volts=24, amps=1)
        reached.peer.readings["VOLT", 11] = "+1.0E+00"
        reached.peer.trouble["MEASure:VOLTage:DC?"] = ["late"]
        reached.peer.log.clear()
        assert 1.0 == supplies(device).measure(401)
        assert 1 == supplies(device).retries

    after = reached.peer.log[reached.peer.log.index("MEASure:VOLTage:DC?") + 1 :]
    again = after.index("MEASure:VOLTage:DC?")
    assert ["*IDN?", "SOURce:VOLTage?", "SOURce:CURRent?", "OUTPut:STATe?"] == after[: min(4, again)]


@pytest.mark.parametrize("what", ["silent", "garbled", "half"])
def test_one_bad_answer_is_asked_again_after_everything_was_read_back(reached: Reached, what: str) -> None:
    """Silence, garbage or half an answer costs one recovery: who is it, set-points, outputs, and the query again."""
    with reached.opened() as device:
        supplies(device).source(201, volts=12, amps=1)
        supplies(device).set(101, 1)
        reached.peer.trouble["MEASure:VOLTage:DC?"] = [what]
        assert 12.0 == supplies(device).measure(301)
        assert 1 == supplies(device).retries


@pytest.mark.parametrize("what", ["silent", "garbled"])
def test_twice_failed_is_a_fault_of_the_bench(reached: Reached, what: str) -> None:
    """When the instrument does not recover, the bench is at fault; the way out does not take for ever."""

    def failing() -> None:
        with reached.opened() as device:
            supplies(device).source(201, volts=12, amps=1)
            reached.peer.trouble |= {"MEASure:VOLTage:DC?": [what], "*IDN?": [what]}
            supplies(device).measure(301)

    began = CLOCK.now()
    with pytest.raises(
        AdapterSilent if what == "silent" else AdapterGarbled, match=r"and again: .*a fault of the bench"
    ):
        failing()
    assert CLOCK.now() - began < 5
    assert not reached.peer.outputs[1].on


def test_instrument_that_restarted_unseen_is_refused(reached: Reached) -> None:
    """After a time-out in which the instrument lost its settings, the read-back tells, and nothing goes on."""
    with reached.opened() as device:
        supplies(device).source(201, volts=12, amps=1)
        reached.peer.trouble["MEASure:VOLTage:DC?"] = ["restarts"]
        with pytest.raises(AdapterRefused, match="after a time-out the voltage of output 1 is set to 0 instead of 12"):
            supplies(device).measure(301)


def test_order_is_sent_once_though_nobody_confirms_it(reached: Reached) -> None:
    """When the error query after an order is lost, the order is not repeated; the read-back shows that it was done."""
    with reached.opened() as device:
        reached.peer.log.clear()
        reached.peer.trouble["SYSTem:ERRor?"] = ["silent"]
        supplies(device).source(201, volts=12, amps=1)
    assert 3 == sum(
        order.startswith(("SOURce:CURR", "SOURce:VOLT", "OUTPut:STATe ON")) for order in orders(reached.peer)
    )


def test_order_that_was_lost_is_found_out(reached: Reached) -> None:
    """When an order and its error query are both lost, the read-back shows it: refused, not repeated."""
    with reached.opened() as device:
        reached.peer.log.clear()
        reached.peer.trouble |= {"OUTPut:STATe ON": ["deaf"], "SYSTem:ERRor?": ["+", "+", "silent"]}
        with pytest.raises(AdapterRefused, match="after a time-out output 1 is off"):
            supplies(device).source(201, volts=12, amps=1)
    assert 1 == reached.peer.log.count("OUTPut:STATe ON")


def test_echo_is_called_an_echo(reached: Reached) -> None:
    """A line that gives back what was sent is told as such, and nothing was switched."""
    reached.peer.echoes = True
    with pytest.raises(AdapterGarbled, match="given back by the line"), reached.opened():
        raise AssertionError("an echo passed for an instrument")
    assert {"*IDN?"} == set(reached.peer.log)


def test_line_ends_are_the_dialects(plain: Reached) -> None:
    """An instrument that ends lines by CR LF is understood with that in the fixture, and silent with LF only."""
    plain.peer.end = b"\r\n"
    ends = {"send": "CR LF", "receive": "CR LF"}
    with plain.opened(terminations=ends) as device:
        assert IDENTITY == device.identified.identity()
    with pytest.raises(AdapterSilent, match="are its line ends right"), plain.opened():
        raise AssertionError("it answered")


def test_nobody_there_is_said_so(reached: Reached) -> None:
    """An instrument that never answers is an AdapterSilent that says what to look at."""
    reached.peer.trouble["*IDN?"] = ["silent"] * 9
    with pytest.raises(AdapterSilent, match="is it switched on"), reached.opened():
        raise AssertionError("it answered")


@pytest.mark.parametrize(
    "port", ["socket://127.0.0.1:9", "TCPIP::127.0.0.1::9::SOCKET", "ASRL/dev/no-port::INSTR", "X::Y"]
)
def test_missing_instrument_says_what_to_try(port: str) -> None:
    """A port where nobody listens, or that is none, is an AdapterMissing."""
    with pytest.raises(AdapterMissing), Reached(Instrument(), port).opened():
        raise AssertionError("an instrument was found")


@pytest.mark.parametrize("dialect", ["scpi-99-outputs", "scpi-99-selected"])
def test_two_outputs_are_told_apart(plain: Reached, dialect: str) -> None:
    """With words that tell outputs apart, each is set, read and switched off by itself, also after a recovery."""
    channels = {201: {"supply": 1}, 202: {"supply": 2}, 302: {"volts_of": 2}}
    with plain.opened(dialect=dialect, channels=channels) as device:
        supplies(device).source(201, volts=5, amps=1)
        supplies(device).source(202, volts=9, amps=2)
        read_back = "MEASure2:VOLTage" if dialect.endswith("outputs") else "MEASure:VOLTage"
        plain.peer.trouble[read_back] = ["silent"]
        assert 9.0 == supplies(device).measure(302)
        supplies(device).off(201)
        assert frozenset({202}) == supplies(device).energised()
        assert (5.0, 9.0) == (plain.peer.outputs[1].volts, plain.peer.outputs[2].volts)
    assert [False, False] == [output.on for output in plain.peer.outputs.values()]


def test_channels_do_what_they_are_and_nothing_else(plain: Reached) -> None:
    """A channel that is no output cannot be switched, one that is no meter not read, and an unknown one nothing."""
    with plain.opened() as device:
        instrument = supplies(device)
        for refused in (
            lambda: instrument.set(201, 1),
            lambda: instrument.set(101, 0.5),
            lambda: instrument.off(401),
            lambda: instrument.measure(201),
            lambda: instrument.source(101, volts=1, amps=1),
            lambda: instrument.measure(999),
        ):
            with pytest.raises(AdapterRefused):
                refused()


def test_shipped_dialects_are_on_the_page() -> None:
    """Every dialect that comes with the program is described in the documentation."""
    page = (Path(__file__).parents[2] / "docs/instruments.md").read_text(encoding="utf-8")
    assert all(f"`{name}`" in page for name in shipped())
