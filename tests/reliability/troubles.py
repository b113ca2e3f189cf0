"""What can go wrong in the middle of a step, done to a bench that is served in this process.

Bytes are changed where they leave the adapter, so that the host sees what a bad wire would give it. Everything that is
done to the served side is done in the server's own thread, at its next look.
"""

import os
import random
import signal
import subprocess
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, Literal

from benchtest.clock import RealClock
from benchtest.simulator.doors import Door

Trouble = Literal[
    "kill -9",
    "SIGTERM",
    "Ctrl-C",
    "adapter unplugged",
    "CAN unplugged",
    "adapter frozen",
    "garbage bytes",
    "half a reply",
    "duplicated reply",
    "late reply",
    "supply in current limit",
    "emergency stop",
]
TROUBLES: Final[tuple[Trouble, ...]] = Trouble.__args__  # type: ignore[attr-defined]
SIGNALS: Final = {"kill -9": signal.SIGKILL, "SIGTERM": signal.SIGTERM, "Ctrl-C": signal.SIGINT}
FROZEN: Final = 6.0
"""Seconds that a frozen adapter stays so: longer than the host's patience."""
LATE: Final = 1.6
"""Seconds that a late reply waits: longer than the host's patience for one exchange."""
CLOCK: Final = RealClock()


@dataclass(slots=True)
class TroubledDoor:
    """A door of a served bench whose bytes can go wrong once."""

    inner: Door
    seed: int
    spoil: str = ""
    """What shall happen to the next reply; empty for nothing."""
    pending: list[Callable[[], None]] = field(default_factory=list)
    """What the server's thread shall do at its next look."""
    _held: bytes = b""
    _until: float = 0.0
    _gone: bool = False

    @property
    def name(self) -> str:
        return self.inner.name

    @property
    def present(self) -> bool:
        return self.inner.present and not self._gone

    def watched(self) -> int:
        return -1 if self._gone else self.inner.watched()

    def look(self) -> None:
        while self.pending:
            self.pending.pop(0)()
        if self._held and CLOCK.now() >= self._until:
            held, self._held = self._held, b""
            self.inner.write(held)
        if not self._gone:
            self.inner.look()

    def read(self) -> bytes | None:
        return None if self._gone else self.inner.read()

    def write(self, data: bytes) -> int:
        if self._gone:
            return 0
        if not self.spoil:
            return self.inner.write(data)
        spoil, self.spoil = self.spoil, ""
        if spoil == "late reply":
            self._held, self._until = data, CLOCK.now() + LATE
        else:
            self.inner.write(self._spoilt(spoil, data))
        return len(data)

    def _spoilt(self, spoil: str, data: bytes) -> bytes:
        match spoil:
            case "garbage bytes":
                return random.Random(self.seed).randbytes(40) + data
            case "half a reply":
                return data[: len(data) // 2]
            case _:
                return data + data

    def unplug(self) -> None:
        """Be gone from now on: the host finds a dead line, the adapter a host that hung up."""
        line = self.inner.watched()
        self._gone = True
        if line >= 0:
            nothing = os.open(os.devnull, os.O_RDWR)
            os.dup2(nothing, line)  # closes the far end of the pseudo-terminal under the host
            os.close(nothing)

    def freeze(self) -> None:
        """Do nothing at all for a while, and nothing else of this server either."""
        CLOCK.sleep_until(CLOCK.now() + FROZEN)


@dataclass(frozen=True, kw_only=True, slots=True)
class Stage:
    """Where troubles are made."""

    process: "subprocess.Popen[str]"
    adapter: TroubledDoor
    can: TroubledDoor
    short_the_supply: Callable[[], None]
    trip_the_emergency_stop: Callable[[], None]

    def make(self, trouble: Trouble) -> None:
        """Make it happen now."""
        match trouble:
            case "kill -9" | "SIGTERM" | "Ctrl-C":
                self.process.send_signal(SIGNALS[trouble])
            case "adapter unplugged":
                self.adapter.pending.append(self.adapter.unplug)
            case "CAN unplugged":
                self.can.pending.append(self.can.unplug)
            case "adapter frozen":
                self.adapter.pending.append(self.adapter.freeze)
            case "supply in current limit":
                self.adapter.pending.append(self.short_the_supply)
            case "emergency stop":
                self.adapter.pending.append(self.trip_the_emergency_stop)
            case _:
                self.adapter.spoil = trouble
