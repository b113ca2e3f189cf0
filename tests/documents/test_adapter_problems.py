"""Every mistake in what a fixture says of Modbus modules and relay boards is found, at its place."""

import math
from pathlib import Path

import pytest

from benchtest.errors import DocumentError
from benchtest.fixture import load_fixture
from benchtest.fixture.frames import FramesAdapter
from benchtest.fixture.modbus import ModbusAdapter, Register
from benchtest.instruments import Role
from tests.documents.conftest import Spoil

MISTAKES = [
    ("101: {kind: coil, address: 0}", "101: {kind: «spool, address: 0}", "kind 'spool' is unknown (nearest supply;"),
    ("101: {kind: coil, address: 0}", "«101: {kind: coil}", "'address' is missing"),
    ("101: {kind: coil, address: 0}", "101: {kind: coil, address: «70000}", "70000 is more than 65535"),
    ("101: {kind: coil, address: 0}", "101: {kind: coil, address: 0, «scale: 1 V}", "unknown key 'scale'"),
    ("101: {kind: coil, address: 0}", "101: {kind: coil, address: 0, unit: «0}", "0 is less than 1"),
    ("scale: 1 mV,", "scale: «1,", "expected volts, amps, ohms or per cent such as '1 mV', got 1"),
    ("scale: 1 mV,", "scale: «1 ms,", "expected volts, amps, ohms or per cent such as '1 mV', got '1 ms'"),
    ("made: 1", "made: «2", "2 is more than 1"),
    ("made: 1}", "made: 1, lit: 1}", "give one of made, lit, high: the value of the bit that means it"),
    ("address: 4, scale: 1 mV", "address: 4, scale: «0 mV", "a scale of nothing reads nothing"),
    ("dead_man: 2 s", "dead_man: «30 ms", "0.3 counts of the watchdog register (from 1 to 65535)"),
    ("dead_man: 2 s", "dead_man: «2 h", "72000 counts of the watchdog register (from 1 to 65535)"),
    ("    driver: frames\n", "    driver: frames\n    identity: «A,Box\n", "driver frames asks nobody who it is"),
    (
        "{driver: can}",
        "{driver: can, identity: «A}",
        "driver can asks nobody who it is, so this is compared with nothing",
    ),
    ("scale: 100 ms", "scale: «0 ms", "scale of 0 is not above zero"),
    ("volts: 10 mV", "volts: «0 mV", "volts of 0 is not above zero"),
    ("rate: 25 S/s", "rate: 25 S/s\n    slowest: «0 ms", "slowest of 0 is not above zero"),
    ("103: {number: 2, place: 7}", "101: «{number: 2, place: 7}", "channel 101 is that of adapter io already"),
    ("    dead_man: none\n", "    dead_man: none\n    stamp: «0 s\n", "stamp of 0 is not above zero"),
    ("    dead_man: none\n", "    dead_man: none\n    pause: «-5 ms\n", "pause of -0.005 is below zero"),
    ("offset: 5 mV", "offset: «5 mA", "an offset in A of a reading in V"),
    ("set_amps: 1", "set_amps: «0", "'set_volts' and 'set_amps' are the same register"),
    ("dead_man: 2 s", "dead_man: «2", "expected a duration such as '15 ms', got 2 without a unit (or none)"),
    ("dead_man: 2 s", "dead_man: «none", "there is a watchdog register (give its time, such as 2 s)"),
    ("stamp: 100 ms", "stamp: «10 ms", "looked at 25 times a second, it cannot be known to 10 ms"),
    ("kind: holding register, address: 100", "kind: «coil, address: 100", "'coil' is not possible here"),
    ("    dead_man: none\n", "    dead_man: «1 s\n", "a relay board that takes frames has no dead-man (write none)"),
    ('switch_on: "A0 {channel} 01 {sum8}"', 'switch_on: «"A0 {chan} 01 {sum8}"', "'{chan}' is no byte and no field"),
    ('switch_on: "A0 {channel} 01 {sum8}"', 'switch_on: «"A0 01 {sum8}"', "without {channel}"),
    (
        'switch_off: "A0 {channel} 00 {sum8}"',
        'switch_off: «"A0 {channel} 01 {sum8}"',
        "is the same frame as 'switch_on'",
    ),
    ('reply: "A0 {bits:1} {xor8}"}', 'reply: "A0 {xor8}"}', "the reply needs one field {bits:N} or {bytes:N}"),
    ("number: 2, place: 7", "number: 2, place: 8", "channel 103 has no place in a reply of 8"),
    ("number: 1}", "number: «256}", "256 is more than 255"),
]
DRIVES = "drive: {X2.1-X2.2: 101, X2.3-X1.2: 102, X2.4-X1.2: 103}"


