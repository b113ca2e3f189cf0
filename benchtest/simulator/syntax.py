"""What a host may say to the served bench: one line, split and checked before anything of it is carried out.

Written apart from the host's side of the protocol (adapters/wire.py) on purpose: two readings of one page.

Sources: SCPI-99 volume 1 for headers in a long and a short form and for channel lists, IEEE 488.2 for program messages
and non-decimal numbers; the codes are those of the SCPI-99 error list.
"""

import math
import re
from dataclasses import dataclass
from typing import Final

LINE_LENGTH: Final = 4096
"""Longest line in bytes, its line feed included."""
MOST_CHANNELS: Final = 1000
"""Most channels in one list."""

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_UNIT = re.compile(r"(?P<header>\*[A-Za-z]+|:?[A-Za-z]+(?::[A-Za-z]+)*)(?P<query>\?)?(?:[ \t]+(?P<arguments>.*))?")
_PARAMETER = re.compile(r"[^()]*(?:\([^()]*\)[^()]*)*")
_RADIX: Final = {"#H": 16, "#Q": 8, "#B": 2}
_WORDS: Final = {"ON": 1.0, "OFF": 0.0, "INF": math.inf, "INFINITY": math.inf}


class Refused(Exception):
    """A line or unit that is not carried out: a code of the SCPI error list and its text."""

    def __init__(self, code: int, detail: str = "") -> None:
        self.code = code
        self.text = TEXTS[code] + (f";{detail}" if detail else "")
        super().__init__(self.text)


TEXTS: Final = {
    0: "No error",
    -102: "Syntax error",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -113: "Undefined header",
    -200: "Execution error",
    -203: "Command protected",
    -221: "Settings conflict",
    -222: "Data out of range",
    -223: "Too much data",
    -230: "Data corrupt or stale",
    -300: "Device-specific error",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """One command or query of a line."""

    header: str
    """As sent, without leading colon and question mark."""
    query: bool
    arguments: tuple[str, ...]


def split(line: str) -> tuple[Asked, ...]:
    """Return the units of a line without its line feed. Raises Refused -102 when any of them is not well formed."""
    return tuple(_unit(text.strip(" \t"), first=at == 0) for at, text in enumerate(line.split(";")))


def _unit(text: str, *, first: bool) -> Asked:
    match = _UNIT.fullmatch(text)
    if match is None:
        raise Refused(-102, text[:40])
    if not first and text[0] not in ":*":
        raise Refused(-113, f"{text[:40]} (after a semicolon a header begins with a colon)")
    arguments = _arguments(match["arguments"] or "")
    return Asked(header=match["header"].removeprefix(":"), query=bool(match["query"]), arguments=arguments)


def _arguments(text: str) -> tuple[str, ...]:
    if not text.strip():
        return ()
    parts = tuple(part.strip(" \t") for part in re.split(r",(?![^()]*\))", text))
    if broken := next((part for part in parts if _PARAMETER.fullmatch(part) is None), ""):
        raise Refused(-102, f"{broken[:40]} (a parenthesis without its other half)")
    return parts


def short_form(word: str) -> str:
    """Return the short form of a long one: its first four letters, or three when the fourth is a vowel or y.

    A word of at most four letters has no other form (SCPI-99 volume 1, 6.2.1).
    """
    word = word.upper()
    if len(word) <= 4:
        return word
    return word[:3] if word[3] in "AEIOUY" else word[:4]


def matches(header: str, pattern: str) -> bool:
    """Say whether `header` is `pattern`, each word in its long or its short form and nothing between.

    Words of a pattern in square brackets may be left out: `SYSTem:ERRor[:NEXT]`.
    """
    found = header.upper().split(":")
    full = pattern.replace("[", "").replace("]", "").split(":")
    least = re.sub(r"\[.*?\]", "", pattern).split(":")
    return any(
        len(found) == len(words)
        and all(word in {wanted.upper(), short_form(wanted)} for word, wanted in zip(found, words, strict=True))
        for words in (full, least)
    )


def number(text: str) -> float:
    """Return a number; 9.9E37 and INF are infinite. Raises Refused -104; NaN is no number here."""
    if text.upper() in _WORDS:
        return _WORDS[text.upper()]
    if text[:2].upper() in _RADIX:
        return _non_decimal(text)
    if _NUMBER.fullmatch(text) is None:
        raise Refused(-104, text[:40])
    value = float(text)
    if value == 9.91e37:
        raise Refused(-104, "not a number")
    return value if abs(value) < 9.9e37 else math.copysign(math.inf, value)


def _non_decimal(text: str) -> float:
    if re.fullmatch(r"[0-9A-Fa-f]{1,12}", text[2:]) is None:
        raise Refused(-104, text[:40])
    try:
        return float(int(text[2:], _RADIX[text[:2].upper()]))
    except ValueError:  # a digit that this radix does not have
        raise Refused(-104, text[:40]) from None


def channels(text: str) -> tuple[int, ...]:
    """Return the channels of a list such as `(@101,103:105)`; a reversed range counts down. Raises Refused."""
    if not (text.startswith("(@") and text.endswith(")")):
        raise Refused(-104, f"{text[:40]} (try (@101,103:105))")
    found: list[int] = []
    for part in text[2:-1].split(",") if text[2:-1].strip() else []:
        match = re.fullmatch(r" *([0-9]{1,4}) *(?:: *([0-9]{1,4}) *)?", part)
        if match is None:
            raise Refused(-104, part[:40])
        first, last = int(match[1]), int(match[2] or match[1])
        found.extend(range(first, last + 1) if first <= last else range(first, last - 1, -1))
        if len(found) > MOST_CHANNELS:
            raise Refused(-223, f"more than {MOST_CHANNELS} channels")
    return tuple(found)
