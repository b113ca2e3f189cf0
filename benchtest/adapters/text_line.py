"""Lines of text to a foreign instrument and back, over a serial port, a TCP socket or VISA.

A line ends where the dialect says. What waits before something is sent was asked for by nobody: it is thrown away and
counted. Every wait has a deadline of the caller.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final, Protocol

from benchtest.adapters.ports import Port, open_port
from benchtest.clock import Clock
from benchtest.errors import AdapterGarbled, AdapterSilent
from benchtest.fixture.dialect import ENDS, Terminations

LONGEST: Final = 1 << 16
"""Bytes of an answer; more is garbage."""
NEVER_QUIET: Final = 5
"""Multiple of the wanted silence after which a line that is never quiet is left as it is."""


class TextLine(Protocol):
    """One conversation partner at the end of a line."""

    name: str
    stale: int
    """Bytes that nobody had asked for, thrown away."""

    def send(self, text: str) -> None:
        """Send one line; AdapterSilent when it is not taken, AdapterMissing when the line is gone."""
        ...

    def receive(self, deadline: float) -> str:
        """Return the next line without its end.

        Raises AdapterSilent when none has come at `deadline` of the rig's clock, AdapterGarbled when it is no text.
        """
        ...

    def settle(self, quiet: float) -> None:
        """Clear the device where the line can, then throw away what comes until it was quiet for so many seconds."""
        ...


class PortLine:
    """A TextLine on a serial port or TCP socket."""

    def __init__(self, *, port: Port, ends: Terminations, clock: Clock) -> None:
        self.name = port.name
        self.stale = 0
        self._port, self._clock = port, clock
        self._send_end, self._end = ENDS[ends.send].encode(), ENDS[ends.receive].encode()
        self._pending = b""

    def send(self, text: str) -> None:
        self.stale += len(self._pending) + self._port.discard()
        self._pending = b""
        self._port.write(text.encode("ascii") + self._send_end)

    def receive(self, deadline: float) -> str:
        while self._end not in self._pending:
            if self._clock.now() >= deadline:
                raise AdapterSilent(
                    f"{self.name}: {_instead(self._pending)} (is it switched on, are its line ends right?)"
                )
            if len(self._pending) > LONGEST:
                raise AdapterGarbled(f"{self.name}: more than {LONGEST} bytes without an end of line")
            self._pending += self._port.read(1)
        line, _, self._pending = self._pending.partition(self._end)
        return as_text(line, self.name)

    def settle(self, quiet: float) -> None:
        self.stale += len(self._pending)
        self._pending = b""
        begun = heard = self._clock.now()
        while (now := self._clock.now()) < min(heard + quiet, begun + NEVER_QUIET * quiet):
            if data := self._port.read(1):
                self.stale += len(data)
                heard = now


def as_text(line: bytes, name: str) -> str:
    """Return an answer as text, trimmed (some instruments pad with NUL). AdapterGarbled when it is no ASCII text."""
    text = line.decode("ascii", errors="replace").strip(" \r\n\0")
    if not (text.isascii() and text.isprintable()):
        raise AdapterGarbled(f"{name}: expected text, got {line[:80]!r} (is this the right port, and its baud rate?)")
    return text


def _instead(pending: bytes) -> str:
    return f"no whole line, only {pending[:80]!r}" if pending else "no answer"


@contextmanager
def open_text_line(name: str, *, baud: int, ends: Terminations, clock: Clock) -> Iterator[TextLine]:
    """Open a device path, a socket URL, or a VISA resource (`TCPIP::…::SOCKET`, `ASRL…::INSTR`, …)."""
    if "::" in name and "://" not in name:
        from benchtest.adapters.visa_line import open_visa  # noqa: PLC0415 - an extra that few benches have

        with open_visa(name, baud=baud, ends=ends, clock=clock) as visa:
            yield visa
    else:
        with open_port(name, baud=baud) as port:
            yield PortLine(port=port, ends=ends, clock=clock)
