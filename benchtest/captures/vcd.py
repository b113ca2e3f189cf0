"""Value change dumps: scalars and single bits of vectors as changes of state, real variables as values at their times.

Declarations are read when the file is opened; the changes of one variable are streamed when they are asked for. Several
changes at one time are one: the last. While a state is unknown (x) or not driven (z) the one before it is kept, and the
notes say when. Source: IEEE Std 1364-2005, clause 18.
"""

from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np

from benchtest.captures.capture import Capture, Channel, Options, Recorded
from benchtest.captures.lines import Text, open_text
from benchtest.errors import CaptureError
from benchtest.quantities import show
from benchtest.signals.series import Series, Stamped, Uneven

UNITS: Final = {"s": 0, "ms": -3, "us": -6, "ns": -9, "ps": -12, "fs": -15}
MOST_CHANGES: Final = 10**7
MOST_BITS: Final = 4096
_SECTIONS: Final = frozenset({"$dumpvars", "$dumpall", "$dumpon", "$dumpoff", "$end"})


@dataclass(frozen=True, kw_only=True, slots=True)
class Variable:
    """One bit or one real variable of the dump."""

    name: str
    code: str
    """Identifier in the dump."""
    real: bool
    bit: int
    """Place from the right; 0 for scalars."""


@dataclass(kw_only=True, slots=True)
class Declarations:
    """What stands before the changes."""

    power: int = 0
    """The unit of time is a number of powers of ten of this exponent, in seconds."""
    ticks: int = 0
    """1, 10 or 100; 0 when the dump does not say."""
    variables: list[Variable] = field(default_factory=list)
    scope: list[str] = field(default_factory=list)


def open_vcd(path: Path, start: bytes, options: Options) -> Capture:
    """Return the bits and the real variables of a value change dump."""
    del options
    text = open_text(path, start)
    declared = _declarations(text)
    if not declared.variables:
        raise CaptureError(path, "no variable is declared", expected="a '$var' of some bits, or real")
    channels = tuple(
        Channel(number=number, name=variable.name, unit="") for number, variable in enumerate(declared.variables, 1)
    )
    return Capture(
        path=path,
        kind_of_file="value change dump",
        channels=channels,
        notes=text.notes,
        reader=lambda channel: _read(text, declared, channel),
    )


def _words(text: Text) -> Iterator[tuple[int, str]]:
    """Yield the words of the file, each with its line."""
    line = 1
    for block in text.blocks():
        for row in block.decode("latin-1").split("\n")[:-1]:
            for word in row.split():
                yield line, word
            line += 1


def _declarations(text: Text) -> Declarations:
    declared = Declarations()
    words = _words(text)
    for line, word in words:
        if word == "$enddefinitions":
            if not declared.ticks:
                raise CaptureError(text.path, "no time scale", expected="'$timescale 1 ns $end' or another")
            return declared
        if not word.startswith("$"):
            raise CaptureError(
                text.path, f"{word[:40]!r}", place=f"line {line}", expected="a declaration such as '$var'"
            )
        body = _body(text, words, line)
        _declare(text, declared, word, body, line)
    raise CaptureError(
        text.path, "no end of the declarations", expected="'$enddefinitions $end'", hint="the file is torn"
    )


def _body(text: Text, words: Iterator[tuple[int, str]], line: int) -> list[str]:
    body: list[str] = []
    for _, word in words:
        if word == "$end":
            return body
        body.append(word)
    raise CaptureError(text.path, "a declaration without '$end'", place=f"line {line}", hint="the file is torn")


def _declare(text: Text, declared: Declarations, word: str, body: list[str], line: int) -> None:
    if word == "$timescale":
        joined = "".join(body)
        number = joined.rstrip("smunpf")
        if number not in {"1", "10", "100"} or joined.removeprefix(number) not in UNITS:
            raise CaptureError(
                text.path, f"a time scale of {joined[:40]!r}", place=f"line {line}", expected="one such as 1 ns"
            )
        declared.ticks, declared.power = int(number), UNITS[joined.removeprefix(number)]
    elif word == "$scope":
        declared.scope.append(body[-1] if body else "")
    elif word == "$upscope" and declared.scope:
        declared.scope.pop()
    elif word == "$var":
        declared.variables += _variables(text, declared, body, line)


def _variables(text: Text, declared: Declarations, body: list[str], line: int) -> list[Variable]:
    if len(body) < 4 or not body[1].isdecimal() or not 0 < int(body[1]) <= MOST_BITS:
        found = f"'$var {' '.join(body)[:60]}'"
        raise CaptureError(text.path, found, place=f"line {line}", expected="type, bits, identifier and name")
    kind, width, code, name = body[0], int(body[1]), body[2], ".".join([*declared.scope, "".join(body[3:])])
    if kind in {"real", "realtime"}:
        return [Variable(name=name, code=code, real=True, bit=0)]
    if width == 1:
        return [Variable(name=name, code=code, real=False, bit=0)]
    stem, bracket, span = name.partition("[")
    high, colon, low = span.rstrip("]").partition(":")
    known = bracket and colon and high.lstrip("-").isdecimal() and low.lstrip("-").isdecimal()
    left, right = (int(high), int(low)) if known else (width - 1, 0)
    if abs(left - right) + 1 != width:
        left, right = width - 1, 0
    step = 1 if left >= right else -1
    return [Variable(name=f"{stem}[{right + step * bit}]", code=code, real=False, bit=bit) for bit in range(width)]


