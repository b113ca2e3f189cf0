"""Lines of text to an instrument behind a VISA resource name, through PyVISA and PyVISA-py (extra `visa`).

One resource manager per process, which PyVISA closes at its end, because closing it closes everybody's sessions. The
library is never asked to list resources: that broadcasts on the network. Facts of PyVISA-py: opening a port where
nobody listens succeeds, and the first write fails; a peer that has closed looks like one that is slow; a query after an
order over TCP waits 40 ms, because the collecting of small packets cannot be switched off.
"""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cache
from importlib import import_module
from typing import Any, Final

from benchtest.adapters.text_line import LONGEST, NEVER_QUIET, as_text
from benchtest.clock import Clock
from benchtest.errors import AdapterGarbled, AdapterMissing, AdapterSilent, RigError
from benchtest.fixture.dialect import ENDS, Terminations

SHORT: Final = 0.02
"""Wait in seconds of one look while a line is settling."""
WRITE_TIME: Final = 0.5
"""Longest time in seconds for one line to leave."""


class VisaLine:
    """A TextLine on an opened VISA session."""

    def __init__(self, *, session: Any, failures: tuple[type[Exception], ...], name: str, clock: Clock) -> None:
        self.name = name
        self.stale = 0
        self._session, self._failures, self._clock = session, failures, clock

    def send(self, text: str) -> None:
        self._session.timeout = round(WRITE_TIME * 1000)
        try:
            self._session.write(text)
        except self._failures as cause:
            raise self._failed(cause, "sending") from cause

    def receive(self, deadline: float) -> str:
        self._session.timeout = max(1, round((deadline - self._clock.now()) * 1000))
        try:
            line: bytes = self._session.read_raw(LONGEST)
        except self._failures as cause:
            raise self._failed(cause, "reading") from cause
        if not line.endswith(self._session.read_termination.encode()):
            raise AdapterGarbled(f"{self.name}: no whole line, only {line[:80]!r} (are its line ends right?)")
        return as_text(line, self.name)

    def settle(self, quiet: float) -> None:
        with suppress(NotImplementedError, *self._failures):  # not every kind of session has a device clear
            self._session.clear()
        if self._is_bus():
            return  # reading without having asked is an error there, and the device clear did it
        self._session.timeout = round(SHORT * 1000)
        begun = heard = self._clock.now()
        while (now := self._clock.now()) < min(heard + quiet, begun + NEVER_QUIET * quiet):
            with suppress(*self._failures):
                self.stale += len(self._session.read_raw(LONGEST))
                heard = now

    def _is_bus(self) -> bool:
        """Return whether the session carries messages instead of bytes (GPIB, USB, VXI-11, HiSLIP)."""
        name = self._session.resource_name.upper()
        return not (name.startswith("ASRL") or name.endswith("SOCKET"))

    def _failed(self, cause: Exception, doing: str) -> RigError:
        if getattr(cause, "abbreviation", "") == "VI_ERROR_TMO":
            return AdapterSilent(f"{self.name}: no answer (is it switched on, are its line ends right?)")
        return AdapterMissing(f"{self.name}: lost while {doing} ({cause})")


@cache
def _manager() -> tuple[Any, tuple[type[Exception], ...]]:
    """Return the one resource manager of this process, and what its sessions can raise."""
    try:
        pyvisa = import_module("pyvisa")
        manager = pyvisa.ResourceManager("@py")
    except (ImportError, ValueError) as cause:
        hint = "try, in the clone: .venv/bin/uv sync --inexact --no-dev --extra visa"
        raise AdapterMissing(f"VISA resources need the extra 'visa' ({hint})") from cause
    return manager, (pyvisa.errors.Error, OSError, ValueError)


@contextmanager
def open_visa(name: str, *, baud: int, ends: Terminations, clock: Clock) -> Iterator[VisaLine]:
    """Open a VISA resource by its name; AdapterMissing when it cannot be opened."""
    manager, failures = _manager()
    unknown: tuple[type[Exception], ...] = (*failures, AttributeError)  # PyVISA-py on a resource class it does not have
    rate = {"baud_rate": baud} if name.upper().startswith("ASRL") else {}
    try:
        session = manager.open_resource(
            name, read_termination=ENDS[ends.receive], write_termination=ENDS[ends.send], **rate
        )
    except unknown as cause:
        raise AdapterMissing(f"cannot open {name!r} by VISA: {cause} (is it on, is the name right?)") from cause
    try:
        yield VisaLine(session=session, failures=failures, name=name, clock=clock)
    finally:
        with suppress(*failures):
            session.close()
