"""The commands of docs/adapter-protocol.md, one row each: what is not in the table cannot happen.

Whatever can switch something on asks the dead-man first; switching off is never refused.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from benchtest.instruments import Capture, Order, Ticking
from benchtest.simulator import syntax
from benchtest.simulator.syntax import Refused
from benchtest.simulator.wire_state import MOST_ORDERS, TIME_OUT, Setting, WireState


@dataclass(frozen=True, kw_only=True, slots=True)
class Command:
    """What one header does; queries return their answer, commands nothing."""

    act: Callable[..., bytes]
    arguments: int


def _show(value: float) -> str:
    """Return a number as NR2 or NR3 with all its digits; 9.9E37 is infinite, 9.91E37 is NaN."""
    if np.isnan(value):
        return "9.91E37"
    if np.isinf(value):
        return "9.9E37" if value > 0 else "-9.9E37"
    return repr(float(value)).upper()


def _list(channels: frozenset[int]) -> bytes:
    return f"(@{','.join(str(channel) for channel in sorted(channels))})".encode("ascii")


def _one(text: str) -> int:
    """Return the only channel of a list."""
    channels = syntax.channels(text)
    if len(channels) != 1:
        raise Refused(-108 if channels else -109, "exactly one channel")
    return channels[0]


def _finite(text: str, *, low: float, high: float) -> float:
    value = syntax.number(text)
    if not low <= value <= high:
        raise Refused(-222, f"{text[:40]} (from {low:g} to {high:g})")
    return value


# ---------------------------------------------------------------- the adapter itself


def _reset(state: WireState) -> bytes:
    state.everything_off()
    state.started = state.recording = None
    return b""


def _echo(_: WireState, text: str) -> bytes:
    return str(int(_finite(text, low=0, high=2**31 - 1))).encode("ascii")


def _arm(state: WireState) -> bytes:
    state.armed = True
    return b""


def _set_time_out(state: WireState, text: str) -> bytes:
    state.time_out = _finite(text, low=TIME_OUT[0], high=TIME_OUT[2])
    return b""


# ---------------------------------------------------------------- outputs and supplies


def _set_output(state: WireState, value: str, channels: str) -> bytes:
    state.require_armed()
    wanted, chosen = syntax.number(value), syntax.channels(channels)
    for channel in chosen:
        state.bench.set(channel, wanted)
    return b""


def _off(state: WireState, channels: str) -> bytes:
    for channel in syntax.channels(channels):
        state.bench.off(channel)
        state.settings.pop(channel, None)
    return b""


def _all_off(state: WireState) -> bytes:
    state.everything_off()
    return b""


def _limit_current(state: WireState, amps: str, channels: str) -> bytes:
    return _supply(state, _one(channels), amps=_finite(amps, low=0, high=1e3))


def _set_voltage(state: WireState, volts: str, channels: str) -> bytes:
    return _supply(state, _one(channels), volts=_finite(volts, low=0, high=1e3))


def _switch_supply(state: WireState, on: str, channels: str) -> bytes:
    if not syntax.number(on):
        return _off(state, channels)
    return _supply(state, _one(channels), on=True)


def _supply(
    state: WireState, channel: int, *, amps: float | None = None, volts: float | None = None, on: bool = False
) -> bytes:
    """Take over one setting; what is on follows at once, and nothing is switched on without a current limit."""
    state.require_armed()
    known = state.settings.get(channel, Setting())
    setting = Setting(
        amps=known.amps if amps is None else amps, volts=known.volts if volts is None else volts, on=known.on or on
    )
    if setting.amps is None:
        raise Refused(-221, "the current limit comes first (try SOURce:CURRent)")
    if setting.on and setting.volts is None:
        raise Refused(-221, "the voltage comes before switching on (try SOURce:VOLTage)")
    if setting.on:
        state.bench.source(channel, volts=setting.volts or 0.0, amps=setting.amps)
    state.settings[channel] = setting
    return b""


def _supply_state(state: WireState, channels: str) -> bytes:
    found = state.bench.supply_state(_one(channels))
    return f"{found.on:d},{_show(found.volts)},{_show(found.amps)},{found.limiting:d}".encode("ascii")


def _measure(state: WireState, channels: str) -> bytes:
    return ",".join(_show(state.bench.measure(channel)) for channel in syntax.channels(channels)).encode("ascii")


# ---------------------------------------------------------------- recordings


def _clear_schedule(state: WireState) -> bytes:
    state.orders.clear()
    return b""


def _load_order(state: WireState, at: str, value: str, channels: str) -> bytes:
    state.require_armed()
    if len(state.orders) >= MOST_ORDERS:
        raise Refused(-223, f"more than {MOST_ORDERS} orders")
    order = Order(at=_finite(at, low=0, high=3600), value=syntax.number(value), channel=_one(channels))
    if state.orders and order.at < state.orders[-1].at:
        raise Refused(-221, "orders come in order of time")
    state.orders.append(order)
    return b""


def _start(state: WireState, duration: str, rate: str, channels: str) -> bytes:
    state.require_armed()
    if state.left:
        raise Refused(-221, "a recording is running")
    capture = Capture(
        orders=tuple(state.orders),
        duration=_finite(duration, low=1e-4, high=3600),
        rate=_finite(rate, low=1, high=1e6),
        channels=syntax.channels(channels),
    )
    if any(order.at > capture.duration for order in capture.orders):
        raise Refused(-221, "an order after the end of the recording")
    state.recording = None
    state.started = state.bench.begin(capture)
    state.orders.clear()
    return b""


def _recorder(state: WireState) -> bytes:
    if left := state.left:
        return f"RUN,{_show(left)}".encode("ascii")
    return b"IDLE,0" if state.started is None else b"READY,0"


def _since_start(state: WireState) -> bytes:
    if state.started is None:
        raise Refused(-221, "nothing was started")
    if state.left and isinstance(state.bench, Ticking):
        return _show(state.bench.elapsed()).encode("ascii")
    return _show(state.clock.now() - state.started.at).encode("ascii")


def _format(state: WireState) -> bytes:
    recording = state.recorded()
    rows = zip(recording.channels, recording.scale, recording.offset, strict=True)
    described = "".join(f",{channel},{_show(scale)},{_show(offset)}" for channel, scale, offset in rows)
    count, samples = recording.codes.shape
    return f"{_show(recording.rate)},{samples},{recording.overrun:d},{count}{described}".encode("ascii")


def _done(state: WireState) -> bytes:
    done = state.recorded().done
    return (str(len(done)) + "".join(f",{_show(o.at)},{_show(o.value)},{o.channel}" for o in done)).encode("ascii")


def _data(state: WireState) -> bytes:
    data = np.ascontiguousarray(state.recorded().codes, dtype="<i2").tobytes()
    length = str(len(data))
    return f"#{len(length)}{length}".encode("ascii") + data


def _identity(state: WireState) -> bytes:
    return state.bench.identity().encode("ascii", "replace")


def _forget_errors(state: WireState) -> bytes:
    state.forget_errors()
    return b""


COMMANDS: Final[Mapping[str, Command]] = {
    "*IDN?": Command(act=_identity, arguments=0),
    "*RST": Command(act=_reset, arguments=0),
    "*CLS": Command(act=_forget_errors, arguments=0),
    "*OPC?": Command(act=lambda _: b"1", arguments=0),
    "SYSTem:ERRor[:NEXT]?": Command(act=lambda state: state.take_error(), arguments=0),
    "SYSTem:ERRor:ALL?": Command(act=lambda state: state.take_errors(), arguments=0),
    "SYSTem:ERRor:COUNt?": Command(act=lambda state: str(state.count_errors()).encode(), arguments=0),
    "SYSTem:VERSion?": Command(act=lambda _: b"1999.0", arguments=0),
    "SYSTem:PROTocol?": Command(act=lambda _: b"1", arguments=0),
    "SYSTem:ECHO?": Command(act=_echo, arguments=1),
    "DEADman:ARM": Command(act=_arm, arguments=0),
    "DEADman:STATe?": Command(act=lambda state: b"ARMED" if state.armed else b"LOCKED", arguments=0),
    "DEADman:TIME": Command(act=_set_time_out, arguments=1),
    "DEADman:TIME?": Command(act=lambda state: _show(state.time_out).encode(), arguments=0),
    "OUTPut:VALue": Command(act=_set_output, arguments=2),
    "OUTPut:OFF": Command(act=_off, arguments=1),
    "OUTPut:OFF:ALL": Command(act=_all_off, arguments=0),
    "OUTPut:ACTive?": Command(act=lambda state: _list(state.bench.energised()), arguments=0),
    "SOURce:CURRent": Command(act=_limit_current, arguments=2),
    "SOURce:VOLTage": Command(act=_set_voltage, arguments=2),
    "SOURce:STATe": Command(act=_switch_supply, arguments=2),
    "SOURce:STATe?": Command(act=_supply_state, arguments=1),
    "MEASure?": Command(act=_measure, arguments=1),
    "RECord:CLEar": Command(act=_clear_schedule, arguments=0),
    "RECord:ORDer": Command(act=_load_order, arguments=3),
    "RECord:STARt": Command(act=_start, arguments=3),
    "RECord:STATe?": Command(act=_recorder, arguments=0),
    "RECord:TIME?": Command(act=_since_start, arguments=0),
    "RECord:FORMat?": Command(act=_format, arguments=0),
    "RECord:DONE?": Command(act=_done, arguments=0),
    "RECord:DATA?": Command(act=_data, arguments=0),
}
"""Header in the spelling of the page, long form with the short form in capitals -> what it does."""
