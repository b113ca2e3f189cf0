"""Ctrl-C, SIGTERM and SIGHUP while a bench is in use: noted, and heeded where nothing is half done."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from benchtest.errors import Aborted


class Stop:
    """Whether somebody said stop; only noted, since a signal may come in the middle of a line of the journal.

    While a person is being asked nothing is half done, and a signal ends the asking at once.
    """

    def __init__(self) -> None:
        self.reason = ""
        self._asking = False
        self._unheeded = False

    def note(self, number: int, _frame: FrameType | None) -> None:
        by = "the operator" if number == signal.SIGINT else signal.Signals(number).name
        self.reason = self.reason or f"stopped by {by}"
        self._unheeded = True
        self._heed_while_asking()

    def __call__(self) -> str:
        self._unheeded = False
        return self.reason

    @contextmanager
    def asking(self) -> Iterator[None]:
        self._asking = True
        try:
            self._heed_while_asking()  # what came just before this would otherwise wait for an answer
            yield
        finally:
            self._asking = False

    def _heed_while_asking(self) -> None:
        if self._asking and self._unheeded:
            self._unheeded = False
            raise Aborted(self.reason)


@contextmanager
def stopped_by_signals() -> Iterator[Stop]:
    """Note Ctrl-C, SIGTERM and SIGHUP; the rig heeds them at its next wait or move and takes the bench to safety."""
    stop = Stop()
    names = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = [signal.signal(name, stop.note) for name in names]
    try:
        yield stop
    finally:
        for name, handler in zip(names, before, strict=True):
            signal.signal(name, handler)
