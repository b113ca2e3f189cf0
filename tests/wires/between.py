"""Something on the wire between a run and a served bench: it delays answers, or lets the bench be called otherwise."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from urllib.parse import urlsplit


class Between:
    """A TCP port of its own, in front of another one."""

    def __init__(self, behind: str, *, called: bytes = b"") -> None:
        there = urlsplit(behind)
        self.delay = 0.0
        """Seconds that every piece of an answer is held back."""
        self.stopped = threading.Event()
        self._called = called
        self._behind = (there.hostname or "", there.port or 0)
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = f"socket://127.0.0.1:{self._door.getsockname()[1]}"

    def serve(self) -> None:
        """Take one host after the other, until the door is closed."""
        with suppress(OSError):
            while True:
                host, _ = self._door.accept()
                with host, socket.create_connection(self._behind) as bench:
                    there = threading.Thread(target=self._hand_on, args=(host, bench, False), daemon=True)
                    there.start()
                    self._hand_on(bench, host, True)
                    there.join(timeout=5)

    def _hand_on(self, source: socket.socket, target: socket.socket, answers: bool) -> None:
        with suppress(OSError):
            while data := source.recv(1 << 16):
                if answers:
                    self.stopped.wait(self.delay)
                    data = data.replace(b"Benchtest,Virtual bench adapter", self._called) if self._called else data
                target.sendall(data)
        for side in (source, target):
            with suppress(OSError):
                side.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        """Take nobody any more."""
        self.stopped.set()
        with suppress(OSError):
            self._door.shutdown(socket.SHUT_RDWR)
        self._door.close()


@contextmanager
def between(behind: str, *, called: bytes = b"") -> Iterator[Between]:
    """Give what stands before a served bench; `called` is who it then says it is."""
    made = Between(behind, called=called)
    thread = threading.Thread(target=made.serve, daemon=True)
    thread.start()
    try:
        yield made
    finally:
        made.close()
        thread.join(timeout=5)