@dataclass(kw_only=True, slots=True)
class Trace:
    """The changes of one variable, as they come."""

    variable: Variable
    ticks: "array[int]" = field(default_factory=lambda: array("q"))
    values: list[str] = field(default_factory=list)
    first: int | None = None
    """Ticks of the first time stamp."""
    now: int = 0
    together: int = 0
    """Changes that another at the same time replaced."""

    def take(self, value: str) -> None:
        """Take one change of the variable."""
        if self.ticks and self.ticks[-1] == self.now:
            self.together += self.values[-1] != value and len(self.ticks) > 1
            self.values[-1] = value
            return
        self.ticks.append(self.now)
        self.values.append(value)


def _read(text: Text, declared: Declarations, channel: Channel) -> Recorded:
    variable = declared.variables[channel.number - 1]
    trace = Trace(variable=variable)
    _follow(text, trace)
    if trace.first is None and not trace.values:
        raise CaptureError(
            text.path, "no changes at all", expected="times such as '#0' and values", hint="the file is torn"
        )
    notes = [f"{trace.together} changes replaced by another at the same time"] if trace.together else []
    rate = 10.0**-declared.power / declared.ticks
    series, more = _real(text, trace, rate) if variable.real else _states(trace, rate)
    return Recorded(channel=channel, series=series, notes=(*notes, *more))


def _follow(text: Text, trace: Trace) -> None:
    """Take the changes of the variable from the file; raise CaptureError for words that are none."""
    words = _words(text)
    for _, word in words:
        if word == "$enddefinitions":
            break
    for line, word in words:
        if word[0] == "#":
            _step(text, trace, word, line)
        elif word == "$comment":
            _body(text, words, line)
        elif word not in _SECTIONS:
            _change(text, trace, words, line, word)


def _change(text: Text, trace: Trace, words: Iterator[tuple[int, str]], line: int, word: str) -> None:
    if word[0] in "01xXzZ" and len(word) > 1:
        code, value = word[1:], word[0].lower()
    elif word[0] in "bBrR":
        value, (_, code) = word[1:], next(words, (line, ""))
    else:
        raise CaptureError(
            text.path, f"{word[:40]!r}", place=f"line {line}", expected="a time or a change", hint="torn?"
        )
    if code != trace.variable.code:
        return
    trace.take(_picked(trace.variable, value))
    if len(trace.ticks) > MOST_CHANGES:
        raise CaptureError(text.path, f"more than {MOST_CHANGES} changes", hint="cut the dump into parts")


def _step(text: Text, trace: Trace, word: str, line: int) -> None:
    if not word[1:].isdecimal() or len(word) > 19:
        raise CaptureError(text.path, f"{word[:40]!r}", place=f"line {line}", expected="a time such as '#100'")
    now = int(word[1:])
    if trace.first is not None and now < trace.now:
        found = f"time goes back from {trace.now} to {now}"
        raise CaptureError(text.path, found, place=f"line {line}", expected="times that go forward")
    trace.first = now if trace.first is None else trace.first
    trace.now = now


def _picked(variable: Variable, digits: str) -> str:
    """Return the bit of a vector, extended to the left as the standard says, or the whole of a real."""
    if variable.real:
        return digits
    if variable.bit < len(digits):
        return digits[-1 - variable.bit].lower()
    return "0" if digits[:1] in {"0", "1", ""} else digits[0].lower()


def _states(trace: Trace, rate: float) -> tuple[Series, list[str]]:
    begin = trace.first or 0
    ticks, values = np.array(trace.ticks, np.int64), np.array(trace.values, "U1")
    known = (values == "0") | (values == "1")
    unknown = ticks[~known]
    ticks, states = ticks[known], values[known] == "1"
    first = bool(states[0]) if ticks.size and ticks[0] <= begin else None
    changed = np.diff(states, prepend=~states[:1] if first is None else states[:1])
    notes = []
    if unknown.size:
        when = f"{unknown.size} times, first at {show(float(unknown[0]) / rate, 's')}"
        notes.append(f"unknown or not driven {when}: the state before it is kept")
    series = Stamped(
        times=ticks[changed] / rate,
        rising=states[changed],
        first=first,
        begin=begin / rate,
        end=trace.now / rate,
        resolution=1 / rate,
    )
    return series, notes


def _real(text: Text, trace: Trace, rate: float) -> tuple[Series, list[str]]:
    try:
        values = np.array([float(value.replace("_", "?")) for value in trace.values])
    except ValueError as cause:
        raise CaptureError(text.path, str(cause), expected="numbers for a real variable") from None
    if not values.size:
        raise CaptureError(text.path, f"'{trace.variable.name}' is never given a value")
    wrong = ~np.isfinite(values)
    values[wrong] = np.nan
    notes = ["values as of their changes: each holds until the next"]
    if wrong.any():
        notes.append(f"{int(wrong.sum())} values left out as not a number")
    return Uneven(values=values, times=np.array(trace.ticks, float) / rate), notes
