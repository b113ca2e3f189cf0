"""Every mistake in what a fixture says of an instrument, and in a dialect, is found at its place."""

import hashlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.errors import DocumentError
from benchtest.fixture import load_fixture
from benchtest.fixture.dialect import shipped
from benchtest.fixture.instrument import InstrumentAdapter
from benchtest.fixture.phrases import Phrase
from benchtest.instruments import Role
from tests.documents.conftest import Spoil

IN_FIXTURE = [
    ("{supply: 1}", "«{}", "a channel has one use, not 0 (give one of supply, volts_of, amps_of, closes, reads)"),
    ("{supply: 1}", "«{supply: 1, closes: 2}", "a channel has one use, not 2"),
    ("{closes: 21}", "«{closes: 21, route: [11]}", "'route' is for a channel that 'reads'"),
    ("reads: ohms 4-wire", "reads: «farads", "'farads' is not possible here"),
    ("route: [11]", "route: [«-1]", "-1 is less than 0"),
    ("{closes: 21}", "{closes: «first}", "expected a whole number, got 'first'"),
    ("route: [11]", "route: «[21]", "a channel in this route is a drive too"),
    ("{amps_of: 1}", "«{amps_of: 2}", "output 2 is no supply of this adapter"),
    ("{supply: 1}", "{supply: 1}, 202: {supply: 2}", "dialect scpi-99 knows one output, here are 2"),
    ("{reads: ohms 4-wire, route", "«{reads: ohms, route", "dialect odd.dialect.yaml has no words for ohms"),
    ("{closes: 21}", "«{supply: 1}", "dialect odd.dialect.yaml has no words for supplies"),
    ("stamp: 300 ms", "stamp: «200 ms", "looked at 4 times a second, it cannot be known to 200 ms"),
    ("dialect: odd.dialect.yaml", "dialect: «scpi-98", "there is no dialect 'scpi-98' (nearest scpi-99;"),
    ("dialect: odd.dialect.yaml", "dialect: «../odd.dialect.yaml", "there is no dialect '../odd.dialect.yaml'"),
    ("send: CR LF", "send: «NL", "'NL' is not possible here"),
    ('    identity: "Somebody,Meter"\n', "", "'identity' is missing"),
]
IN_DIALECT = [
    ("terminations: {send: LF, receive: LF}\n", "", "'terminations' is missing"),
    ('errors: "ERR?"', 'errors: «"ERR"', "'ERR' does not ask (a query has a '?')"),
    ('clear: "*CLS"', 'clear: «"*CLS?"', "'*CLS?' asks (an order has no '?'"),
    ('close: "CLOSE {channel}"', 'close: «"CLOSE"', "'CLOSE' has no place {channel}"),
    ('clear: "*CLS"', 'clear: «"*CLS {volts}"', "{volts} has no meaning in '*CLS {volts}'"),
    (
        'close: "CLOSE {channel}"',
        'close: «"CLOSE {channel.x}"',
        "{channel.x} is no place (there are {channel}, {volts}",
    ),
    ('close: "CLOSE {channel}"', 'close: «"CLOSE {channel!r}"', "{channel!r} is no place"),
    ('close: "CLOSE {channel}"', 'close: «"CLOSE {channel} {"', "a single brace"),
    ('clear: "*CLS"', 'clear: «"*CLS\\nOUTP ON"', "is not one line of printable ASCII text"),
    ("slowest: 3 s", "slowest: «3 min", "a slowest answer after 180 s"),
    ("digits: 3", "digits: «30", "30 is more than 12"),
    ("format: benchtest-dialect/1", "format: «benchtest-dialect/2", "is not understood here"),
    ("name: odd meter", "«nam: odd meter", "unknown key 'nam'"),
]


def refused(path: Path, fixture: Path) -> DocumentError:
    with pytest.raises(DocumentError) as error:
        load_fixture(fixture)
    assert {path} == {problem.file for problem in error.value.problems}
    return error.value


@pytest.mark.parametrize(("old", "new", "said"), IN_FIXTURE, ids=[row[1].strip()[:50] for row in IN_FIXTURE])
def test_one_mistake_about_an_instrument_is_one_problem(spoil: Spoil, old: str, new: str, said: str) -> None:
    """A single mistake gives a single problem, at its line and column where the marker stands."""
    spoiled = spoil("instruments.yaml", (old, new))
    error = refused(spoiled.path, spoiled.path)

    assert 1 == len(error.problems)
    assert said in str(error)
    if spoiled.places:
        assert spoiled.places == tuple((problem.line, problem.column) for problem in error.problems)


@pytest.mark.parametrize(("old", "new", "said"), IN_DIALECT, ids=[row[1].strip()[:50] for row in IN_DIALECT])
def test_one_mistake_in_a_dialect_is_told_in_the_dialect(
    spoil: Spoil, folder: Path, old: str, new: str, said: str
) -> None:
    """A mistake in a dialect is reported with the dialect's own file name, line and column."""
    spoiled = spoil("odd.dialect.yaml", (old, new))
    error = refused(spoiled.path, folder / "instruments.yaml")

    assert said in str(error)
    if spoiled.places:
        assert spoiled.places[0] in {(problem.line, problem.column) for problem in error.problems}


def test_a_good_one_is_read_as_it_is_meant(folder: Path) -> None:
    """Roles follow from what a channel reads or does; the dialect beside the fixture is read with it."""
    loaded = load_fixture(folder / "instruments.yaml")
    psu, dmm = loaded.fixture.adapters["psu"], loaded.fixture.adapters["dmm"]
    assert isinstance(psu, InstrumentAdapter)
    assert isinstance(dmm, InstrumentAdapter)

    assert [[Role.SUPPLY], [Role.CURRENT], []] == [list(psu.roles(number)) for number in (201, 801, 701)]
    assert [[Role.OHMS], [Role.DRIVE]] == [list(dmm.roles(number)) for number in (701, 102)]
    assert ("plain SCPI-99, one output", "odd meter") == (psu.words.name, dmm.words.name)


def test_the_digest_covers_the_dialect_beside_the_fixture(folder: Path) -> None:
    """The fixture's digest is over fixture, harness and dialect, in this order, as `sha256sum` gives it."""
    names = ("instruments.yaml", "tank.harness.yaml", "odd.dialect.yaml")
    lines = [f"{hashlib.sha256((folder / name).read_bytes()).hexdigest()}  {name}\n" for name in names]

    assert hashlib.sha256("".join(lines).encode()).hexdigest() == load_fixture(folder / "instruments.yaml").digest


@pytest.mark.parametrize("name", shipped())
def test_every_shipped_dialect_is_sound(spoil: Spoil, name: str) -> None:
    """Each dialect that comes with the program loads without a problem."""
    spoiled = spoil(
        "instruments.yaml", ('    identity: "Somebody,Bench supply"\n', f'    identity: "S"\n    dialect: {name}\n')
    )
    psu = load_fixture(spoiled.path).fixture.adapters["psu"]

    assert isinstance(psu, InstrumentAdapter)
    assert psu.words.supply is not None


@given(st.text(alphabet=st.sampled_from("AB?*: {}._!()0channelvolts"), max_size=30))
def test_phrases_are_read_and_written_alike_or_refused(text: str) -> None:
    """Whatever reads as a phrase is written as it was, and filling it leaves no brace; all else is refused."""
    try:
        phrase = Phrase.parse(text)
    except ValueError:
        return
    filled = phrase.fill(channel="101", volts="1.5", amps="2")

    assert text == str(phrase)
    assert not set("{}") & set(filled)
