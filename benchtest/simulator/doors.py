"""Where a host comes in: a pseudo-terminal or a TCP port on this machine. Non-blocking; one host at a time.

A pseudo-terminal's own end is closed at once: so the master says (POLLHUP, EIO) when the host has gone, and the
outputs can drop without waiting for the dead-man. Raw mode is set at creation, because a cooked one would echo what
we write back to us until the host opens it. POSIX only for the pseudo-terminal.
"""

import errno
import os
import select
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from typing import Final, Protocol

from benchtest.errors import PlanError

BLOCK: Final = 1 << 16
OUTBOX: Final = 1 << 28
"""Most bytes waiting for a host that does not read."""


class Door(Protocol):
    """One place where one host at a time can be."""

    @property
    def name(self) -> str:
        """What the host opens."""
        ...

    @property
    def present(self) -> bool:
        """Whether a host is here."""
        ...

    def watched(self) -> int:
        """Return the descriptor to wait on; -1 when there is nothing to wait on but time."""
        ...

    def look(self) -> None:
        """See whether somebody came."""
        ...

    def read(self) -> bytes | None:
        """Return what came, empty when nothing; None when the host has gone."""
        ...

    def write(self, data: bytes) -> int:
        """Return how many bytes the line took; 0 when it is full or the host has gone."""
        ...


class PtyDoor:
    """A pseudo-terminal; `name` is what the host opens."""

    def __init__(self, master: int, name: str) -> None:
        self.name = name
        self.present = False
        self._master = master

    def watched(self) -> int:
        return self._master if self.present else -1

    def look(self) -> None:
        if not self.present:
            poll = select.poll()
            poll.register(self._master, select.POLLIN)
            self.present = not any(event & select.POLLHUP for _, event in poll.poll(0))

    def read(self) -> bytes | None:
        try:
            data = os.read(self._master, BLOCK)
        except BlockingIOError:
            return b""
        except OSError as problem:
            if problem.errno != errno.EIO:
                raise
            data = b""
        self.present = bool(data)
        return data or None

    def write(self, data: bytes) -> int:
        try:
            return os.write(self._master, data[:BLOCK])
        except (BlockingIOError, OSError):
            return 0


class TcpDoor:
    """A TCP port of this machine; a second host is turned away."""

    def __init__(self, listener: socket.socket) -> None:
        host, port = listener.getsockname()
        self.name = f"socket://{host}:{port}"
        self.present = False
        self._listener = listener
        self._host: socket.socket | None = None

    def watched(self) -> int:
        return self._listener.fileno() if self._host is None else self._host.fileno()

    def look(self) -> None:
        try:
            host, _ = self._listener.accept()
        except BlockingIOError:
            return
        if self._host is not None:
            host.close()
            return
        host.setblocking(False)
        host.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._host, self.present = host, True

    def read(self) -> bytes | None:
        if self._host is None:
            return b""
        try:
            data = self._host.recv(BLOCK)
        except BlockingIOError:
            return b""
        except OSError:
            data = b""
        if not data:
            self.hang_up()
        return data or None

    def write(self, data: bytes) -> int:
        try:
            return 0 if self._host is None else self._host.send(data[:BLOCK])
        except OSError:  # full, or gone: reading will tell
            return 0

    def hang_up(self) -> None:
        """Close the connection, if there is one."""
        if self._host is not None:
            self._host.close()
        self._host, self.present = None, False


@contextmanager
def open_pty() -> Iterator[PtyDoor]:
    """Make a pseudo-terminal in raw mode."""
    try:
        set_raw = import_module("tty").setraw
    except ImportError:
        raise PlanError(["this system has no pseudo-terminals (try --tcp PORT)"]) from None
    master, own_end = os.openpty()
    try:
        set_raw(own_end)
        name = os.ttyname(own_end)
        os.close(own_end)
        os.set_blocking(master, False)
        yield PtyDoor(master, name)
    finally:
        os.close(master)


@contextmanager
def open_tcp(port: int) -> Iterator[TcpDoor]:
    """Listen on `port` of 127.0.0.1, 0 for any free one; PlanError when it is taken."""
    with socket.socket() as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind(("127.0.0.1", port))
        except OSError as problem:
            reason = f"cannot listen on port {port}: {problem.strerror} (try --tcp 0 for any free one)"
            raise PlanError([reason]) from problem
        listener.listen(1)
        listener.setblocking(False)
        door = TcpDoor(listener)
        try:
            yield door
        finally:
            door.hang_up()
