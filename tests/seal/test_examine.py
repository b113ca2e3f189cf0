"""Whatever is done to a sealed paper shows, and is told apart: altered, of a stranger, not sealed, withheld."""

import json
import re
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from benchtest.seal import Sealed, State, Stations, examine_json, examine_text, open_station
from benchtest.seal.statement import Statement
from benchtest.seal.strict import LARGEST, spelled
from benchtest.seal.text import from_text, to_text
from tests.seal.conftest import PAPER, sealed_by, small_certificate, trusting

FLIPS = (0x01, 0x20, 0x80)
"""A neighbour, the other case, no ASCII any more."""


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of one station for all of these tests."""
    folder = tmp_path_factory.mktemp("kept")
    open_station(folder)
    return folder


@pytest.fixture(scope="module")
def stations(kept: Path) -> Stations:
    return trusting(kept)


@pytest.fixture(scope="module")
def paper(kept: Path) -> Sealed:
    return sealed_by(open_station(kept))


def test_what_was_sealed_is_genuine(paper: Sealed, stations: Stations) -> None:
    """The paper comes back part by part, with what its station said of it."""
    found = examine_json(paper.content, stations)

    assert State.GENUINE == found.state
    assert paper.statement == found.statement
    assert PAPER == {name: found.paper[name] for name in PAPER}


def test_the_same_paper_has_the_same_bytes(kept: Path, paper: Sealed) -> None:
    """Sealing anew changes nothing: neither signature nor salt comes from chance or a clock."""
    assert paper.content == sealed_by(open_station(kept)).content


def test_the_file_is_canonical_by_the_library_too(paper: Sealed) -> None:
    """The bytes are those that rfc8785 gives for what any JSON reader reads in them."""
    assert rfc8785.dumps(json.loads(paper.content)) == paper.content


TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
NAMES = st.text(st.characters(max_codepoint=126, min_codepoint=32), max_size=6)
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(NAMES, inner, max_size=4),
)


@given(VALUES)
def test_both_spellings_are_one(value: Any) -> None:
    """What checks a seal spells every value that a paper can hold as the library for RFC 8785 does."""
    assert rfc8785.dumps(value) == spelled(value)


def unnoticed(content: bytes, stations: Stations, places: Iterable[int], flips: tuple[int, ...]) -> list[Any]:
    """Return every place and flip after which a paper does not count as altered."""
    found = []
    for place in places:
        for flip in flips:
            changed = bytearray(content)
            changed[place] ^= flip
            if examine_json(bytes(changed), stations).state is not State.ALTERED:
                found.append((place, flip))
    return found


def test_every_byte_of_a_paper_counts(paper: Sealed, stations: Stations) -> None:
    """Each byte changed in three ways: altered each time."""
    assert [] == unnoticed(paper.content, stations, range(len(paper.content)), FLIPS)


@pytest.mark.parametrize("flip", FLIPS)
def test_the_bytes_of_a_certificate_count(kept: Path, stations: Stations, flip: int) -> None:
    """Every 17th byte of a whole certificate, from another one on for each flip; `every_byte` goes through them all."""
    content = small_certificate(open_station(kept)).content

    assert State.GENUINE == examine_json(content, stations).state
    assert [] == unnoticed(content, stations, range(flip % 17, len(content), 17), (flip,))


def test_every_character_of_a_code_counts(paper: Sealed, stations: Stations) -> None:
    """Each character of the QR text replaced by ten others, which take turns: altered each time."""
    letters = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
    assert State.GENUINE == examine_text(paper.text, stations).state
    for place, right in enumerate(paper.text):
        turned = letters[place % 45 :] + letters[: place % 45]
        for letter in turned[::4].replace(right, ""):
            changed = paper.text[:place] + letter + paper.text[place + 1 :]
            assert State.ALTERED == examine_text(changed, stations).state, (place, letter)


@given(TEXT, TEXT)
def test_a_code_says_what_went_in(number: str, serial: str) -> None:
    """Any text survives the 45 characters of the alphanumeric mode."""
    statement = Statement(
        number=number, outcome="pass", serial=serial, issued="2026-01-01", digest="cd" * 32, key="ef" * 32
    )
    line = to_text(statement, "ab" * 64)

    assert (statement, "ab" * 64) == from_text(line)
    assert re.fullmatch(r"[0-9A-Z$%*+\-./:]*", line)


def changed(paper: Sealed, change: Callable[[dict[str, Any]], object]) -> bytes:
    """Return a paper with something in it changed, canonical again as a careful forger would leave it."""
    fields = json.loads(paper.content)
    change(fields)
    return rfc8785.dumps(fields)


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (lambda p: p.update(passed=False), "passed"),
        (lambda p: p["job"][0].update(value="Nursery at the Dock"), "job[1]"),
        (lambda p: p["sections"][1]["rows"].append("all lit"), "sections[2]"),
        (lambda p: p["sections"].pop(), "sections[2] (missing)"),
        (lambda p: p["sections"].append({}), "sections[3] (added)"),
        (lambda p: p["sections"].reverse(), "sections[1]"),
        (lambda p: p.pop("title"), "title (missing)"),
        (lambda p: p.update(extra="x"), "extra (added)"),
        (lambda p: p["bench"].update(summary="not fit"), "bench.summary"),
        (lambda p: p["overrides"].append("x"), "overrides (missing)"),
        (lambda p: p["station"].update(name="Bench 9"), "station.name"),
        (lambda p: p["seal"]["statement"].update(outcome="fail"), "seal.signature"),
        (lambda p: p["seal"]["statement"].pop("serial"), "seal.statement"),
        (lambda p: p["seal"].update(signature="00" * 64), "seal.signature"),
        (lambda p: p["seal"].update(signature=p["seal"]["signature"].upper()), "seal.signature"),
        (lambda p: p["seal"]["parts"].update(title="ab" * 32), "seal.parts"),
        (lambda p: p["seal"]["salts"].update(title="ab" * 16), "title"),
        (lambda p: p["seal"]["salts"].update(more="ab" * 16), "seal.salts.more (added)"),
        (lambda p: p["seal"]["salts"].pop("title"), "title"),
        (lambda p: p["seal"].update(parts=[]), "seal.parts"),
        (lambda p: p.update(seal=None), "seal.statement"),
        (lambda p: p.update({"Title": "x"}), "seal.'Title'"),
    ],
)
def test_it_says_where(
    paper: Sealed, stations: Stations, change: Callable[[dict[str, Any]], object], place: str
) -> None:
    """The part that was changed is named, whether a value, an element, a key or the seal itself."""
    found = examine_json(changed(paper, change), stations)

    assert State.ALTERED == found.state
    assert any(one.startswith(place) for one in found.places), found.places


def test_a_reformatted_paper_is_not_the_original(paper: Sealed, stations: Stations) -> None:
    """The same contents in other bytes are told of as such, with the first byte that differs."""
    for content in (
        json.dumps(json.loads(paper.content), indent=1).encode(),
        paper.content + b"\n",
        paper.content.replace(b"Lock", b"Loc\\u006b"),
    ):
        found = examine_json(content, stations)
        assert State.ALTERED == found.state
        assert "its contents are as sealed, but not its bytes" in found.why
        assert re.fullmatch(r"byte \d+", found.places[0])


def test_a_paper_cut_short_anywhere_is_altered(paper: Sealed, stations: Stations) -> None:
    """Every length from one byte to one too few."""
    states = {examine_json(paper.content[:length], stations).state for length in range(1, len(paper.content))}

    assert {State.ALTERED} == states


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b'{"a":1,"a":2,"seal":1}', "key 'a' stands there twice"),
        (b'{"seal":{"a":1,"a":1}}', "key 'a' stands there twice"),
        (b'{"a":NaN,"seal":1}', "the number NaN"),
        (b'{"a":-Infinity,"seal":1}', "the number -Infinity"),
        (b'{"a":1.5,"seal":1}', "the number 1.5"),
        (b'{"a":1e400,"seal":1}', "the number 1e400"),
        (b'{"a":' + b"9" * 5000 + b"}", "is beyond 53 bits"),
        (b'{"a":"\xff"}', "byte 7 (0xff) is not UTF-8"),
        ('{"a":"ä"}'.encode("latin-1"), "is not UTF-8"),
        ('{"seal":"x"}'.encode("utf-16"), "is not UTF-8"),
        ('{"seal":"x"}'.encode("utf-8-sig"), "unexpected UTF-8 BOM"),
        ('{"seal":"x","ä":1}'.encode(), "is not ASCII"),
        (b'{"a":' * 100_000, "nested too deeply"),
        (b"[" * 100_000, "nested too deeply"),
        (b"[]", "is not a JSON object"),
        (b'"{"', "is not a JSON object"),
        (b"{} {}", "byte 4 of 5"),
        (b'{"a"', "after byte 4, the last"),
        (b'{"a":"\x00"}', "byte 7 of 9"),
        (b" " * (LARGEST + 1), "more than 32 MiB"),
    ],
)
def test_what_cannot_be_read_in_one_way_only_is_refused(content: bytes, said: str, stations: Stations) -> None:
    """Doubled keys, numbers that are none, other encodings, depth and size: a sentence with the place."""
    found = examine_json(content, stations)

    assert State.ALTERED == found.state
    assert said in found.why


def test_half_a_surrogate_pair_is_no_text(paper: Sealed, stations: Stations) -> None:
    """An escape that stands for no character is a change like any other."""
    found = examine_json(paper.content.replace(b"Lock", b"\\ud800"), stations)

    assert (State.ALTERED, ("job[1]",)) == (found.state, found.places)


def test_another_stations_paper_is_genuine_but_of_a_stranger(tmp_path: Path, stations: Stations) -> None:
    """Its seal holds, and no list here knows it."""
    found = examine_json(sealed_by(open_station(tmp_path)).content, stations)

    assert State.UNKNOWN == found.state
    assert "no list here knows the key" in found.why


def test_a_stranger_cannot_take_a_known_name(paper: Sealed, tmp_path: Path, stations: Stations) -> None:
    """With the trusted key written into a stranger's paper, or its signature beside it, the seal does not hold."""
    stranger, known = _fields(sealed_by(open_station(tmp_path))), _fields(paper)
    for take in ("signature", "statement", "parts"):
        mixed = {**stranger, "seal": {**stranger["seal"], take: known["seal"][take]}}
        assert State.ALTERED == examine_json(rfc8785.dumps(mixed), stations).state
    swapped = {**stranger, "station": known["station"]}
    assert State.ALTERED == examine_json(rfc8785.dumps(swapped), stations).state


