"""A foreign instrument to talk to: a supply of two outputs with loads, a meter and a matrix, behind TCP or a paced pty.

Written from SCPI-99 and IEEE 488.2 (headers in long or short form, `*IDN?`, `*CLS`, `*RST`, error queue with the codes
of SCPI-99 volume 2, 21.8; from memory), and from nothing of the driver's. It can be slow, late, silent, deaf, garbled,
forgetful, or echo what it hears.
"""

import os
import re
import select
import socket
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial

from benchtest.clock import RealClock

CLOCK = RealClock()
METER_ROUTES = set(range(10, 20))
"""Channels of the matrix that lead to the meter; the others switch something else."""
IDENTITY = "Somebody,Bench supply and meter,0042,1.0"


@dataclass
class Output:
    """One output: what it was set to, and the load at its terminals in ohms."""

    volts: float = 0.0
    amps: float = 0.1
    on: bool = False
    load: float = 1e9

    @property
    def measured(self) -> tuple[float, float]:
        """Volts and amps at the terminals: the current limit holds the voltage down."""
        if not self.on:
            return 0.0, 0.0
        amps = min(self.volts / self.load, self.amps)
        return amps * self.load, amps


@dataclass
class Instrument:
    """Lines in, answers out."""

    end: bytes = b"\n"
    outputs: dict[int, Output] = field(default_factory=lambda: {1: Output(), 2: Output()})
    selected: int = 1
    closed: set[int] = field(default_factory=set)
    readings: dict[tuple[str, int], str] = field(default_factory=dict)
    """Kind of reading and the route that is closed → answer."""
    errors: list[str] = field(default_factory=list)
    log: list[str] = field(default_factory=list)
    trouble: dict[str, list[str]] = field(default_factory=dict)
    """Beginning of a line → what goes wrong at the next such lines, in turn."""
    echoes: bool = False
    latency: float = 0.0
    """Seconds that every answer takes."""
    late: float = 0.5
    """Seconds that a late answer takes."""

    def hear(self, line: str) -> list[tuple[float, bytes]]:
        """Return delays and answers to one line."""
        self.log.append(line)
        back = [(0.0, line.encode() + self.end)] if self.echoes else []
        trouble = next((words for begin, words in self.trouble.items() if line.startswith(begin) and words), None)
        what = trouble.pop(0) if trouble else ""
        if what == "deaf":
            return back
        if what == "restarts":
            self.outputs = {1: Output(), 2: Output()}
            return back
        answer = self._obey(line)
        if answer is None or what == "silent":
            return back
        sent = answer.encode() + self.end
        if what == "garbled":
            sent = b"\xff\x80\x13" + self.end
        if what == "half":
            sent = sent[: len(sent) // 2]
        return [*back, (self.late if what == "late" else self.latency, sent)]

    def _obey(self, line: str) -> str | None:
        header, _, argument = line.partition(" ")
        for pattern, act in _COMMANDS:
            if (match := pattern.fullmatch(header)) is not None:
                suffix = match.groupdict().get("suffix")
                return act(self, int(suffix) if suffix else self.selected, argument)
        self.errors.append('-113,"Undefined header"')
        return None

    def number(self, argument: str, most: float) -> float | None:
        """Return a number that is permitted; otherwise an error goes into the queue."""
        if re.fullmatch(r"[+-]?[0-9]+(\.[0-9]*)?([eE][+-]?[0-9]+)?", argument) is None:
            self.errors.append('-104,"Data type error"')
            return None
        if not 0 <= float(argument) <= most:
            self.errors.append('-222,"Data out of range"')
            return None
        return float(argument)

    def read(self, kind: str, own: int) -> str:
        """Return what the meter reads, through the one route that is closed; an open circuit is over-range."""
        routes = self.closed & METER_ROUTES
        route = next(iter(routes)) if len(routes) == 1 else 0
        if (kind, route) in self.readings:
            return self.readings[kind, route]
        if route == 0 and kind in {"VOLT", "CURR"}:
            return f"{self.outputs[own].measured[kind == 'CURR']:+.6E}"
        return "+9.90000000E+37"


Act = Callable[[Instrument, int, str], str | None]


def _set_volts(it: Instrument, own: int, argument: str) -> None:
    if (value := it.number(argument, 32.0)) is not None:
        it.outputs[own].volts = round(value, 3)


def _set_amps(it: Instrument, own: int, argument: str) -> None:
    if (value := it.number(argument, 5.0)) is not None:
        it.outputs[own].amps = round(value, 3)


def _switch(it: Instrument, own: int, argument: str) -> None:
    it.outputs[own].on = argument in {"ON", "1"}


def _choose(it: Instrument, _own: int, argument: str) -> None:
    it.selected = int(argument)


def _routes(it: Instrument, argument: str) -> list[int]:
    if re.fullmatch(r"\(@[0-9]+(,[0-9]+)*\)", argument) is None:
        it.errors.append('-141,"Invalid character data"')
        return []
    return [int(text) for text in argument[2:-1].split(",")]


def _is_closed(it: Instrument, _own: int, argument: str) -> str:
    return ",".join(str(int(route in it.closed)) for route in _routes(it, argument))


def _clear(it: Instrument, _own: int, _argument: str) -> None:
    it.errors.clear()


def _reset(it: Instrument, _own: int, _argument: str) -> None:
    for output in it.outputs.values():
        output.volts, output.amps, output.on = 0.0, 0.1, False
    it.closed.clear()


def _error(it: Instrument, _own: int, _argument: str) -> str:
    return it.errors.pop(0) if it.errors else '+0,"No error"'


def _limiting(it: Instrument, own: int, _argument: str) -> str:
    output = it.outputs[own]
    return str(int(output.on and output.volts / output.load > output.amps))


def _header(text: str) -> re.Pattern[str]:
    """Return what matches a header in long or short form (SCPI-99 volume 1, 6.2.1); `#` is a numeric suffix."""
    parts = re.findall(r"\*|#|:|\?|[A-Z]+[a-z]*", text)
    pattern = ""
    for part in parts:
        if part == "#":
            pattern += r"(?P<suffix>[0-9]*)"
        elif part.isalpha():
            short = "".join(letter for letter in part if letter.isupper())
            rest = part[len(short) :].upper()
            pattern += f"{short}(?:{rest})?" if rest else short
        else:
            pattern += re.escape(part)
    return re.compile(f":?{pattern}" if text[0] != "*" else pattern, re.IGNORECASE)


_TABLE: dict[str, Act] = {
    "*IDN?": lambda _it, _own, _argument: IDENTITY,
    "*CLS": _clear,
    "*RST": _reset,
    "SYSTem:ERRor?": _error,
    "INSTrument:NSELect": _choose,
    "SOURce#:VOLTage": _set_volts,
    "SOURce#:VOLTage?": lambda it, own, _: f"{it.outputs[own].volts:+.6E}",
    "SOURce#:CURRent": _set_amps,
    "SOURce#:CURRent?": lambda it, own, _: f"{it.outputs[own].amps:+.6E}",
    "OUTPut#:STATe": _switch,
    "OUTPut#:STATe?": lambda it, own, _: str(int(it.outputs[own].on)),
    "STATus:QUEStionable:CONDition?": _limiting,
    "MEASure#:VOLTage:DC?": lambda it, own, _: it.read("VOLT", own),
    "MEASure#:VOLTage:AC?": lambda it, own, _: it.read("VOLT:AC", own),
    "MEASure#:CURRent:DC?": lambda it, own, _: it.read("CURR", own),
    "MEASure:RESistance?": lambda it, own, _: it.read("RES", own),
    "MEASure:FRESistance?": lambda it, own, _: it.read("FRES", own),
    "ROUTe:CLOSe": lambda it, _own, argument: it.closed.update(_routes(it, argument)),
    "ROUTe:OPEN": lambda it, _own, argument: it.closed.difference_update(_routes(it, argument)),
    "ROUTe:OPEN:ALL": lambda it, _own, _argument: it.closed.clear(),
    "ROUTe:CLOSe?": _is_closed,
}
_COMMANDS = [(_header(text), act) for text, act in _TABLE.items()]


@contextmanager
def served(instrument: Instrument, kind: str, baud: int = 0) -> Iterator[str]:
    """Give the port of an instrument that a thread serves: `tcp`, or `pty`, whose bytes take their time at `baud`."""
    over = threading.Event()
    with _door(kind) as (name, accept):
        thread = threading.Thread(target=_serve, args=(instrument, accept, over, 10 / baud if baud else 0.0))
        thread.start()
        try:
            yield name
        finally:
            over.set()
            thread.join(10)


Line = tuple[Callable[[float], bytes | None], Callable[[bytes], object], Callable[[], object]]
"""Read within so many seconds (None: gone), write, close."""


@contextmanager
def _door(kind: str) -> Iterator[tuple[str, Callable[[threading.Event], Line | None]]]:
    if kind == "tcp":
        with socket.create_server(("127.0.0.1", 0)) as server:
            server.settimeout(0.02)
            yield f"socket://127.0.0.1:{server.getsockname()[1]}", lambda over: _accepted(server, over)
        return
    far, near = os.openpty()
    tty.setraw(near)
    try:
        yield os.ttyname(near), lambda _over: (partial(_waiting, far), partial(os.write, far), bool)
    finally:
        os.close(near)
        os.close(far)


def _accepted(server: socket.socket, over: threading.Event) -> Line | None:
    while not over.is_set():
        try:
            connection, _ = server.accept()
        except TimeoutError:
            continue
        connection.setblocking(True)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return partial(_waiting, connection.fileno()), connection.sendall, connection.close
    return None


def _waiting(descriptor: int, wait: float) -> bytes | None:
    if not select.select([descriptor], [], [], wait)[0]:
        return b""
    try:
        return os.read(descriptor, 4096) or None
    except OSError:
        return None


def _serve(
    it: Instrument, accept: Callable[[threading.Event], Line | None], over: threading.Event, byte_time: float
) -> None:
    while not over.is_set() and (line := accept(over)) is not None:
        read, write, close = line
        try:
            _talk(it, read, write, over, byte_time)
        except OSError:  # the host went away while it was being answered
            continue
        finally:
            close()


def _talk(
    it: Instrument,
    read: Callable[[float], bytes | None],
    write: Callable[[bytes], object],
    over: threading.Event,
    byte_time: float,
) -> None:
    pending, answers = b"", list[tuple[float, bytes]]()
    while not over.is_set():
        heard = read(0.005 if not answers else max(0.0, min(0.005, answers[0][0] - CLOCK.now())))
        if heard is None:
            return
        CLOCK.sleep_until(CLOCK.now() + len(heard) * byte_time)
        *lines, pending = (pending + heard).split(it.end)
        for line in lines:
            answers += [(CLOCK.now() + delay, sent) for delay, sent in it.hear(line.decode())]
        answers.sort(key=lambda answer: answer[0])
        while answers and answers[0][0] <= CLOCK.now():
            for byte in answers.pop(0)[1:]:
                for position in range(len(byte)) if byte_time else range(1):
                    write(byte[position : position + 1] if byte_time else byte)
                    CLOCK.sleep_until(CLOCK.now() + byte_time)