@pytest.mark.parametrize(("old", "new", "said"), MISTAKES, ids=[row[1].strip()[:50] for row in MISTAKES])
def test_one_mistake_is_one_problem_at_its_place(spoil: Spoil, old: str, new: str, said: str) -> None:
    """A single mistake gives a single problem, at its line and column where the marker stands."""
    spoiled = spoil("poor.yaml", (old, new))

    with pytest.raises(DocumentError) as refused:
        load_fixture(spoiled.path)

    assert 1 == len(refused.value.problems)
    assert said in str(refused.value)
    if spoiled.places:
        assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)


def test_a_good_one_is_read_as_it_is_meant(folder: Path) -> None:
    """Quantities in SI, roles by kind and unit, places in a status reply, and no dead-man is an infinite one."""
    adapters = load_fixture(folder / "poor.yaml").fixture.adapters
    modules, box = adapters["io"], adapters["box"]
    assert isinstance(modules, ModbusAdapter)
    assert isinstance(box, FramesAdapter)
    register = modules.channels[301]
    assert isinstance(register, Register)

    assert {101: Role.DRIVE, 201: Role.SUPPLY, 401: Role.CONTACT, 601: Role.RESISTANCE} == {
        number: next(iter(modules.roles(number))) for number in (101, 201, 401, 601)
    }
    assert {Role.SENSE, Role.CONTACT} == modules.roles(301)
    assert frozenset() == modules.roles(999)
    assert 1.005 == pytest.approx(register.reading(1000))
    assert [True, False] == [modules.two_valued(401), modules.two_valued(301)]
    assert [0, 7] == [entry.at for entry in box.channels.values()]
    assert (math.inf, False) == (box.dead_man, box.unread)


SHARED = [
    ("poor.yaml", "103: {number: 2, place: 7}", "103: {number: 1, place: 7}", "channel 103 is relay 1 of adapter box"),
    (
        "poor.yaml",
        "number: 2, place: 7",
        "number: 2, place: 0",
        "channel 103 is place 0 of the status reply of adapter",
    ),
    (
        "poor.yaml",
        "101: {kind: coil, address: 0}",
        "101: {kind: coil, address: 8}",
        "channel 101 is coil 8 of unit 1 of",
    ),
    (
        "poor.yaml",
        "kind: resistance, address: 2",
        "kind: resistance, address: 1",
        "channel 601 is holding register 1 of",
    ),
    (
        "poor.yaml",
        "401: {",
        "402: {kind: discrete input, address: 1, made: 1}\n      401: {",
        "discrete input 1 of unit 1",
    ),
    (
        "instruments.yaml",
        "102: {closes: 21}",
        "102: {closes: 21}, 101: {closes: 21}",
        "is switch channel 21 of adapter",
    ),
]


@pytest.mark.parametrize(("name", "old", "new", "said"), SHARED, ids=[row[3] for row in SHARED])
def test_two_channels_of_a_cable_set_are_not_one_thing_of_a_device(
    spoil: Spoil, name: str, old: str, new: str, said: str
) -> None:
    """Two terminals on one relay, register or reading, under two channel numbers, are a mistake of the fixture."""
    spoil("tank.harness.yaml", ("drive: {X2.1-X2.2: 101, X2.3-X1.2: 102}", DRIVES))
    spoiled = spoil(name, (old, new))

    with pytest.raises(DocumentError) as refused:
        load_fixture(spoiled.path)

    assert 1 == len(refused.value.problems)
    assert said in str(refused.value)