def test_a_signature_of_another_paper_of_the_station_does_not_fit(kept: Path, stations: Stations) -> None:
    """Signature, or the whole seal, of one paper under another: altered."""
    one, other = (_fields(sealed_by(open_station(kept), number)) for number in ("20260314-A", "20260314-B"))
    swapped = {**one, "seal": {**one["seal"], "signature": other["seal"]["signature"]}}
    whole = {**one, "title": "Other", "seal": other["seal"]}

    assert State.ALTERED == examine_json(rfc8785.dumps(swapped), stations).state
    assert State.ALTERED == examine_json(rfc8785.dumps(whole), stations).state


def _fields(paper: Sealed) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(paper.content)
    return found


def test_what_was_never_sealed_is_not_called_altered(paper: Sealed, stations: Stations) -> None:
    """A paper without a seal is told of as such, and one that has lost its seal as altered."""
    plain: dict[str, Any] = dict(PAPER)
    lost = changed(paper, lambda p: p.pop("seal"))

    assert State.UNSEALED == examine_json(rfc8785.dumps(plain), stations).state
    assert State.ALTERED == examine_json(lost, stations).state


def withhold(place: int) -> Callable[[dict[str, Any]], object]:
    """Take one line of the job out of a copy, with its salt, so that nobody can guess it back."""

    def change(fields: dict[str, Any]) -> None:
        fields["job"][place - 1] = None
        del fields["seal"]["salts"][f"job[{place}]"]

    return change


def test_a_customer_can_be_withheld_from_a_copy(paper: Sealed, stations: Stations) -> None:
    """Without the line and its salt the rest is still genuine, and what is missing is named."""
    copy = changed(paper, withhold(1))
    found = examine_json(copy, stations)

    assert State.GENUINE == found.state
    assert ("job[1]",) == found.withheld
    assert b"Nursery" not in copy


def test_nothing_else_can_be_withheld(paper: Sealed, stations: Stations) -> None:
    """A result, or a line of the job whose salt is still there, cannot be left out."""
    sections = changed(paper, lambda p: (p["sections"].__setitem__(0, None), p["seal"]["salts"].pop("sections[1]")))
    salted = changed(paper, lambda p: p["job"].__setitem__(0, None))

    assert ("sections[1]",) == examine_json(sections, stations).places
    assert ("job[1]",) == examine_json(salted, stations).places
