"""What a person types for what was asked: text in, value out. Pure, so that it can be tried with anything.

A number may have a decimal point or comma, a prefix (`4.7k`, `12 m`), the letter in the point's place as on resistors
(`4k7`, IEC 60062), a unit, and the meter's own d.c. or a.c. sign. A bare number takes the unit that was asked for.
`OL` is what meters show over their range. What is not understood is refused with what was expected.
"""

import math
import re
from typing import Final

OVER_RANGE: Final = frozenset({"ol", "o.l", "o.l.", ".ol", "0l", "0.l", "overload", "over", "inf", "∞", "open"})
PREFIXES: Final = {"": 0, "u": -6, "µ": -6, "\u03bc": -6, "m": -3, "k": 3, "K": 3, "M": 6, "meg": 6, "Meg": 6}
UNITS: Final = {
    "V": frozenset({"V", "v", "volt", "volts"}),
    "A": frozenset({"A", "a", "amp", "amps"}),
    "Ω": frozenset({"Ω", "\u2126", "ohm", "ohms", "Ohm", "Ohms", "R", "r"}),
}
EXAMPLE: Final = {"V": "24.1 V", "A": "45 mA", "Ω": "4.7 kohm"}
YES: Final = frozenset({"y", "yes"})
NO: Final = frozenset({"n", "no"})
STATES: Final = {"1": "lit", "0": "dark", "2": "blinking"}
MOST_FLASHES: Final = 20

_NUMBER: Final = re.compile(r"([+\-−]?)([0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE]([+-]?[0-9]{1,2}))?\s*(.*)", re.ASCII)
_RESISTOR: Final = re.compile(r"([0-9]+)(R|r|k|K|M)([0-9]+)", re.ASCII)
_CURRENT_KIND: Final = re.compile(r"\s*(d\.?c\.?|a\.?c\.?|~|=|⎓)$", re.IGNORECASE)
_LONGEST: Final = 40


def reading(text: str, unit: str, *, alternating: bool = False) -> float:
    """Return the SI value of what was typed, infinite for over-range. Raises ValueError that says what is expected."""
    typed = text.strip()
    expected = f"expected {_asked(unit, alternating=alternating)} such as '{EXAMPLE[unit]}'"
    if not typed or len(typed) > _LONGEST:
        raise ValueError(f"{expected}, or 'OL' where the meter shows over-range")
    if typed.lower() in OVER_RANGE:
        return math.inf
    if unit == "Ω" and (resistor := _RESISTOR.fullmatch(typed)):
        whole, letter, part = resistor.groups()
        return _scaled("", f"{whole}.{part}", 0 if letter in "Rr" else PREFIXES[letter])
    match = _NUMBER.fullmatch(typed)
    if match is None:
        raise ValueError(f"{expected}, got {typed!r}")
    sign, number, exponent, rest = match.groups()
    places = _places(_without_kind(rest, unit, expected, alternating=alternating), unit)
    if places is None:
        raise ValueError(f"{expected}, got {typed!r}: {rest!r} is not a unit of it")
    return _scaled(sign, number.replace(",", "."), places + int(exponent or 0))


def _asked(unit: str, *, alternating: bool) -> str:
    name = {"V": "volts", "A": "amps", "Ω": "ohms"}[unit]
    return f"{name} a.c." if alternating else name


def _without_kind(rest: str, unit: str, expected: str, *, alternating: bool) -> str:
    """Return the unit without the meter's sign for d.c. or a.c., which must be the kind that was asked for."""
    kind = _CURRENT_KIND.search(rest)
    if kind is None or unit == "Ω":
        return rest
    if (kind[1][0] in "aA~") != alternating:
        raise ValueError(f"{expected}, got {'a.c.' if not alternating else 'd.c.'} (turn the meter's switch)")
    return rest[: kind.start()]


def _places(rest: str, unit: str) -> int | None:
    """Return the power of ten of a prefix with or without its unit; None when it is another unit."""
    if rest in PREFIXES:
        return PREFIXES[rest]
    for spelling in UNITS[unit]:
        if rest.endswith(spelling) and (prefix := rest.removesuffix(spelling).rstrip()) in PREFIXES:
            return PREFIXES[prefix]
    return None


def _scaled(sign: str, number: str, places: int) -> float:
    value = float(f"{number}e{places}")
    return -value if sign in {"-", "−"} and value else value


def yes(text: str) -> bool:
    """Return whether yes was typed. Raises ValueError for anything that is neither yes nor no."""
    word = text.strip().lower()
    if word in YES | NO:
        return word in YES
    raise ValueError(f"expected y or n, got {text.strip()!r}")


def name(text: str) -> str:
    """Return who somebody is, on one line. Raises ValueError for what is no name, above all for a yes or a no."""
    typed = " ".join(text.split())
    if len(typed) < 2 or typed.lower() in YES | NO or not any(character.isalpha() for character in typed):
        raise ValueError("expected your name")
    return typed[:60]


def state(text: str) -> str:
    """Return lit, dark or blinking, from its figure or the beginning of its word. Raises ValueError otherwise."""
    word = text.strip().lower()
    if word in STATES:
        return STATES[word]
    found = [known for known in STATES.values() if word and known.startswith(word)]
    if len(found) != 1:
        raise ValueError(f"expected 1 (lit), 0 (dark) or 2 (blinking), got {text.strip()!r}")
    return found[0]


def code(text: str, *, digits: int) -> str:
    """Return a lamp's code as the judge writes it: `3`, or `11 12`; dark and steady are words.

    `digits` is 0 for a count of flashes, else how many two-digit codes follow one another. Raises ValueError.
    """
    word = " ".join(text.split()).lower()
    if word in {"dark", "steady"}:
        return word
    if word == "0":
        return "dark"
    if not digits:
        if word.isascii() and word.isdigit() and 0 < int(word[:4]) <= MOST_FLASHES and len(word) <= 4:
            return str(int(word))
        raise ValueError(f"expected the number of flashes, 'dark' or 'steady', got {text.strip()!r}")
    figures = word.replace(" ", "").replace(",", "")
    if figures.isascii() and figures.isdigit() and len(figures) == 2 * digits and "0" not in figures:
        return " ".join(figures[at : at + 2] for at in range(0, len(figures), 2))
    example = " ".join(["11", "12", "21", "22"][:digits])
    raise ValueError(
        f"expected {digits} times two digits such as '{example}', 'dark' or 'steady', got {text.strip()!r}"
    )
