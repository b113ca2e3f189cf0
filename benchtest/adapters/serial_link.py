"""The board's link on a serial line, its frames and messages as the profile declares them.

One thread reads and one at a time writes. A frame counts when it is whole and sound; what is not is thrown away and
counted, and told as a remark. Where messages answer others nothing is sent while an answer is awaited, and an answer
that comes too late is kept as it came, without a name (`messages.Turns`).
"""

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Final

from benchtest.adapters.board_link import SEND_TIME, BoardLink, Heard
from benchtest.adapters.ports import Characters, Port, open_port
from benchtest.clock import Clock
from benchtest.errors import AdapterMissing, LinkLost, PlanError, RigError
from benchtest.fixture.document import Adapter
from benchtest.instruments import Link, Remark
from benchtest.messages import SerialCodec, SerialFormat, Splitter, Turns
from benchtest.procedure import LinkPlan

AT_ONCE: Final = 4096
"""Bytes that are read at once."""
RETRY: Final = 0.001
"""Seconds between two looks whether the line is free."""


class SerialLine:
    """A serial port with the board's frames on it."""

    def __init__(self, port: Port, *, codec: SerialCodec, bit_rate: float, round_trip: float, clock: Clock) -> None:
        self.name = port.name
        self._round_trip = round_trip
        self._port, self._codec, self._clock = port, codec, clock
        self._form: SerialFormat = codec.form
        self._character = self._form.bits_per_character / bit_rate
        self._splitter = Splitter(self._form)
        self._turns = Turns(self._form)
        self._turn = threading.Lock()
        """Held while turns are looked at; sender and receiver both do."""
        self._last_byte = clock.now()
        self._told = (0, 0, 0, 0, 0)
        port.discard()  # what came before nobody can date

    def receive(self) -> Sequence[Heard]:
        """Return the frames that have become whole."""
        try:
            data = self._port.read(AT_ONCE)
        except RigError as cause:
            raise LinkLost(str(cause)) from cause
        now = self._clock.now()
        if data:
            self._last_byte = now
            frames = self._splitter.feed(data)
        elif self._splitter.waits and now - self._last_byte > self._form.gap:
            frames = self._splitter.quiet()
        else:
            return ()
        return [self._heard(frame) for frame in frames]

    def send(self, message: str, identifier: int, data: bytes) -> float:
        """Send one frame as soon as the line is free."""
        del identifier
        latest = self._clock.now() + SEND_TIME
        while not self._free(message):
            if self._clock.now() > latest:
                raise LinkLost(f"{self.name}: the line was not free for {message} within {SEND_TIME:g} s")
            self._clock.sleep_until(self._clock.now() + RETRY)
        at = self._clock.now()
        answer = self._turns.answer_to(message)
        characters = len(data) + (self._codec.most_bytes(answer) if answer else 0)
        with self._turn:  # before it goes: the answer may be quicker than this thread
            self._turns.asked(message, at, on_the_wire=characters * self._character + self._round_trip)
        try:
            self._port.write(data)
        except RigError as cause:
            raise LinkLost(str(cause)) from cause
        return at

    def remarks(self) -> Sequence[Remark]:
        """Return in one sentence what was thrown away and what went unanswered since the last call."""
        seen = (
            self._splitter.noise,
            self._splitter.broken,
            self._turns.unanswered,
            self._turns.late,
            self._turns.doubted,
        )
        new = [now - before for now, before in zip(seen, self._told, strict=True)]
        self._told = seen
        what = (
            "bytes of noise",
            "broken frames",
            "questions without an answer in time",
            "answers too late",
            "answers that may have been an earlier question's",
        )
        said = ", ".join(f"{count} {words}" for count, words in zip(new, what, strict=True) if count)
        return [Remark(text=f"link {self.name}: {said}")] if said else []

    def close(self) -> None:
        """Do nothing: the port closes with the block that opened it."""

    def _free(self, message: str) -> bool:
        with self._turn:
            now = self._clock.now()
            return self._turns.free_at(message, now) <= now

    def _heard(self, frame: bytes) -> Heard:
        name, _ = self._codec.decode(0, frame)
        with self._turn:
            return Heard(self._last_byte, 0, frame, believed=self._turns.heard(name, self._last_byte))


@contextmanager
def open_serial(*, adapter: Adapter, port: str, plan: LinkPlan, clock: Clock) -> Iterator[Link]:
    """Open the link at `port` (or the fixture's), with the speed and characters of the board.

    Raises PlanError when the board's link is no serial line, AdapterMissing when the port cannot be opened.
    """
    name = port or adapter.port
    if not name:
        raise AdapterMissing("no port is given for the link (try --port NAME=/dev/ttyUSB0)")
    if plan.serial is None:
        raise PlanError([f"the board's link is a CAN bus, and the adapter at {name} is a serial port (try driver can)"])
    form = plan.serial
    characters = Characters(parity=form.parity, data_bits=form.data_bits, stop_bits=form.stop_bits)
    codec = SerialCodec(form)
    with open_port(name, baud=round(plan.bit_rate), characters=characters) as opened:
        line = SerialLine(opened, codec=codec, bit_rate=plan.bit_rate, round_trip=adapter.round_trip, clock=clock)
        link = BoardLink(line, codec=codec, clock=clock)
        try:
            yield link
        finally:
            link.close()
