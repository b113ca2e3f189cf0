"""A far side in no time: answers come when they are asked for, and waiting only moves the clock.

One answer of a conversation is the spoilt one; those before it are true. Those after it are true or missing, by the
length of the spoilt one, so that both ways out of it are gone.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from benchtest.clock import VirtualClock

WAIT = 0.1
"""Seconds that a look at a silent line takes."""
PIECE = 61
"""Most bytes that come at once: long answers come in pieces."""
Answering = Callable[[bytes], bytes]
"""One line or frame heard → what is said to it; empty for nothing."""


@dataclass(slots=True)
class FarSide:
    """A port as the drivers use it."""

    clock: VirtualClock
    answer: Answering
    spoil_at: int = -1
    """Which of the answers is the spoilt one; -1 for none."""
    spoilt: bytes = b""
    name: str = "a line"
    said: list[bytes] = field(default_factory=list)
    """Every true answer so far."""
    heard: list[bytes] = field(default_factory=list)
    """What each of them answered."""
    _coming: bytes = b""

    def write(self, data: bytes) -> None:
        answer = self.answer(data)
        if not answer:
            return
        number = len(self.said)
        self.said.append(answer)
        self.heard.append(data)
        if number == self.spoil_at:
            answer = self.spoilt
        elif self.spoil_at >= 0 and number > self.spoil_at and len(self.spoilt) % 2:
            answer = b""
        self._coming += answer

    def read(self, wanted: int) -> bytes:
        if not self._coming:
            self.clock.sleep_until(self.clock.now() + WAIT)
            return b""
        count = max(PIECE, min(wanted, 4096))
        data, self._coming = self._coming[:count], self._coming[count:]
        return data

    def discard(self) -> int:
        thrown, self._coming = len(self._coming), b""
        return thrown

    def drain(self, **_: object) -> int:
        return self.discard()

    @property
    def may_be_true(self) -> bool:
        """Whether what came after the spoilt answer, and so what was returned, may be true answers."""
        return self.spoil_at < 0 or not len(self.spoilt) % 2
