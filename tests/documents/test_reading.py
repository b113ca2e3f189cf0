"""What is taken as a document at all, and what its scalars mean.

Outside checks: PyYAML's own safe loader for documents in which YAML 1.1 and 1.2 agree; sha256sum for the digest.
"""

import hashlib
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Literal

import pytest
import yaml
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict

from benchtest.documents import load
from benchtest.documents.source import LARGEST
from benchtest.documents.tree import grow
from benchtest.errors import DocumentError, Problem
from benchtest.fixture import LoadedFixture, load_fixture
from benchtest.profile import LoadedProfile, load_profile
from tests.documents.conftest import BOARDS, spoil_text


class Note(BaseModel):
    """The smallest document there can be."""

    model_config = ConfigDict(extra="forbid")

    format: Literal["benchtest-note/1"]
    words: dict[str, str | int | float | bool | list[str] | None] = {}


def problems_of(path: Path, content: bytes) -> tuple[Problem, ...]:
    """Return what is wrong with a document of these bytes."""
    path.write_bytes(content)
    with pytest.raises(DocumentError) as refused:
        load(path, Note)
    return refused.value.problems


REFUSED = [
    ("words:\n  a: one\n  «a: two\n", "key 'a' twice, on lines 3 and 4"),
    ("words:\n  a: «&x one\n", "anchor '&x'"),
    ("words:\n  b: «*x\n", "alias '*x'"),
    ("words:\n  b: «!!python/name:os.system x\n", "tag 'tag:yaml.org,2002:python/name:os.system'"),
    ("words: «!x {}\n", "tag '!x'"),
    ("words:\n«\ta: one\n", "a tab, whose width nobody knows (use spaces)"),
    ("words: {}«\t# end\n", "a tab"),
    ("words:\n  «on: one\n", "key 'on', which other readers take for true or false (quote it)"),
    ("words:\n  «No: one\n", "key 'No'"),
    ("words:\n  «y: one\n", "key 'y'"),
    ("words: {«OFF: one}\n", "key 'OFF'"),
    ("words:\n  «true: one\n", "key 'true' is neither text nor a whole number"),
    ("words:\n  «~: one\n", "key '~' is neither text nor a whole number"),
    ("words:\n  «1.5: one\n", "key '1.5' is neither text nor a whole number"),
    ("words:\n  ? «[a]\n  : one\n", "a key that is not a word"),
    ("words: {}\n---\n«b: 1\n", "a second document in one file"),
    ("words: {a: [b}«\n", "is not readable YAML"),
    ("words:\n  a: b«: c\n", "is not readable YAML: mapping values are not allowed"),
    ("words:\n  a: «@x\n", "is not readable YAML"),
    ("words: a«\x07b\n", "control character U+0007 (delete it)"),
    ("words: a«\u2028b\n", "control character U+2028"),
    ("«wrods: {}\n", "unknown key 'wrods' (nearest words; known: format, words)"),
]


@pytest.mark.parametrize(("body", "said"), REFUSED, ids=[repr(row[0])[:40] for row in REFUSED])
def test_what_is_refused_is_refused_at_its_place(tmp_path: Path, body: str, said: str) -> None:
    """Each thing that documents do without is refused with line, column and something to try."""
    text, places = spoil_text(f"format: benchtest-note/1\n{body}", ())

    found = problems_of(tmp_path / "note.yaml", text.encode())

    assert said in str(found[0])
    if "a: [b}" in body or "---" in body:
        assert places[0][0] - found[0].line in {0, 1}  # the reader's own idea of where that begins
    else:
        assert places == tuple((problem.line, problem.column) for problem in found)


