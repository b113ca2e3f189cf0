"""All readings of a run as one value, and the checklist that gives them their meaning.

A board has hundreds of readings, a depot a million runs: a row for each reading would be some hundred million rows, of
which nobody ever asks for one alone. Layout of the value, format 1, before it is deflated (RFC 1951, in a zlib wrapper,
RFC 1950): number of readings n as 4 bytes, then n values, n expanded uncertainties and n coverage factors as IEEE 754
double precision, NaN where there is none, then n letters of verdicts, then words and notes by position as JSON.
Everything little-endian. The doubles are stored byte plane by byte plane, which deflates better.
"""

import json
import math
import struct
import sys
import zlib
from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from benchtest.results import Verdict

LETTERS: Final = {
    Verdict.PASS: b"p",
    Verdict.CONDITIONAL_PASS: b"c",
    Verdict.CONDITIONAL_FAIL: b"d",
    Verdict.FAIL: b"f",
    Verdict.NOT_TESTED: b"n",
}
VERDICTS: Final = {letter[0]: verdict for verdict, letter in LETTERS.items()}
DOUBLE: Final = 8
"""Bytes."""
LEVEL: Final = 1
"""Of deflating: the higher ones take ten times as long for a twentieth less."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One line of a checklist: what was looked at."""

    check: str
    step: str
    title: str
    unit: str
    low: float | None
    high: float | None
    word: str
    """The expected word; empty where a number was expected."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Reading:
    """What came of one line; a value is a number, a word, or None."""

    value: float | str | None
    uncertainty: float | None
    coverage: float | None
    verdict: Verdict
    note: str


def pack_readings(readings: Sequence[Reading]) -> bytes:
    """Return the readings of a run, in the order of its checklist, as one value."""
    numbers = array("d")
    numbers.extend(_number(one.value) for one in readings)
    numbers.extend(_number(one.uncertainty) for one in readings)
    numbers.extend(_number(one.coverage) for one in readings)
    verdicts = b"".join(LETTERS[one.verdict] for one in readings)
    words = {str(at): one.value for at, one in enumerate(readings) if isinstance(one.value, str)}
    notes = {str(at): one.note for at, one in enumerate(readings) if one.note}
    nans = [at for at, one in enumerate(readings) if isinstance(one.value, float) and math.isnan(one.value)]
    spoken = json.dumps({"words": words, "notes": notes, "nans": nans}, ensure_ascii=False).encode()
    return zlib.compress(struct.pack("<I", len(readings)) + _planes(numbers) + verdicts + spoken, LEVEL)


def unpack_readings(content: bytes) -> tuple[Reading, ...]:
    """Return what `pack_readings` was given. Raises ValueError when it is not that."""
    try:
        plain = zlib.decompress(content)
        (count,) = struct.unpack_from("<I", plain)
        end = 4 + 3 * count * DOUBLE
        numbers, verdicts = _doubles(plain[4:end]), plain[end : end + count]
        spoken = json.loads(plain[end + count :])
        stated = [None if math.isnan(number) else number for number in numbers]
        values: list[float | str | None] = [*stated[:count]]
        for at, word in {**dict.fromkeys(spoken["nans"], math.nan), **spoken["words"]}.items():
            values[int(at)] = word
        notes = {int(at): note for at, note in spoken["notes"].items()}
        columns = values, stated[count : 2 * count], stated[2 * count :], verdicts
        return tuple(
            Reading(value=value, uncertainty=u, coverage=k, verdict=VERDICTS[letter], note=notes.get(at, ""))
            for at, (value, u, k, letter) in enumerate(zip(*columns, strict=True))
        )
    except (zlib.error, struct.error, KeyError, IndexError, TypeError) as cause:
        raise ValueError(f"these are not packed readings: {cause}") from cause


def _number(value: float | str | None) -> float:
    return math.nan if value is None or isinstance(value, str) else float(value)


def _planes(numbers: "array[float]") -> bytes:
    plain = _little_endian(numbers).tobytes()
    return b"".join(plain[place::DOUBLE] for place in range(DOUBLE))


def _doubles(planes: bytes) -> "array[float]":
    count = len(planes) // DOUBLE
    plain = bytearray(len(planes))
    for place in range(DOUBLE):
        plain[place::DOUBLE] = planes[place * count : (place + 1) * count]
    numbers = array("d")
    numbers.frombytes(bytes(plain))
    return _little_endian(numbers)


def _little_endian(numbers: "array[float]") -> "array[float]":
    if sys.byteorder == "big":
        numbers.byteswap()
    return numbers


def spell_checklist(lines: Sequence[Line]) -> bytes:
    """Return a checklist as JSON: same lines, same bytes, so that its digest can be asked for."""
    rows = [[one.check, one.step, one.title, one.unit, one.low, one.high, one.word] for one in lines]
    return json.dumps(rows, separators=(",", ":")).encode("ascii")


def pack_checklist(lines: Sequence[Line]) -> bytes:
    """Return a checklist as one value."""
    return zlib.compress(spell_checklist(lines), LEVEL)


def unpack_checklist(content: bytes) -> tuple[Line, ...]:
    """Return what `pack_checklist` was given. Raises ValueError when it is not that."""
    try:
        found = json.loads(zlib.decompress(content))
        return tuple(
            Line(check=check, step=step, title=title, unit=unit, low=low, high=high, word=word)
            for check, step, title, unit, low, high, word in found
        )
    except (zlib.error, TypeError) as cause:
        raise ValueError(f"this is not a packed checklist: {cause}") from cause
