"""The served board's CAN side on a busy computer."""

import os
import tty
from dataclasses import dataclass, field

from benchtest.messages import EXTENDED
from benchtest.simulator.doors import open_pty
from benchtest.simulator.server import CanSide


@dataclass
class HandClock:
    """A clock that is set by hand."""

    at: float = 0.0

    def now(self) -> float:
        return self.at

    def sleep_until(self, deadline: float) -> None:
        self.at = max(self.at, deadline)


@dataclass
class Ledger:
    """A world that writes down when each frame acted."""

    at: float = 0.0
    received: list[tuple[float, int]] = field(default_factory=list)
    next_event: float | None = None

    def advance(self, to: float) -> None:
        self.at = max(self.at, to)

    def receive(self, identifier: int, data: bytes) -> None:
        assert b"\xaa" == data
        self.received.append((self.at, identifier))

    def take_sent(self) -> list[tuple[float, int, bytes]]:
        return []


def test_an_identifier_of_29_bits_is_marked() -> None:
    """T00000123 reaches the board marked as one of 29 bits, so that nobody takes it for its 0x123."""
    world = Ledger()
    with open_pty() as door:
        host = os.open(door.name, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(host)
        side = CanSide(door, world, HandClock())
        os.write(host, b"O\rT000001231AA\rT18FEF1231AA\r")
        side.turn()
        said = os.read(host, 100)
        os.close(host)

    assert (b"\rZ\rZ\r", [(0.0, EXTENDED | 0x123), (0.0, EXTENDED | 0x18FEF123)]) == (said, world.received)


def test_no_frame_acts_before_it_came() -> None:
    """The world looked at 1.00 s, the frame came at 1.02 s: the board is told at 1.02 s."""
    clock, world = HandClock(), Ledger()
    with open_pty() as door:
        host = os.open(door.name, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(host)
        side = CanSide(door, world, clock)
        world.advance(1.0)
        os.write(host, b"O\rt1231AA\r")
        clock.at = 1.02
        side.turn()
        os.close(host)

    assert [(1.02, 0x123)] == world.received
