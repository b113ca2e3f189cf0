"""One cell of a table: number, stamp, clock, date, state, a word for "no reading", or plain text.

A number has one decimal mark and no thousands; what else looks like one is not read. Words for "no reading" are those
that meters and loggers print (common practice, no source); 9.9E37 and 9.91E37 are infinity and not-a-number of
SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5. An opened contact counts as above, as it does in every recording of the bench.
"""

import re
from collections.abc import Callable
from datetime import datetime
from functools import lru_cache
from typing import Final

import numpy as np

NUMBER: Final = {
    ".": re.compile(r"\s*[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\s*"),
    ",": re.compile(r"\s*[+-]?(?:[0-9]+(?:,[0-9]+)?|,[0-9]+)(?:[eE][+-]?[0-9]+)?\s*"),
}
GROUPED: Final = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+")
"""A decimal comma or thousands: nobody can tell from the cell alone."""
NO_READING: Final = (
    "OL", "O.L", "O.L.", "0L", "OVLD", "OVER", "OVERLOAD", "OVERFLOW", "OVRFLW", "OFL", "1.#INF", "1.#IND", "1.#QNAN",
    "1.#INF00", "1.#IND00", "1.#QNAN0", "INF", "INFINITY", "NAN", "NA", "N/A", "NULL", "NONE", "-", "--", "---",
    "----", "-----", "?", "*", "",
)  # fmt: skip
STATES: Final = {
    "high": True, "open": True, "on": True, "lit": True, "true": True, "rising": True, "rise": True,
    "low": False, "closed": False, "off": False, "dark": False, "false": False, "falling": False, "fall": False,
}  # fmt: skip
SCPI_INFINITY: Final = 9.9e37
_WORDS: Final = frozenset(NO_READING)
_STAMP = re.compile(
    r"\s*([0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}:[0-9]{2})(?:[.,]([0-9]+))?\s*(Z|[+-][0-9]{2}:?[0-9]{2})?\s*"
)
_DATE = re.compile(r"\s*[0-9]{4}-[0-9]{2}-[0-9]{2}\s*")
_CLOCK = re.compile(r"\s*(?:([0-9]+):)?([0-9]{1,2}):([0-5]?[0-9])(?:[.,]([0-9]+))?\s*")
_TEXT = re.compile(r"\s*[^\W\d_][^;\t]*")


def is_no_reading(cell: str) -> bool:
    """Return whether a cell is empty or says that there is no reading."""
    word = cell.strip().upper().replace("1,#", "1.#")
    return word in _WORDS or word.lstrip("+-") in _WORDS


def kind_of(cell: str, decimal: str) -> str:
    """Return what a cell holds: number, none, stamp, date, clock, state, text or junk."""
    if NUMBER[decimal].fullmatch(cell):
        return "number"
    if is_no_reading(cell):
        return "none"
    for kind, pattern in (("stamp", _STAMP), ("date", _DATE), ("clock", _CLOCK)):
        if pattern.fullmatch(cell):
            return kind
    if cell.strip().lower() in STATES:
        return "state"
    return "text" if _TEXT.fullmatch(cell) else "junk"


def read_number(cell: str, decimal: str) -> float:
    """Return the number of a cell; raise ValueError when it is none."""
    if not NUMBER[decimal].fullmatch(cell):
        raise ValueError("not a number")
    return float(cell.replace(",", "."))


def read_state(cell: str, decimal: str) -> float:
    """Return 1.0 for above (high, open, lit) and 0.0 for below; raise ValueError for other words."""
    state = STATES.get(cell.strip().lower())
    return read_number(cell, decimal) if state is None else float(state)


def read_clock(cell: str, _decimal: str) -> float:
    """Return the seconds of `00:00:01.250` or `01:02.5`; raise ValueError for others."""
    match = _CLOCK.fullmatch(cell)
    if match is None:
        raise ValueError("not a time such as 00:00:01.250")
    whole = int(match[1] or 0) * 3600 + int(match[2]) * 60 + int(match[3])
    return float(f"{whole}.{match[4] or 0}")


@lru_cache(maxsize=64)
def _whole_seconds(text: str, zone: str) -> float:
    moment = datetime.fromisoformat(text + (zone or "+00:00"))
    return moment.timestamp()


def read_date(cell: str, _decimal: str) -> float:
    """Return the seconds of the beginning of a day; raise ValueError for others."""
    if not _DATE.fullmatch(cell):
        raise ValueError("not a date such as 2026-03-01")
    return _whole_seconds(f"{cell.strip()}T00:00:00", "")


class Stamps:
    """Reads stamps of ISO 8601 as seconds after the whole second of the first; keeps all their digits."""

    def __init__(self) -> None:
        self.begin = ""
        """Text of the whole second that counts as 0."""
        self._first = 0.0
        self._zone: bool | None = None

    def __call__(self, cell: str, _decimal: str) -> float:
        """Return the seconds of one stamp; raise ValueError for others, and for zones now given and now not."""
        match = _STAMP.fullmatch(cell)
        if match is None:
            raise ValueError("not a date and time such as 2026-03-01T12:00:00.250")
        zone = match[3] or ""
        if self._zone is None:
            self._zone, self.begin = bool(zone), match[1] + zone
            self._first = _whole_seconds(match[1], zone)
        if bool(zone) is not self._zone:
            raise ValueError("a stamp with a time zone among stamps without one")
        return float(f"{_whole_seconds(match[1], zone) - self._first:.0f}") + float(f"0.{match[2] or 0}")


def reader_of(kind: str) -> Callable[[str, str], float]:
    """Return what reads the cells of a column of this kind."""
    if kind == "stamp":
        return Stamps()
    return {"clock": read_clock, "state": read_state, "date": read_date}.get(kind, read_number)


def decimals(cell: str) -> tuple[int, int, bool]:
    """Return the digits after the mark, the significant digits, and whether there is an exponent."""
    mantissa, exponent, _ = cell.strip().upper().lstrip("+-").replace(",", ".").partition("E")
    whole, _, fraction = mantissa.rpartition(".") if "." in mantissa else (mantissa, "", "")
    return len(fraction), len((whole + fraction).lstrip("0")) or 1, bool(exponent)


def printed_step(cells: list[str]) -> float:
    """Return the rounding step of a column of printed numbers, judged from rows of its beginning and its end.

    With exponents, or with as many significant digits at the end as at the beginning but fewer decimals, the largest
    number decides; else the decimals do.
    """
    facts = [decimals(cell) for cell in cells]
    places, digits = max(fact[0] for fact in facts), max(fact[1] for fact in facts)
    largest = max((abs(read_number(cell, "." if "." in cell else ",")) for cell in cells), default=0.0)
    by_digits = 10.0 ** (np.floor(np.log10(largest)) - digits + 1) if 0 < largest < np.inf else 0.0
    if any(fact[2] for fact in facts):
        return float(by_digits)
    end = facts[len(facts) // 2 :]
    floating = digits >= 4 and max(fact[0] for fact in end) < places and max(fact[1] for fact in end) == digits
    return float(by_digits) if floating else float(10.0**-places)
