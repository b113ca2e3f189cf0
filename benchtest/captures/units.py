"""Unit words as instruments write them, turned to SI: `mV`, `Volts`, `[ms]`, `(Second)`.

A unit that is not known here is kept as it is written and scales nothing. Prefixes are those of `quantities`.
"""

import re
from dataclasses import dataclass
from typing import Final

from benchtest import quantities

_WORDS: Final = {
    "volt": "V", "volts": "V", "millivolt": "mV", "millivolts": "mV", "vdc": "V", "vac": "V", "vrms": "V",
    "ampere": "A", "amperes": "A", "amp": "A", "amps": "A", "adc": "A", "aac": "A", "arms": "A",
    "ohms": "Ω", "hertz": "Hz", "celsius": "°C", "percent": "%",
    "second": "s", "seconds": "s", "sec": "s", "secs": "s", "millisecond": "ms", "milliseconds": "ms", "msec": "ms",
    "microsecond": "us", "microseconds": "us", "usec": "us", "nanosecond": "ns", "nanoseconds": "ns", "nsec": "ns",
    "minute": "min", "minutes": "min", "hour": "h", "hours": "h",
}  # fmt: skip
_TIMES: Final = {"S": "s", "mS": "ms", "uS": "us", "µS": "us", "nS": "ns"}
"""Siemens anywhere else; beside a column of time they are seconds (common practice, no source)."""
_DIMENSIONS: Final = (
    quantities.VOLTAGE, quantities.CURRENT, quantities.RESISTANCE, quantities.DURATION, quantities.FREQUENCY,
    quantities.TEMPERATURE, quantities.RATIO,
)  # fmt: skip
TIME_NAMES: Final = frozenset(
    {
        "t",
        "x",
        "xaxis",
        "zeit",
        "second",
        "seconds",
        "elapsed",
        "moment",
        "stamp",
        "relativetime",
        "datetime",
        "dateandtime",
        "date",
    }
)
"""Headings of a column of time, without signs and spaces; beside them all that begin with `time`."""
_NAMES: Final = frozenset({"A", "S", "h", "min"})
"""Unit words that may as well be part of a name: channel A, minimum."""
_NAMED = re.compile(r"\s*(.*?)\s*(?:\(([^()]*)\)|\[([^\[\]]*)\])\s*")


@dataclass(frozen=True, kw_only=True, slots=True)
class Unit:
    """An SI unit and how many of it the written one is."""

    symbol: str
    factor: float = 1.0


NO_UNIT: Final = Unit(symbol="")
SECOND: Final = Unit(symbol="s")


def read_unit(text: str, *, time: bool = False) -> Unit | None:
    """Return the SI unit of a unit word with or without brackets; None when it is none that is known."""
    word = text.strip().strip("()[]").strip()
    word = _TIMES.get(word, word) if time else word
    word = _WORDS.get(word.lower(), word)
    for dimension in _DIMENSIONS:
        try:
            return Unit(symbol=dimension.unit, factor=quantities.parse(f"1 {word}", dimension))
        except ValueError:
            continue
    return None


def written_unit(text: str) -> Unit:
    """Return the SI unit of a unit word; a word that is not known stands for itself."""
    return read_unit(text) or Unit(symbol=text.strip().strip("()[]").strip())


def split_name(text: str) -> tuple[str, str]:
    """Return name and unit word of a heading such as `CH1 (mV)`, `Time [s]`, `t/s` or `time_ms`; empty without one."""
    match = _NAMED.fullmatch(text)
    if match is not None and match[1]:
        return match[1], (match[2] or match[3] or "").strip()
    for between in "/ _":
        name, found, unit = text.strip().rpartition(between)
        if found and (between == "/" or unit not in _NAMES) and read_unit(unit, time=True) is not None:
            return name.strip(), unit.strip()
    return text.strip(), ""


def is_time_name(title: str) -> bool:
    """Return whether a heading names the time."""
    name = re.sub(r"[^a-z]", "", split_name(title)[0].lower())
    return name in TIME_NAMES or name.startswith("time")


def read_seconds(text: str, unit: str = "") -> float | None:
    """Return the seconds of `1 ms`, or of `1` with a unit word beside it; bare numbers are seconds. None for others."""
    return _read(text, unit, quantities.DURATION, "s")


def read_rate(text: str, unit: str = "") -> float | None:
    """Return the samples per second of `10 kHz`, `1MSa/s` or `250 kS/s`; bare numbers are that already."""
    samples = re.compile(r"(?:Sa|S|Samples|pts)/s(?:ec)?", re.IGNORECASE)
    return _read(samples.sub("Hz", text), samples.sub("Hz", unit), quantities.FREQUENCY, "Hz")


def _read(text: str, unit: str, dimension: quantities.Dimension, bare: str) -> float | None:
    match = re.fullmatch(r"\s*([+-]?[0-9.]+(?:[eE][+-]?[0-9]+)?)\s*(\S*)\s*", text)
    if match is None:
        return None
    word = match[2] or unit.strip().strip("()[]") or bare
    word = _TIMES.get(word, _WORDS.get(word.lower(), word))
    try:
        return quantities.parse(f"{match[1]} {word}", dimension)
    except ValueError:
        return None
