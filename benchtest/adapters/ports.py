"""A serial port or TCP socket as bytes with deadlines, and every way it can fail as one of our errors.

Own reading of whole pieces, because a time-out of the port counts per call: one total deadline per exchange is kept by
whoever calls. Where the system can wait on a descriptor, waiting and reading go past pyserial, which does both twice.
Opening drops DTR and RTS first, since many adapters reset on them, and takes the port for itself. Facts of pyserial:
the same words are raised for a pulled cable and for a second program that reads the same port; a pseudo-terminal has
no modem lines; `termios.error` is not an OSError.
"""

import errno
import os
import re
import select
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any, Final, Literal

import serial

from benchtest.errors import AdapterMissing, AdapterSilent, RigError

try:
    import termios
except ImportError:  # not POSIX: pyserial has another way there
    PORT_ERRORS: tuple[type[Exception], ...] = (OSError, TypeError)
else:
    PORT_ERRORS = (OSError, TypeError, termios.error)
"""What a port can raise; TypeError is pyserial's answer to reading from a port that is being closed."""

SLICE: Final = 0.02
"""Longest single wait of the port in seconds; deadlines are kept to this."""
LOOK: Final = 4096
"""Bytes that are taken at once when they wait already."""
WRITE_TIME: Final = 0.5
"""Longest time in seconds for one line to leave."""

