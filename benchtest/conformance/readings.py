"""Rules about single readings: their unit is that of their role, and what cannot be read is refused."""

from collections.abc import Iterator
from functools import partial
from typing import Final

from benchtest.conformance.case import Case, Rule
from benchtest.instruments import Role


def _not_measured(case: Case) -> Iterator[str]:
    outputs = (case.channel(Role.DRIVE), case.channel(Role.SUPPLY))
    for channel in [*filter(None, outputs), case.nowhere]:
        yield from case.refuses(f"a reading of channel {channel}", partial(case.bench.measure, channel))


def _units(case: Case) -> Iterator[str]:
    case.bench.source(case.channel(Role.SUPPLY), volts=24.0, amps=1.0)
    case.wait(0.1)
    test, dark = case.fixture.contact_test.voltage, case.fixture.light.dark
    opened = case.channel(Role.CONTACT, 2)
    wanted = (
        (case.beside(Role.SENSE), "volts", 23.76, 24.24),
        (opened, "volts across an open contact", 0.98 * test, 1.02 * test),
        (case.channel(Role.LIGHT), "light of a dark lamp", 0.0, dark),
        (case.beside(Role.CURRENT), "amps", 0.01, 0.1),
    )
    for channel, what, low, high in wanted:
        if not low <= (read := case.bench.measure(channel)) <= high:
            yield f"{what}: channel {channel} reads {read:g}, expected {low:g} to {high:g}"


def _ohms(case: Case) -> Iterator[str]:
    own = case.beside(Role.OHMS)
    jumper = next(number for number in reversed(case.harness.ohms.values()) if number != own)
    if not 0 < (read := case.bench.measure(jumper)) < 2:
        yield f"a bridge: channel {jumper} reads {read:g} ohm"
    if not (read := case.bench.measure(own)) > 500:
        yield f"the supply's terminals: channel {own} reads {read:g} ohm"
    case.bench.source(case.channel(Role.SUPPLY), volts=6.0, amps=0.15)
    yield from case.refuses("ohms under power", partial(case.bench.measure, own))


READINGS: Final = (
    Rule(
        name="unreadable",
        sentence="an output and a channel that is not there give no reading",
        roles=(),
        look=_not_measured,
    ),
    Rule(
        name="units",
        sentence="readings have the unit of their role",
        roles=(Role.SUPPLY, Role.SENSE, Role.CONTACT, Role.LIGHT, Role.CURRENT),
        look=_units,
        board=True,
    ),
    Rule(
        name="ohms without power",
        sentence="ohms are read without power, and refused under power",
        roles=(Role.SUPPLY, Role.OHMS),
        look=_ohms,
        board=True,
    ),
)
