"""Every mistake in a fixture or a harness is found, at its place."""

import subprocess
from pathlib import Path

import pytest

from benchtest.errors import DocumentError
from benchtest.fixture import load_fixture
from tests.documents.conftest import Spoil

TWO_GUARDS = """[tank.harness.yaml]
guards:
  a: {channel: 190, safe: low, threshold: 5 V}
  b: {channel: «190, safe: low, threshold: 5 V}
"""
IN_FIXTURE = [
    ("voltage: 30 V", "voltage: «60 V", "a bench limit of 60 V is above 30 V d.c. (extra-low voltage only)"),
    ("current: 3 A", "current: «0 A", "a limit of 0 A lets nothing through"),
    ("voltage: 12 V", "voltage: «48 V", "contact test voltage 48 V is above the bench limit (at most 30 V)"),
    ("voltage: 12 V", "voltage: «0 V", "voltage of 0 is not above zero (give a size, with its unit)"),
    ("port: /dev/null", "port: /dev/null, rate: «0 S/s", "rate of 0 is not above zero"),
    ("port: /dev/null", "port: /dev/null, throughput: «0 MB/s", "throughput of 0 is not above zero"),
    ("port: /dev/null", "port: /dev/null, baud: «0 bit/s", "baud of 0 is not above zero"),
    ("port: /dev/null", "port: /dev/null, dead_man: «-1 s", "dead_man of -1 is not above zero"),
    (
        "port: /dev/null",
        "port: /dev/null, dead_man: «20 s",
        "a dead-man time of 20 s is not possible (from 0.1 s to 10",
    ),
    ("series: 120 ohm", "series: «0 ohm", "nothing limits the contact test current"),
    ("light: {dark: 20 %, lit: 50 %}", "light: «{dark: 60 %, lit: 50 %}", "dark 0.6 is not below lit 0.5"),
    ('"2026-03-02"', '«"2 March 2026"', "'2 March 2026' is not a date"),
    ('"2026-03-02"', '«"2026-02-30"', "'2026-02-30' is not a date"),
    ('"2026-03-02"', "«20260302", "expected text, got 20260302"),
    ('due: "2027-03-02"', 'due: «"2026-03-02"', "due on 2026-03-02, which is not after the calibration"),
    ("sense: {instrument: daq", "sense: {instrument: «dag", "there is no instrument 'dag' (nearest daq;"),
    ("driver: scpi", "driver: «sCPI2", "driver 'sCPI2' is unknown (nearest scpi; known: can,"),
    ("{driver: scpi, port: /dev/null}", "{driver: scpi, settings: «{a: 1}}", "driver scpi takes no settings"),
    ("{driver: scpi, port: /dev/null}", "{driver: scpi, contacts: «ohms}", "driver scpi reads contacts behind the"),
    ("plus: 3 mV", "plus: «3 mA", "expected a voltage such as '24 V', got '3 mA': 'mA' is not a unit of voltage"),
    (
        "sense: {instrument: daq, of_reading: 0.05 %, plus: 3 mV}",
        "sense: «{instrument: daq}",
        "'sense' channels would be read without any doubt (give of_reading, plus or resolution",
    ),
    ("plus: 3 mV", "plus: «-3 mV", "plus of -0.003 is below zero"),
    ("place: in the tests}", "place: in the tests, ambient_within: «-1 K}", "ambient_within of -1 is below zero"),
    ("port: /dev/null", "port: /dev/null, latency: «-1 ms", "latency of -0.001 is below zero"),
    ("series: 120 ohm", "series: 120 ohm, leads: «-1 mohm", "leads of -0.001 is below zero"),
    ("plus: 3 mV", "plus: 3 mV, shared: «120 %", "120% of the accuracy cannot be shared (from 0 % to 100 %)"),
    ("plus: 3 mV", "plus: 3 mV, per_kelvin: «20 ppm", "nothing says at which temperature daq was calibrated"),
    ("plus: 3 mV", "plus: 3 mV, thermal_emf: «5 uA", "'uA' is not a unit of voltage"),
    ("plus: 3 mV", "plus: 3 mV, «leads: 1 ohm", "unknown key 'leads'"),
    ("in the tests}", "in the tests, ambient_within: «2 degC}", "'degC' is not a unit of temperature difference"),
    (
        "[tank.harness.yaml]",
        "[tank.harness.yaml]\nguards: {lid: {channel: 190, safe: «shut, threshold: 5 V}}",
        "'shut'",
    ),
    ("[tank.harness.yaml]", "[tank.harness.yaml]\nguards: {«lid: {channel: 190, safe: low}}", "'threshold' is missing"),
    (
        "[tank.harness.yaml]",
        "[tank.harness.yaml]\nguards: {lid: {channel: 190, safe: low, threshold: «0 V}}",
        "a threshold of 0 V tells nothing apart",
    ),
    (
        "[tank.harness.yaml]",
        TWO_GUARDS,
        "channel 190 is that of 'a' already",
    ),
    ("[tank.harness.yaml]", "[«../boards/tank.harness.yaml]", "'../boards/tank.harness.yaml' is not a file name"),
    ("[tank.harness.yaml]", "[«tonk.yaml]", "there is no harness file 'tonk.yaml' (beside the fixture: tank.harness"),
    ("[tank.harness.yaml]", "[tank.harness.yaml, «tank.harness.yaml]", "'tank.harness.yaml' is for board FT-0100"),
]
IN_HARNESS = [
    ("X2.3-X1.2: 102", "X2.3-X1.2: «101", "channel 101 is taken on line 6"),
    ("TP.1-X1.2: 302", "TP.1-X1.2: «201", "channel 201 is taken on line 5"),
    ("X2.3-X1.2: 102", "«X2.1-X1.2: 102", "terminal X2.1 is wired as drive on line 6 already"),
    ("X3.3-X3.5: 403", "«X3.3-X3.4: 403", "key 'X3.3-X3.4' twice, on lines 9 and 9"),
    ("X3.3-X3.5: 403", "«X3.8-X3.4: 403", "terminal X3.4 is wired as contact on line 9 already"),
    ("{X1.1-X1.2: 701}", "{X1.1-X1.2: 701, «X1.2-X1.1: 702}", "X1.2-X1.1 is wired as ohms on line 11 already"),
    ("adapter: io", "adapter: «oi", "the fixture has no adapter 'oi' (nearest io; known: io, can)"),
    ("adapter: io", "adapter: «can", "adapter 'can' has driver can (here the driver is one of: "),
    ("link: can", "link: «io", "adapter 'io' has driver scpi (here the driver is one of: can, "),
    ("D1: 501", "D1: «5010", "5010 is more than 999"),
    ("X2.5-X2.6: 601", "«X2.5: 601", "'X2.5' is not a pair of terminals"),
    ("format: benchtest-harness/1", "format: «benchtest-harness/2", "format 'benchtest-harness/2' is not understood"),
]