_PARITY: Final = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}
_REASONS: Final = {
    errno.ENOENT: "there is no such port (is the adapter plugged in? `python -m serial.tools.list_ports` lists them)",
    errno.EACCES: "this user may not open it (try adding the user to the group that owns the port, often `dialout`)",
    errno.EPERM: "this user may not open it (try adding the user to the group that owns the port, often `dialout`)",
    errno.EAGAIN: "another program is using it (try closing that program)",
    errno.EBUSY: "another program is using it (try closing that program)",
    errno.ECONNREFUSED: "nobody listens there (try starting the adapter's server)",
    errno.ENOTTY: "that is not a serial port (try a device such as /dev/ttyUSB0, or socket://127.0.0.1:5025)",
    errno.EISDIR: "that is a folder (try a device such as /dev/ttyUSB0, or socket://127.0.0.1:5025)",
    errno.EIO: "the device does not answer (try unplugging it and plugging it in again)",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Characters:
    """How a character stands on a serial line."""

    parity: Literal["none", "even", "odd"] = "none"
    data_bits: int = 8
    stop_bits: int = 1


class Port:
    """An open port; every failure is an AdapterMissing or AdapterSilent that says what was being done."""

    def __init__(self, line: serial.Serial, name: str) -> None:
        self.name = name
        self._line = line
        self._descriptor = line.fileno() if os.name == "posix" else None

    def write(self, data: bytes) -> None:
        """Send all of `data`; AdapterSilent when the line does not take it within half a second."""
        try:
            sent = _write(self._descriptor, data) if self._descriptor is not None else 0
            if sent < len(data):
                self._line.write(data[sent:])
        except PORT_ERRORS as cause:
            raise self._failed("sending", cause) from cause

    def read(self, wanted: int) -> bytes:
        """Return up to `wanted` bytes, or more that wait already; empty after a slice of time without any."""
        try:
            if self._descriptor is not None:
                return _read(self._descriptor, wanted)
            first: bytes = self._line.read(1)
            if not first:
                return b""
            more = max(min(wanted - 1, 1 << 16), self._line.in_waiting)
            return first + bytes(self._line.read(more) if more > 0 else b"")
        except PORT_ERRORS as cause:
            raise self._failed("reading", cause) from cause

    def discard(self) -> int:
        """Throw away what waits, without waiting for more; return how many bytes that were at least."""
        try:
            waiting = int(self._line.in_waiting)
            if waiting:
                self._line.reset_input_buffer()
        except PORT_ERRORS as cause:
            raise self._failed("reading", cause) from cause
        return waiting

    def drain(self, *, now: Callable[[], float], longest: float) -> int:
        """Throw away what waits until the line is quiet for one slice; return how many bytes that were."""
        thrown, deadline = 0, now() + longest
        while now() < deadline and (data := self.read(1)):
            thrown += len(data)
        return thrown

    def close(self) -> None:
        """Close without waiting for bytes that nobody takes; raises nothing."""
        self._descriptor = None
        with suppress(*PORT_ERRORS, AttributeError):  # a socket has no output buffer to drop
            self._line.reset_output_buffer()
        with closing_connection(self._line), suppress(*PORT_ERRORS):
            self._line.close()

    def _failed(self, doing: str, cause: Exception) -> RigError:
        if isinstance(cause, serial.SerialTimeoutException):
            return AdapterSilent(f"{self.name}: timed out while {doing} (is the adapter switched on?)")
        reason = "the cable was pulled or another program reads the same port"
        return AdapterMissing(f"{self.name}: lost while {doing}: {reason} ({cause})")


def _write(descriptor: int, data: bytes) -> int:
    """Return how many bytes the line takes without waiting."""
    try:
        return os.write(descriptor, data)
    except BlockingIOError:
        return 0


def _read(descriptor: int, wanted: int) -> bytes:
    """Return what comes first within a slice of time, as much of it as is there; OSError when the far side is gone."""
    if not select.select([descriptor], [], [], SLICE)[0]:
        return b""
    try:
        data = os.read(descriptor, max(LOOK, min(wanted, 1 << 16)))
    except BlockingIOError:  # somebody else was quicker
        return b""
    if not data:
        raise OSError("the port has something to read, and it is nothing")
    return data


@contextmanager
def closing_connection(line: Any) -> Iterator[None]:
    """Close the TCP connection under a line, if it has one, after the block that closes the line.

    pyserial forgets to close a connection that the far side closed first.
    """
    connection = getattr(line, "_socket", None)
    try:
        yield
    finally:
        if connection is not None:
            connection.close()


@contextmanager
def leaving(leave: Callable[[], None]) -> Iterator[None]:
    """Run the block, then `leave`, whatever happened; what goes wrong then is a note on what went wrong first."""
    try:
        yield
    except BaseException as problem:
        try:
            leave()
        except RigError as second:
            problem.add_note(f"on the way out: {second}")
        raise
    else:
        leave()


@contextmanager
def open_port(name: str, *, baud: int, characters: Characters = Characters()) -> Iterator[Port]:
    """Open the port, alone; AdapterMissing says what to try when it cannot be opened."""
    if not name:
        raise AdapterMissing("no port is given for this adapter (try --port NAME=/dev/ttyUSB0)")
    if "://" in name and re.fullmatch(r"socket://[A-Za-z0-9.-]+:[0-9]{1,5}", name) is None:
        raise AdapterMissing(f"{name!r} is not a port (try a device path or socket://127.0.0.1:5025)")
    port = Port(_opened(name, baud, characters), name)
    try:
        yield port
    finally:
        port.close()


def _opened(name: str, baud: int, characters: Characters) -> serial.Serial:
    try:
        line: serial.Serial = serial.serial_for_url(
            name,
            do_not_open=True,
            baudrate=baud,
            bytesize=characters.data_bits,
            parity=_PARITY[characters.parity],
            stopbits=characters.stop_bits,
            timeout=SLICE,
            write_timeout=WRITE_TIME,
            exclusive=True,
        )
        line.dtr = False
        line.rts = False
        line.open()
    except ValueError as cause:
        raise AdapterMissing(f"{name!r} is not a port (try a device path or socket://127.0.0.1:5025)") from cause
    except PORT_ERRORS as cause:
        raise AdapterMissing(f"cannot open {name!r}: {_reason(cause)}") from cause
    if (connection := getattr(line, "_socket", None)) is not None:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)  # else a query after an order waits 40 ms
    return line


def _reason(cause: Exception) -> str:
    """Return the operator's words for the deepest error number found."""
    found: BaseException | None = cause
    while found is not None:
        number = next(iter(found.args), None)  # where both OSError and termios.error keep it
        if isinstance(found, PORT_ERRORS) and number in _REASONS:
            return _REASONS[number]
        found = found.__context__
    return str(cause)
