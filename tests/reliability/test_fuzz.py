"""Some thousand spoilt samples for each parser of a wire: a sample of the million (tests/reliability/fuzz.py)."""

import logging
from collections.abc import Iterator, Sequence

import pytest

from tests.reliability.fuzz import PARSERS, Tally, fuzz, take
from tests.reliability.mutations import Sample
from tests.reliability.orders import Permitted
from tests.reliability.parsers import Misread

COUNT = 1500


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """Libraries say a lot about garbage."""
    logging.disable()
    yield
    logging.disable(logging.NOTSET)


@pytest.mark.parametrize("name", PARSERS)
def test_nothing_escapes_and_nothing_is_misread(name: str) -> None:
    """Our own errors or a well-formed reply; no value that is not there, nothing switched that nobody ordered."""
    tally = fuzz(name, COUNT)

    assert [] == tally.misses
    assert COUNT == tally.refused + tally.accepted
    assert 0 < tally.accepted < COUNT


@pytest.mark.parametrize("name", PARSERS)
def test_what_is_not_spoilt_is_not_misread(name: str) -> None:
    """The samples themselves are real: none escapes, and most are accepted."""
    parser, tally = PARSERS[name](), Tally(name)
    for sample in parser.corpus:
        take(parser, sample, tally)

    assert [] == tally.misses
    assert tally.accepted >= tally.taken / 2


FOUND = [
    ("scpi", "begin/2", b'4713;9.9E37;0,"No error"\n'),
    ("scpi", "record/3", b'4714;RUN,9.91E37;0,"No error"\n'),
    ("scpi", "record/5", b"4716;100.0,20,0,2,401,0.0005,0.0,801,0.0002,0.0;0;#280" + b"ab" * 40 + b';0,"No error"\n'),
    ("instrument", "state by mask/3", b"9" * 40 + b"\n"),
    ("instrument", "state by mask/3", b"+9.91E+37 \n"),
    ("instrument", "state by mask/3", b"1.5 \n"),
    ("instrument", "state/1", b"+9.91E37\n"),
    ("tcp", "coils/0", bytes.fromhex("00 01 00 00 00 06 11 01 83 cd 6b 4a 05")),
    ("tcp", "coils/0", bytes.fromhex("00 01 00 00 00 06 11 01 00 03 cd 6b 05")),
    ("tcp", "switch on/0", bytes.fromhex("00 01 00 00 00 06 11 05 00 ac ff 01 00 00 00 06 11 05 00 ac ff 00")),
    ("tcp", "write/0", bytes.fromhex("00 01 00 00 00 0e 11 06 00 01 00 03 00 01 00 00 00 11 01 03 cd 6b 05")),
    ("can", "", b"t10120\r"),
    ("can", "", b"T000001012AABB\r"),
    ("can", "", b"t3213090000\r"),
    ("tcp-side", "", bytes.fromhex("00 07 00 00 00 06 01 05 00 00 05 00")),
    ("tcp-side", "", bytes.fromhex("00 07 00 00 00 06 01 05 00 00 05 00 00 ff 00")),
    ("tcp-side", "", bytes.fromhex("00 07 00 00 00 0b 01 10 00 23 31 39 02 04 09 60 05")),
    ("line-side", "armed", b"OUTP:VAL 1,(@101);:OUTP:VAL INF,(@602-\n"),
    ("line-side", "armed", b"OUTP:VAL 1,(@101);:OUTP:VAL 1,@602)\n"),
]


@pytest.mark.parametrize(("name", "ask", "data"), FOUND)
def test_what_was_once_misread_or_escaped_is_refused(name: str, ask: str, data: bytes) -> None:
    """Each of these was taken for something, or raised an error that is not ours."""
    tally = Tally(name)
    take(PARSERS[name](), Sample(ask, data), tally)

    assert ([], 1) == (tally.misses, tally.refused)


class Careless:
    """A parser as none must be."""

    name = "careless"
    corpus: Sequence[Sample] = (Sample("", b""),)

    def take(self, sample: Sample) -> bool:
        if sample.data == b"late":
            raise Misread("another's answer")
        return bool(1 / len(sample.data))


def test_a_careless_parser_is_found_out() -> None:
    """An error of another kind has escaped, an answer to something else is misread, and both are told."""
    tally = Tally("careless")
    for data in (b"", b"late", b"good"):
        take(Careless(), Sample("", data), tally)

    assert (1, 1, 1) == (tally.escaped, tally.misread, tally.accepted)
    assert ["escaped: ZeroDivisionError", "misread: another's answer"] == [miss[:26] for miss in tally.misses]


@pytest.mark.parametrize(
    ("line", "outputs"),
    [
        (b"OUTP:VAL 1,(@101,103:104)", {(101, 1.0), (103, 1.0), (104, 1.0)}),
        (b"OUTP:VAL 1,(@101);:NOTHING", set()),
        (b"OUTP:VAL 1,(@101);:OUTP:VAL 1", set()),
        (b"OUTP:VAL 1,(@101);OUTP:VAL 1,(@102)", set()),
        (b"OUTPU:VAL 1,(@101)", set()),
        (b"OUTP:VAL 9.91E37,(@101)", set()),
        (b"OUTP:VAL 1,(@101)\xff", set()),
    ],
)
def test_the_page_says_what_a_line_may_switch(line: bytes, outputs: set[tuple[int, float]]) -> None:
    """A line with anything in it that is not understood may switch nothing; a locked adapter switches nothing."""
    armed, locked = Permitted(armed=True), Permitted(armed=False)
    armed.hear(line)
    locked.hear(line)

    assert (outputs, set()) == (armed.outputs, locked.outputs)