@pytest.mark.parametrize(("old", "new", "said"), IN_FIXTURE, ids=[row[1][:50] for row in IN_FIXTURE])
def test_one_mistake_in_a_fixture_is_one_problem_at_its_place(spoil: Spoil, old: str, new: str, said: str) -> None:
    """A single mistake in a fixture gives a single problem at its line and column."""
    spoiled = spoil("bench.yaml", (old, new))

    with pytest.raises(DocumentError) as refused:
        load_fixture(spoiled.path)

    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)
    assert said in str(refused.value)


@pytest.mark.parametrize(("old", "new", "said"), IN_HARNESS, ids=[row[1][:50] for row in IN_HARNESS])
def test_one_mistake_in_a_harness_is_reported_in_the_harness(
    spoil: Spoil, folder: Path, old: str, new: str, said: str
) -> None:
    """A mistake in a harness is reported with the harness's file name, line and column."""
    spoiled = spoil("tank.harness.yaml", (old, new))

    with pytest.raises(DocumentError) as refused:
        load_fixture(folder / "bench.yaml")

    assert spoiled.places == tuple((problem.line, problem.column) for problem in refused.value.problems)
    assert {spoiled.path} == {problem.file for problem in refused.value.problems}
    assert said in str(refused.value)


def test_a_harness_leaves_the_channels_of_guards_alone(spoil: Spoil) -> None:
    """A lamp on the channel of the emergency stop is reported in the harness."""
    guard = "guards: {emergency stop: {channel: 190, safe: high, threshold: 12 V}}"
    harness = spoil("tank.harness.yaml", ("D1: 501", "D1: «190"))
    fixture = spoil("bench.yaml", ("[tank.harness.yaml]", f"[tank.harness.yaml]\n{guard}"))

    with pytest.raises(DocumentError) as refused:
        load_fixture(fixture.path)

    (problem,) = refused.value.problems
    assert (harness.path, harness.places[0]) == (problem.file, (problem.line, problem.column))
    assert "channel 190 is that of the guard 'emergency stop'" in problem.message


def test_mistakes_in_two_files_come_in_one_report(spoil: Spoil) -> None:
    """A fixture without accuracy and contact test, too high a limit, and a harness with a mistake: all four at once."""
    harness = spoil("tank.harness.yaml", ("adapter: io", "adapter: «oi"))
    fixture = spoil(
        "bench.yaml",
        ("voltage: 30 V", "voltage: «60 V"),
        ("  light: {instrument: daq, of_reading: 2 %, plus: 2 %}\n", ""),
        ("accuracy:", "«accuracy:"),
        ("contact_test: {voltage: 12 V, series: 120 ohm}", "contact_test: «12 V"),
    )

    with pytest.raises(DocumentError) as refused:
        load_fixture(fixture.path)

    found = [(problem.file, (problem.line, problem.column)) for problem in refused.value.problems]
    assert [(fixture.path, place) for place in fixture.places] + [(harness.path, harness.places[0])] == found


def test_the_digest_is_that_of_sha256sum(folder: Path) -> None:
    """The digest of a fixture and its harnesses can be had from coreutils: sha256sum of the sums."""
    files = ["bench.yaml", "tank.harness.yaml"]
    sums = subprocess.run(["sha256sum", *files], cwd=folder, capture_output=True, check=True).stdout
    whole = subprocess.run(["sha256sum"], input=sums, capture_output=True, check=True).stdout.split()[0].decode()

    loaded = load_fixture(folder / "bench.yaml")

    assert whole == loaded.digest
    assert ["FT-0100"] == list(loaded.harnesses)
    assert f"{folder / 'bench.yaml'}:11" == loaded.place("accuracy", "sense", "plus")
