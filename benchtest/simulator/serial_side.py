"""The board's end of its serial link at one door: bytes come in, whole frames reach the board, its own go out.

Bytes take no time on this wire. A host that does not read loses frames, whole ones.
"""

import math
from collections.abc import Sequence
from typing import Final

from benchtest.clock import Clock
from benchtest.messages import SerialFormat, Splitter
from benchtest.simulator.doors import Door
from benchtest.simulator.server import World

BYTES_WAITING: Final = 1 << 16
"""Bytes kept for a host that does not read."""


class SerialSide:
    """One door with the board's serial port behind it."""

    def __init__(self, door: Door, world: World, form: SerialFormat, clock: Clock) -> None:
        self.door = door
        self._world, self._form, self._clock = world, form, clock
        self._splitter = Splitter(form)
        self._last_byte = 0.0
        self._outbox = b""

    def watched(self) -> Sequence[int]:
        return [self.door.watched()]

    @property
    def full(self) -> bool:
        return bool(self._outbox)

    def due(self) -> float:
        return self._last_byte + self._form.gap if self._splitter.waits else math.inf

    def end(self) -> None:
        """Do nothing: it switches nothing."""

    def turn(self) -> None:
        """Give the board the frames that came, and the host those that the board sent."""
        self.door.look()
        sent = self._world.take_sent()
        if not self.door.present:
            self._splitter, self._outbox = Splitter(self._form), b""
            return
        while data := self.door.read():
            self._last_byte = self._clock.now()
            self._world.advance(self._last_byte)  # the last look may be long past: no effect before its cause
            self._take(self._splitter.feed(data))
        if self._splitter.waits and self._clock.now() >= self.due():
            self._take(self._splitter.quiet())
        if len(self._outbox) < BYTES_WAITING:
            self._outbox += b"".join(frame for _, _, frame in sent)
        while self._outbox and (taken := self.door.write(self._outbox)):
            self._outbox = self._outbox[taken:]

    def _take(self, frames: Sequence[bytes]) -> None:
        for frame in frames:
            self._world.receive(0, frame)