WHOLE_FILE = [
    (b"", "note.yaml: is empty (begin with a 'format:' line)"),
    (b" \n\n", "note.yaml: is empty"),
    (b"# only a comment\n", "note.yaml:1:1: expected a mapping at the top"),
    (b"- a\n- b\n", "note.yaml:1:1: expected a mapping at the top (begin with 'format: benchtest-note/1')"),
    (b"words: {}\n", "note.yaml:1:1: 'format' is missing"),
    (b"words: {}\nformat: benchtest-note/1\n", "note.yaml:2:1: format: 'format' is not the first key"),
    (b"format: benchtest-note/2\n", "note.yaml:1:9: format: format 'benchtest-note/2' is not understood here (nearest"),
    (b"format: 7\nx: y\n", "note.yaml:1:9: format: format 7 is not understood here"),
    (b"format: [a]\n", "note.yaml:1:9: format: format ['a'] is not understood here"),
    (b"format: benchtest-note/1\na: \xff\n", "note.yaml:2:4: byte 0xff is not UTF-8 text (save the file as UTF-8)"),
    (bytes(range(128, 256)) * 4, "note.yaml:1:1: byte 0x80 is not UTF-8 text"),
    (b"\x7fELF\x02\x01\x01\x00", "note.yaml:1:1: control character U+007F"),
    (b"a: 1\n" * 420_000, "note.yaml: is larger than 1024 KiB (is this the right file?)"),
    (b"format: benchtest-note/1\nwords: " + b"[" * 500, "note.yaml:2:39: more than 32 levels deep"),
    (b"format: benchtest-note/1\nwords: " + b"[" * 5000, "note.yaml:2:"),
    (b"format: benchtest-note/1\nwords: " + b"{a: " * 500, "more than 32 levels deep"),
    (b"format: benchtest-note/1\n" + b"? " * 5000, "more than 32 levels deep"),
]


@pytest.mark.parametrize(("content", "said"), WHOLE_FILE, ids=[repr(row[0][:24]) for row in WHOLE_FILE])
def test_a_file_that_is_no_document_says_so(tmp_path: Path, content: bytes, said: str) -> None:
    """Empty, foreign, binary, huge and bottomless files are refused in one sentence."""
    assert said in str(problems_of(tmp_path / "note.yaml", content)[0])


def test_a_directory_and_a_missing_file_are_refused(tmp_path: Path) -> None:
    """A folder instead of a file, a name that is not there and a device are refused as such."""
    for path, said in (
        (tmp_path, "is a directory, not a file"),
        (tmp_path / "nothing.yaml", "there is no such file"),
        (Path("/dev/null"), "is not a plain file"),
        (Path("nul\0byte"), "there is no such file"),
    ):
        with pytest.raises(DocumentError, match=said):
            load(path, Note)


SCALARS = [
    ("true", True), ("false", False), ("null", None), ("~", None), ("", None),
    ("12", 12), ("-7", -7), ("0", 0), ("1.5", 1.5), ("-.5", -0.5), ("1e3", 1000.0), ("2.", 2.0),
    ("on", "on"), ("off", "off"), ("yes", "yes"), ("No", "No"), ("y", "y"), ("True", "True"), ("NULL", "NULL"),
    ("0123", "0123"), ("0o17", "0o17"), ("0x1F", "0x1F"), ("12:30", "12:30"), ("1_000", "1_000"),
    (".inf", ".inf"), (".nan", ".nan"), ("1e999", "1e999"), ("2026-03-02", "2026-03-02"), ("9" * 40, "9" * 40),
    ("24 V", "24 V"), ("e5", "e5"), (".", "."), ("<<", "<<"), ("=", "="), ("'12'", "12"), ('"true"', "true"),
]  # fmt: skip


@pytest.mark.parametrize(("written", "meant"), SCALARS, ids=[row[0] or "nothing" for row in SCALARS])
def test_scalars_mean_what_they_look_like(written: str, meant: object) -> None:
    """Only true and false are truth values, only decimal numbers are numbers; the rest is text."""
    tree = grow(f"a: {written}\n")

    assert meant == tree.value["a"]
    assert type(meant) is type(tree.value["a"])


plain = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**9), 10**9) | st.text("abc é:#-'\"{}[],&*!|>%@`", max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text("abcdef", min_size=2, max_size=3), inner, max_size=3)
    ),
    max_leaves=12,
)


@given(plain.filter(lambda value: isinstance(value, dict)))
def test_values_are_those_of_a_common_reader(value: object) -> None:
    """What PyYAML writes, in words that YAML 1.1 and 1.2 read alike, is read as it was."""
    text = yaml.safe_dump(value, allow_unicode=True)

    tree = grow(text)

    assert [] == tree.refused
    assert value == tree.value
    assert yaml.safe_load(text) == tree.value


@pytest.mark.parametrize("name", ["tank.yaml", "bench.yaml", "tank.harness.yaml"])
def test_the_slow_reader_gives_the_same_tree(name: str) -> None:
    """Where PyYAML was built without its C reader, values and places are the same."""
    text = (BOARDS / name).read_text(encoding="utf-8")

    fast, slow = grow(text), grow(text, loader=yaml.SafeLoader)

    assert fast.value == slow.value
    assert fast.values == slow.values
    assert fast.keys == slow.keys


