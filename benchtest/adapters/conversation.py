"""Asking and ordering a foreign instrument, one request at a time, so that no answer is taken for another's.

Its answers carry no tag. So after silence or garbage: wait until the line is quiet, clear the device where that is
possible, ask who it is, and let the caller read back every set-point and output before anything else happens. That
failing too is a fault of the bench. A query is then asked a second time; an order is sent once in its life, and whether
it was carried out is told by the error queue and by what was read back.

Source: IEEE 488.2 for the message exchange (a new message before the answer was read interrupts the query), SCPI-99
volume 1 for the error queue; clauses from memory.
"""

import re
from collections import deque
from collections.abc import Callable
from typing import Final, TypeVar

from benchtest.adapters import wire
from benchtest.adapters.text_line import TextLine
from benchtest.clock import Clock
from benchtest.errors import AdapterGarbled, AdapterMissing, AdapterRefused, AdapterSilent, RigError
from benchtest.fixture.dialect import Dialect

Value = TypeVar("Value")

QUEUE: Final = 64
"""Most entries taken from an error queue at once; more means that it never empties."""
QUIET: Final = 0.05
"""Seconds without a byte after which a line counts as quiet when nothing is known to be under way."""
LEAVING: Final = 0.6
"""Longest wait in seconds for one answer on the way out."""


class Echoed(AdapterGarbled):
    """The line gives back what was sent."""


class Conversation:
    """Talks with one instrument over one line. One thread."""

    def __init__(
        self, *, line: TextLine, words: Dialect, identity: str, clock: Clock, verify: Callable[[], None]
    ) -> None:
        self.retries = 0
        """Queries asked a second time."""
        self._line, self._words, self._identity, self._clock = line, words, identity, clock
        self._verify = verify
        self._sent: deque[str] = deque(maxlen=4)
        self._selected = ""
        self._patience = words.slowest
        self._may_recover = True

    @property
    def name(self) -> str:
        """Where the instrument is."""
        return self._line.name

    def ask(self, query: str) -> str:
        """Return the answer to a query; a second time after a recovery, when the first brought silence or garbage."""
        try:
            return self._asked(query)
        except Echoed:
            raise
        except (AdapterSilent, AdapterGarbled) as first:
            self._recover(first)
            self.retries += 1
            return self._asked(query)

    def number(self, query: str) -> float:
        """Return the answer as a number; over-range is infinite. AdapterGarbled when it is none."""
        return self._read(query, wire.read_number)

    def known(self, query: str) -> float:
        """Return the answer as a number that is one, if infinite. AdapterGarbled when it is none."""
        return self._read(query, wire.read_known)

    def register(self, query: str) -> int:
        """Return the answer as bits: a whole number of at most 32. AdapterGarbled when it is none."""
        return self._read(query, _read_register)

    def switch(self, query: str) -> bool:
        """Return the answer as a state of two. AdapterGarbled when it is none."""
        return self._read(query, _read_switch)

    def order(self, order: str) -> None:
        """Send an order, once. AdapterRefused when the error queue then has an entry."""
        self._send(order)
        self.check(f" after {order!r}")

    def select(self, order: str) -> None:
        """Take one output in hand; a recovery comes back to it."""
        self._selected = order
        self.order(order)

    def check(self, when: str = "") -> None:
        """Take all entries from the error queue; AdapterRefused when there are any."""
        if found := self._errors():
            raise AdapterRefused(f"{self.name}: the instrument reports {'; '.join(map(str, found))}{when}")

    def recognise(self) -> None:
        """Make sure who it is before anything else. AdapterMissing when it is somebody else."""
        self._line.settle(QUIET)
        found = self._identified_twice()
        if not found.startswith(self._identity):
            raise AdapterMissing(f"{self.name}: found {found!r}, expected {self._identity!r} (is this the right port?)")

    def start_anew(self) -> None:
        """Empty the error queue, whatever is in it."""
        self._send(self._words.clear.fill())
        self._errors()

    def hurry(self) -> None:
        """From now on wait no longer than necessary, and recover from nothing: this is the way out."""
        self._give_up()
        self._line.settle(QUIET)

    def say(self, order: str) -> None:
        """Send an order without looking at the error queue; what counts is read back by the caller."""
        self._send(order)

    # ------------------------------------------------------------ exchanges

    def _identified_twice(self) -> str:
        """Ask who it is, again after silence: whatever was half sent before is ended by the first line."""
        try:
            return self._asked(self._words.identify.fill())
        except Echoed:
            raise
        except (AdapterSilent, AdapterGarbled):
            self._line.settle(self._words.slowest)
            return self._asked(self._words.identify.fill())

    def _send(self, text: str) -> None:
        self._sent.append(text)
        self._line.send(text)

    def _asked(self, query: str) -> str:
        self._send(query)
        try:
            answer = self._line.receive(self._clock.now() + self._patience)
        except AdapterSilent as silent:
            raise AdapterSilent(f"{silent}, to {query!r}") from silent
        if any(answer.startswith(sent) for sent in self._sent):
            raise Echoed(
                f"{self.name}: {answer[:60]!r} is what was sent, given back by the line "
                "(try switching off the instrument's echo, or the local echo of a two-wire RS-485 adapter)"
            )
        return answer

    def _read(self, query: str, read: Callable[[str], Value]) -> Value:
        answer = self.ask(query)
        try:
            return read(answer)
        except AdapterGarbled as cause:
            raise AdapterGarbled(f"{self.name}: {cause}, to {query!r}") from cause

    def _errors(self) -> list[wire.Reported]:
        found: list[wire.Reported] = []
        while len(found) < QUEUE:
            entries = self._read(self._words.errors.fill(), _read_errors)
            if not entries:
                return found
            found += entries
        raise AdapterRefused(f"{self.name}: an error queue that never empties: {found[-1]}")

    def _recover(self, first: RigError) -> None:
        """Make sure that the line is quiet, who is there, and that every set-point is what was ordered."""
        if not self._may_recover:
            raise first
        self._may_recover, selected = False, self._selected
        try:
            self._line.settle(self._words.slowest)
            found = self._asked(self._words.identify.fill())
            if not found.startswith(self._identity):
                raise AdapterMissing(f"{self.name}: {found!r} answers now instead of {self._identity!r}")
            self._verify()
            if selected:
                self.select(selected)
        except (AdapterSilent, AdapterGarbled) as second:
            self._give_up()
            raise type(second)(f"{first}; and again: {second} (a fault of the bench)") from second
        self._may_recover = True

    def _give_up(self) -> None:
        """From now on wait no longer than necessary, and recover from nothing."""
        self._patience, self._may_recover = min(self._patience, LEAVING), False


def _read_register(text: str) -> int:
    value = wire.read_finite(text)
    if not (value.is_integer() and 0 <= value < 1 << 32):
        raise AdapterGarbled(f"expected the bits of a register as a whole number, got {text[:40]!r}")
    return int(value)


def _read_switch(text: str) -> bool:
    match text.upper().lstrip("+"):
        case "1" | "ON":
            return True
        case "0" | "OFF":
            return False
        case _:
            raise AdapterGarbled(f"expected 1, 0, ON or OFF, got {text[:40]!r}")


def _read_errors(text: str) -> tuple[wire.Reported, ...]:
    """Return the entries of an answer; a space after the comma and a bare 0 are common."""
    if re.fullmatch(r"[+-]?0+", text):
        return ()
    return wire.read_errors(re.sub(r"^([+-]?[0-9]+) *, *", r"\1,", text))
