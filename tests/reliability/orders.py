"""What a sequence of bytes may switch, by docs/adapter-protocol.md alone: the page as patterns.

Written from the page and from nothing of the adapter's code. A line may switch something only when every one of its
units is a known header with the right number of parameters; what it may switch then are the values written in it. This
permits more than must happen (a unit after a refused one is not carried out), and nothing else.
"""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

LONGEST: Final = 4096
NUMBER: Final = (
    r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?"
    r"|#[hH][0-9A-Fa-f]{1,12}|#[qQ][0-7]{1,12}|#[bB][01]{1,12}|(?i:ON|OFF|INF|INFINITY)"
)
LIST: Final = r"\(@ *(?:[0-9]{1,4} *(?:: *[0-9]{1,4} *)?(?:, *[0-9]{1,4} *(?:: *[0-9]{1,4} *)?)*)?\)"
PARAMETER: Final = r"[^,()]*(?:\([^()]*\)[^,()]*)*"
"""Anything: a parameter of the wrong kind is refused when its turn comes, and stops what comes after it."""

HEADERS: Final[dict[str, tuple[str, int]]] = {
    "identity": (r"\*IDN\?", 0),
    "reset": (r"\*RST", 0),
    "clear": (r"\*CLS", 0),
    "complete": (r"\*OPC\?", 0),
    "error": (r"SYST(?:EM)?:ERR(?:OR)?(?::NEXT|:ALL|:COUN(?:T)?)?\?", 0),
    "version": (r"SYST(?:EM)?:(?:VERS(?:ION)?|PROT(?:OCOL)?)\?", 0),
    "tag": (r"SYST(?:EM)?:ECHO\?", 1),
    "arm": (r"DEAD(?:MAN)?:ARM", 0),
    "dead-man": (r"DEAD(?:MAN)?:(?:STAT(?:E)?|TIME)\?", 0),
    "dead-man time": (r"DEAD(?:MAN)?:TIME", 1),
    "set": (r"OUTP(?:UT)?:VAL(?:UE)?", 2),
    "off": (r"OUTP(?:UT)?:OFF", 1),
    "all off": (r"OUTP(?:UT)?:OFF:ALL", 0),
    "active": (r"OUTP(?:UT)?:ACT(?:IVE)?\?", 0),
    "amps": (r"SOUR(?:CE)?:CURR(?:ENT)?", 2),
    "volts": (r"SOUR(?:CE)?:VOLT(?:AGE)?", 2),
    "on": (r"SOUR(?:CE)?:STAT(?:E)?", 2),
    "state": (r"SOUR(?:CE)?:STAT(?:E)?\?", 1),
    "measure": (r"MEAS(?:URE)?\?", 1),
    "clear schedule": (r"REC(?:ORD)?:CLE(?:AR)?", 0),
    "order": (r"REC(?:ORD)?:ORD(?:ER)?", 3),
    "start": (r"REC(?:ORD)?:STAR(?:T)?", 3),
    "recorder": (r"REC(?:ORD)?:(?:STAT(?:E)?|TIME|FORM(?:AT)?|DONE|DATA)\?", 0),
}
"""What → its header in long and short form, and how many parameters it takes."""


def _unit(header: str, parameters: int, *, first: bool) -> re.Pattern[str]:
    colon = "" if header.startswith(r"\*") else ":?" if first else ":"
    given = ",".join([rf"[ \t]*({PARAMETER})[ \t]*"] * parameters)
    return re.compile(rf"[ \t]*{colon}(?i:{header})" + (rf"[ \t]+{given}" if parameters else r"[ \t]*"))


FIRST: Final = {what: _unit(*rule, first=True) for what, rule in HEADERS.items()}
LATER: Final = {what: _unit(*rule, first=False) for what, rule in HEADERS.items()}


def lines(data: bytes) -> Iterator[bytes]:
    """Yield the whole lines that are not too long, without their ends."""
    *whole, _ = data.split(b"\n")
    for line in whole:
        if len(line) + 1 <= LONGEST:
            yield line


def units(line: bytes) -> list[tuple[str, tuple[str, ...]]] | None:
    """Return what each unit of a line is, with its parameters; None when any is not understood."""
    if not line.isascii():
        return None
    text = line.decode("ascii").removesuffix("\r")
    if not text.strip():
        return []
    found = []
    for place, unit in enumerate(text.split(";")):
        for what, pattern in (LATER if place else FIRST).items():
            if match := pattern.fullmatch(unit):
                found.append((what, tuple(given.strip(" \t") for given in match.groups())))
                break
        else:
            return None
    return found


def number(text: str) -> float | None:
    """Return a parameter's number; None when it is none."""
    if re.fullmatch(NUMBER, text) is None:
        return None
    word = text.upper()
    if word in {"ON", "OFF"}:
        return float(word == "ON")
    if word[0] == "#":
        return float(int(word[2:], {"H": 16, "Q": 8, "B": 2}[word[1]]))
    value = float(word)
    if value == 9.91e37:
        return None
    return value if abs(value) < 9.9e37 else math.copysign(math.inf, value)


def channels(text: str) -> set[int]:
    """Return the channels of a list; none when it is no list."""
    found: set[int] = set()
    if re.fullmatch(LIST, text):
        for first, last in re.findall(r"([0-9]+) *(?:: *([0-9]+))?", text):
            found |= set(range(min(int(first), int(last or first)), max(int(first), int(last or first)) + 1))
    return found


@dataclass(slots=True)
class Permitted:
    """Everything that the bytes so far may have switched."""

    armed: bool
    outputs: set[tuple[int, float]] = field(default_factory=set)
    """Channel and value."""
    amps: set[tuple[int, float]] = field(default_factory=set)
    volts: set[tuple[int, float]] = field(default_factory=set)
    on: set[int] = field(default_factory=set)
    orders: set[tuple[float, float, int]] = field(default_factory=set)
    """Moment, value, channel."""
    starts: set[tuple[float, float]] = field(default_factory=set)
    """Duration and rate."""

    def hear(self, line: bytes) -> None:
        """Add what one line may switch."""
        for what, given in units(line) or ():
            self.armed = self.armed or what == "arm"
            if not self.armed:
                continue
            numbers = [number(text) for text in given]
            chosen = channels(given[-1]) if given else set()
            match what, numbers:
                case "set", [float() as value, _]:
                    self.outputs |= {(channel, value) for channel in chosen}
                case ("amps" | "volts") as which, [float() as value, _]:
                    getattr(self, which).update((channel, value) for channel in chosen)
                case "on", [float() as value, _] if value:
                    self.on |= chosen
                case "order", [float() as at, float() as value, _]:
                    self.orders |= {(at, value, channel) for channel in chosen}
                case "start", [float() as duration, float() as rate, _]:
                    self.starts.add((duration, rate))
                case _:
                    pass
