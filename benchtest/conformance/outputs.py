"""Rules about identity, outputs and supplies: what is set is read back, what is dangerous is refused."""

import math
from collections.abc import Iterator
from functools import partial
from typing import Final

from benchtest.conformance.case import Case, Rule
from benchtest.instruments import Role

LOW: Final = 5.0
"""Volts at which supplies are tried: no board minds."""
LITTLE: Final = 0.1
"""Amps to go with it."""
OHMS: Final = 10e3


def _identity(case: Case) -> Iterator[str]:
    found = case.bench.identity()
    if len(found.split(",")) < 4:
        yield f"{found!r} has not the four parts maker, model, serial number, version"
    if case.bench.identity() != found:
        yield "asked twice it gave two different answers"


def _at_rest(case: Case) -> Iterator[str]:
    yield from case.on(set(), "just opened")
    case.bench.check()


def _read_back(case: Case) -> Iterator[str]:
    outputs = {case.channel(Role.DRIVE): 1.0, case.channel(Role.RESISTANCE): OHMS}
    outputs.pop(0, None)
    for channel, value in outputs.items():
        case.bench.set(channel, value)
    supply = case.channel(Role.SUPPLY)
    if supply:
        case.bench.source(supply, volts=LOW, amps=LITTLE)
    on = {*outputs, supply} - {0}
    yield from case.on(on, "after setting")
    for channel in sorted(on):
        case.bench.off(channel)
    yield from case.on(set(), "after taking off one by one")


def _safe_values(case: Case) -> Iterator[str]:
    for role, value, safe in ((Role.DRIVE, 1.0, 0.0), (Role.RESISTANCE, OHMS, math.inf)):
        if channel := case.channel(role):
            case.bench.set(channel, value)
            case.bench.set(channel, safe)
            yield from case.on(set(), f"{role.value} set to {safe:g}")


def _all_off(case: Case) -> Iterator[str]:
    for role, value in ((Role.DRIVE, 1.0), (Role.RESISTANCE, 0.0)):
        if channel := case.channel(role):
            case.bench.set(channel, value)
    supply = case.channel(Role.SUPPLY)
    if supply:
        case.bench.source(supply, volts=LOW, amps=LITTLE)
    for time in ("once", "twice"):
        case.bench.all_off()
        yield from case.on(set(), f"all off {time}")
    if supply and case.bench.supply_state(supply).on:
        yield "the supply says that it is on after all off"


def _volts_refused(case: Case) -> Iterator[str]:
    supply, most = case.channel(Role.SUPPLY), case.fixture.limits.voltage
    for volts in (most + 0.5, 1000.0, -1.0, math.nan, math.inf):
        yield from case.refuses(f"{volts:g} V", partial(case.bench.source, supply, volts=volts, amps=LITTLE))
    yield from case.on(set(), "after refused voltages")


def _amps_refused(case: Case) -> Iterator[str]:
    supply, most = case.channel(Role.SUPPLY), case.fixture.limits.current
    for amps in (most + 0.5, 0.0, -1.0, math.nan, math.inf):
        yield from case.refuses(f"{amps:g} A", partial(case.bench.source, supply, volts=LOW, amps=amps))
    yield from case.on(set(), "after refused current limits")


def _nonsense_refused(case: Case) -> Iterator[str]:
    asked = [(case.channel(Role.DRIVE), 2.0), (case.channel(Role.DRIVE), math.nan)]
    asked += [(case.channel(Role.RESISTANCE), -1.0), (case.channel(Role.RESISTANCE), math.nan)]
    asked += [(case.channel(Role.SENSE), 1.0), (case.channel(Role.SUPPLY), LOW)]
    for channel, value in [*(pair for pair in asked if pair[0]), (case.nowhere, 1.0)]:
        yield from case.refuses(f"channel {channel} set to {value:g}", partial(case.bench.set, channel, value))
    yield from case.on(set(), "after refused settings")


def _usable_afterwards(case: Case) -> Iterator[str]:
    yield from case.refuses("a channel that is not there", partial(case.bench.set, case.nowhere, 1.0))
    case.bench.check()
    case.bench.set(case.channel(Role.DRIVE), 1.0)
    yield from case.on({case.channel(Role.DRIVE)}, "a proper order after a refused one")


def _off_is_zero(case: Case) -> Iterator[str]:
    supply, sense = case.channel(Role.SUPPLY), case.beside(Role.SENSE)
    case.bench.source(supply, volts=12.0, amps=0.5)
    case.wait(0.05)
    state = case.bench.supply_state(supply)
    if not (state.on and abs(state.volts - 12.0) < 0.12 and 0 < state.amps < 0.5 and not state.limiting):
        yield f"ordered 12 V, it says {state}"
    case.bench.off(supply)
    case.wait(0.1)
    state = case.bench.supply_state(supply)
    if state.on or not abs(state.volts) < 0.05:
        yield f"taken off, it says {state}"
    if not abs(read := case.bench.measure(sense)) < 0.05:
        yield f"taken off, its terminals have {read:g} V"


def _current_limit(case: Case) -> Iterator[str]:
    case.bench.source(case.channel(Role.SUPPLY), volts=24.0, amps=0.02)
    case.wait(0.05)
    state = case.bench.supply_state(case.channel(Role.SUPPLY))
    if not (state.limiting and state.volts < 20 and abs(state.amps - 0.02) < 0.001):
        yield f"with a limit of 20 mA, less than the board takes, it says {state}"


OUTPUTS: Final = (
    Rule(name="identity", sentence="its name has four parts and stays the same", roles=(), look=_identity),
    Rule(name="at rest", sentence="just opened, nothing is on and no error waits", roles=(), look=_at_rest),
    Rule(name="read back", sentence="what is set is read back, and vanishes when taken off", roles=(), look=_read_back),
    Rule(name="safe values", sentence="a drive at 0 and an infinite resistance are off", roles=(), look=_safe_values),
    Rule(name="all off", sentence="all off takes everything off, and may be repeated", roles=(), look=_all_off),
    Rule(
        name="voltage limit",
        sentence="a voltage beyond the bench is refused, and nothing is switched on",
        roles=(Role.SUPPLY,),
        look=_volts_refused,
    ),
    Rule(
        name="current limit refused",
        sentence="a current limit beyond the bench, or none, is refused",
        roles=(Role.SUPPLY,),
        look=_amps_refused,
    ),
    Rule(
        name="nonsense",
        sentence="a value out of range and a channel that is no output change nothing",
        roles=(),
        look=_nonsense_refused,
    ),
    Rule(
        name="after a refusal",
        sentence="after a refused order the queue is clear and a proper one works",
        roles=(Role.DRIVE,),
        look=_usable_afterwards,
    ),
    Rule(
        name="off is zero",
        sentence="a supply that is taken off has no voltage at its terminals",
        roles=(Role.SUPPLY, Role.SENSE),
        look=_off_is_zero,
        board=True,
    ),
    Rule(
        name="limiting",
        sentence="a supply at its current limit says so, and its voltage gives way",
        roles=(Role.SUPPLY,),
        look=_current_limit,
        board=True,
    ),
)
