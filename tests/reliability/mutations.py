"""What can become of bytes on a bad line, or under the hands of somebody who means harm; seeded.

A sample is one real conversation: what is asked, and what comes. `spoilt` changes it once, twice or three times, so
that most of it is still what a parser knows: bytes from nowhere are refused at their first byte and prove little.
"""

import random
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Sample:
    """Bytes as they came, and what they came in answer to."""

    ask: str
    data: bytes


NUMBERS: Final = (
    b"NAN", b"nan", b"-NaN(ind)", b"INF", b"-inf", b"Infinity", b"9.91E37", b"9.9E37", b"-9.9E37", b"1E400", b"-1e999",
    b"1e-400", b"9" * 40, b"0" * 40, b"-0", b"-1", b"+1", b"1_0", b"0x10", b"#HFF", b"1e", b"1.", b".", b"", b" 1",
    b"2147483648", b"4294967297", b"99999999999", b"1,1", b"\xb2", b"\xd9\xa3", b"1\x00",
)  # fmt: skip
"""What may stand where a number stood."""
MARKS: Final = (b";", b",", b'"', b"\n", b"\r", b"\r\n", b"#", b"(@", b")", b":", b"*", b"?", b"\a", b"\0", b" ", b"\t",
                b"\xff", b"\x80", b"#0", b"#10", b"#19", b"#9999999999", b"#14\n;\n\n")  # fmt: skip
_NUMBER: Final = re.compile(rb"[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?")

Way = Callable[[bytes, bytes, random.Random], bytes]


def _place(data: bytes, chance: random.Random) -> int:
    return int(chance.random() * (len(data) + 1))


def _flip(data: bytes, _: bytes, chance: random.Random) -> bytes:
    if not data:
        return data
    at = int(chance.random() * len(data))
    return data[:at] + bytes([data[at] ^ 1 << int(chance.random() * 8)]) + data[at + 1 :]


def _insert(data: bytes, _: bytes, chance: random.Random) -> bytes:
    at = _place(data, chance)
    return data[:at] + bytes([int(chance.random() * 256)]) + data[at:]


def _mark(data: bytes, _: bytes, chance: random.Random) -> bytes:
    at = _place(data, chance)
    return data[:at] + MARKS[int(chance.random() * len(MARKS))] + data[at:]


def _delete(data: bytes, _: bytes, chance: random.Random) -> bytes:
    at = _place(data, chance)
    return data[:at] + data[at + 1 + int(chance.random() ** 4 * len(data)) :]


def _repeat(data: bytes, _: bytes, chance: random.Random) -> bytes:
    low, high = sorted((_place(data, chance), _place(data, chance)))
    return data[:high] + data[low:]


def _cut(data: bytes, _: bytes, chance: random.Random) -> bytes:
    return data[: _place(data, chance)]


def _behead(data: bytes, _: bytes, chance: random.Random) -> bytes:
    return data[_place(data, chance) :]


def _splice(data: bytes, other: bytes, chance: random.Random) -> bytes:
    return data[: _place(data, chance)] + other[_place(other, chance) :]


def _before(data: bytes, other: bytes, _: random.Random) -> bytes:
    return other + data


def _after(data: bytes, other: bytes, _: random.Random) -> bytes:
    return data + other


def _swap(data: bytes, _: bytes, chance: random.Random) -> bytes:
    if len(data) < 2:
        return data
    at = int(chance.random() * (len(data) - 1))
    return data[:at] + data[at + 1 : at + 2] + data[at : at + 1] + data[at + 2 :]


def _number(data: bytes, _: bytes, chance: random.Random) -> bytes:
    found = list(_NUMBER.finditer(data))
    if not found:
        return data
    match = found[int(chance.random() * len(found))]
    return data[: match.start()] + NUMBERS[int(chance.random() * len(NUMBERS))] + data[match.end() :]


def _digit(data: bytes, _: bytes, chance: random.Random) -> bytes:
    """Another number: another tag, length, channel or value."""
    found = list(_NUMBER.finditer(data))
    if not found:
        return data
    match = found[int(chance.random() * len(found))]
    at = match.start() + int(chance.random() * (match.end() - match.start()))
    return data[:at] + b"%d" % int(chance.random() * 10) + data[at + 1 :]


def _noise(_: bytes, __: bytes, chance: random.Random) -> bytes:
    return chance.randbytes(int(chance.random() * 40))


WAYS: Final[tuple[Way, ...]] = (
    _flip, _flip, _insert, _mark, _delete, _repeat, _cut, _behead, _splice, _before, _after, _swap, _number, _number,
    _digit, _digit, _noise,
)  # fmt: skip


def spoilt(corpus: Sequence[Sample], chance: random.Random) -> Sample:
    """Return one sample of the corpus after one to three changes."""
    sample = corpus[int(chance.random() * len(corpus))]
    data = sample.data
    for _ in range(1 + int(chance.random() ** 2 * 3)):
        other = corpus[int(chance.random() * len(corpus))].data
        data = WAYS[int(chance.random() * len(WAYS))](data, other, chance)
    return Sample(sample.ask, data)
