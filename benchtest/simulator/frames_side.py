"""A relay board on byte frames in front of the scene, at the pace of its line: a frame counts when its last bit is in.

It knows the frames of the fixture's templates and no other; a byte that begins none is thrown away. Like the real ones
it has no dead-man and does not notice that its host has gone.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Final

from benchtest.clock import Clock
from benchtest.fixture.frames import FramesAdapter, Template
from benchtest.simulator.doors import Door
from benchtest.simulator.section import Section

BITS_PER_BYTE: Final = 10


class FramesSide:
    """One door with a relay board behind it."""

    def __init__(self, door: Door, adapter: FramesAdapter, section: Section, clock: Clock) -> None:
        self.door = door
        self._adapter, self._section, self._clock = adapter, section, clock
        self._frames = self._known()
        self._inbox = b""
        self._heard_to = 0.0
        """When the bytes of the inbox have all arrived, at the line's pace."""
        self._outbox = b""
        self._said_to = 0.0

    def watched(self) -> Sequence[int]:
        return [self.door.watched()]

    @property
    def full(self) -> bool:
        return False

    def due(self) -> float:
        waiting = [
            moment for bytes_, moment in ((self._inbox, self._heard_to), (self._outbox, self._said_to)) if bytes_
        ]
        return min(waiting, default=math.inf)

    def turn(self) -> None:
        now = self._clock.now()
        self.door.look()
        if self.door.present and (data := self.door.read()):
            self._inbox += data
            self._heard_to = max(self._heard_to, now) + self._on_the_wire(len(data))
        if self._inbox and now >= self._heard_to:
            self._act()
        if self._outbox and now >= self._said_to:
            self.door.write(self._outbox)
            self._outbox = b""

    def end(self) -> None:
        self._section.all_off()

    def _act(self) -> None:
        """Carry out every whole frame in the inbox; what begins no frame is thrown away."""
        while self._inbox:
            whole = next((frame for frame in self._frames if self._inbox.startswith(frame)), None)
            if whole is not None:
                self._inbox = self._inbox[len(whole) :]
                self._say(self._frames[whole]())
            elif any(frame.startswith(self._inbox) for frame in self._frames):
                self._heard_to = math.inf  # the rest has yet to come
                return
            else:
                self._inbox = self._inbox[1:]
        self._heard_to = 0.0

    def _say(self, frame: bytes) -> None:
        if frame:
            self._outbox += frame
            self._said_to = max(self._said_to, self._clock.now()) + self._on_the_wire(len(frame))

    def _known(self) -> Mapping[bytes, Callable[[], bytes]]:
        """Return what the board does and answers, by the frame that it takes."""

        def switching(channel: int, number: int, *, on: bool) -> Callable[[], bytes]:
            def act() -> bytes:
                self._section.set(channel, float(on))
                reply = self._adapter.reply
                return reply.render(channel=number, on=on) if reply is not None else b""

            return act

        known: dict[bytes, Callable[[], bytes]] = {}
        for channel, entry in self._adapter.channels.items():
            if channel in self._section.outputs:
                for on, template in ((True, self._adapter.switch_on), (False, self._adapter.switch_off)):
                    frame = template.render(channel=entry.number, on=on)
                    known[frame] = switching(channel, entry.number, on=on)
        if self._adapter.status is not None:
            known[self._adapter.status.ask.render()] = self._status
        return known

    def _status(self) -> bytes:
        assert self._adapter.status is not None
        reply: Template = self._adapter.status.reply
        (name, length) = next(part for part in reply.parts if isinstance(part, tuple) and part[0] in {"bits", "bytes"})
        states = bytearray(length)
        for channel in self._section.energised():
            at = self._adapter.channels[channel].at
            if name == "bits":
                states[at // 8] |= 1 << at % 8
            else:
                states[at] = 1
        return reply.render(states=bytes(states))

    def _on_the_wire(self, count: int) -> float:
        return count * BITS_PER_BYTE / self._adapter.baud