def test_a_byte_order_mark_and_windows_line_ends_are_welcome(tmp_path: Path) -> None:
    """A file written on Windows reads the same, and places count the same."""
    path = tmp_path / "note.yaml"
    path.write_bytes(b"\xef\xbb\xbfformat: benchtest-note/1\r\nwords:\r\n  a: one\r\n")

    loaded = load(path, Note)

    assert {"a": "one"} == loaded.value.words
    assert f"{path}:3" == loaded.place("words", "a")
    assert f"{path}:2" == loaded.place("words", "not there")
    assert hashlib.sha256(path.read_bytes()).hexdigest() == loaded.digest


def test_a_problem_inside_what_is_refused_is_reported_too(tmp_path: Path) -> None:
    """Below a doubled key, a refused key and in a second document, mistakes are still found."""
    body = "words:\n  a: x\n  «a: {b: «*c}\n  «on: [«&d e]\n  ? «{«yes: 1}\n  : «*f\n"
    text, places = spoil_text(f"format: benchtest-note/1\n{body}", ())

    found = problems_of(tmp_path / "note.yaml", text.encode())

    assert places == tuple((problem.line, problem.column) for problem in found)


def test_the_largest_file_is_read(tmp_path: Path) -> None:
    """A file of exactly the permitted size is read; one byte more is refused."""
    path = tmp_path / "note.yaml"
    start = b"format: benchtest-note/1\n"
    path.write_bytes(start + b"#" * (LARGEST - len(start)))

    assert {} == load(path, Note).value.words
    assert "larger than" in str(problems_of(path, path.read_bytes() + b"#")[0])


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=st.binary(max_size=300) | st.text(max_size=200).map(str.encode))
@example(content=b"format: benchtest-profile/1\n")
@example(content=b"format: benchtest-profile/1\nsteps: {1: 2}\nrelays: [1]\nboard: 3\nlink: []\n")
@example(content=b"format: benchtest-fixture/1\naccuracy: 1\nharnesses: ['', '.', '..', '/', \"a\\0b\"]\n")
@example(content=b"format: benchtest-fixture/1\nlight: {dark: 1 %}\nlimits: [x]\nadapters: {1: 2}\n")
def test_no_bytes_escape_as_anything_but_a_document_error(tmp_path: Path, content: bytes) -> None:
    """Whatever the file holds, reading it as a profile or a fixture ends in a DocumentError."""
    path = tmp_path / "any.yaml"
    path.write_bytes(content)
    for reader in (load_profile, load_fixture):
        with pytest.raises(DocumentError):
            reader(path)


READERS: list[tuple[str, Callable[[Path], LoadedProfile | LoadedFixture]]] = [
    ("tank.yaml", load_profile),
    ("bench.yaml", load_fixture),
]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_good_document_torn_anywhere_is_read_or_refused(folder: Path, data: st.DataObject) -> None:
    """A piece cut out of a good document and another put in its place never ends in anything but an answer."""
    name, reader = data.draw(st.sampled_from(READERS))
    good = (BOARDS / name).read_bytes()
    start = data.draw(st.integers(0, len(good)))
    end = data.draw(st.integers(start, min(len(good), start + 60)))
    filling = data.draw(
        st.sampled_from([b"", b"0", b"~", b"{}", b"[]", b"- ", b": ", b"\n", b"x", b"main", b"K1", b"*a"])
    )
    path = folder / name
    path.write_bytes(good[:start] + filling + good[end:])
    with suppress(DocumentError):
        assert path == reader(path).path


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_signal_database_torn_anywhere_is_read_or_refused(folder: Path, data: st.DataObject) -> None:
    """A spoiled DBC file is a problem of the profile that names it, never an accident."""
    good = (BOARDS / "tank.dbc").read_bytes()
    start = data.draw(st.integers(0, len(good)))
    end = data.draw(st.integers(start, min(len(good), start + 30)))
    filling = data.draw(st.binary(max_size=4) | st.sampled_from([b"0", b"99999", b"-1", b'"', b"SG_ ", b"BO_ 1 "]))
    (folder / "tank.dbc").write_bytes(good[:start] + filling + good[end:])
    with suppress(DocumentError):
        assert load_profile(folder / "tank.yaml").database
