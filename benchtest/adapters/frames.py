"""Relay boards on fixed byte frames as a bench adapter: drives only, ordered by templates of the fixture.

Most such boards say nothing back. Where the fixture has a reply template every order must be answered by it; where it
has a status query every order is read back, and only then can the safe state be. Frames have no numbers, so after
silence or garbage nothing is asked until the slowest answer would have come, and the line is drained. Orders are sent
once. There is no dead-man: the fixture says so, and whoever plans with it is told.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final, Protocol

from benchtest.adapters.ports import leaving, open_port
from benchtest.clock import Clock
from benchtest.errors import AdapterGarbled, AdapterRefused, AdapterSilent, RigError
from benchtest.fixture.document import HardLimits
from benchtest.fixture.frames import FrameChannel, FramesAdapter, Template
from benchtest.instruments import Device

BITS_PER_BYTE: Final = 10
"""Start, eight data, stop."""


class Line(Protocol):
    """A port as `adapters.ports` opens it."""

    name: str

    def write(self, data: bytes) -> None: ...
    def read(self, wanted: int) -> bytes: ...
    def discard(self) -> int: ...


class FramesBench:
    """A relay board. One thread at a time."""

    def __init__(self, *, port: Line, adapter: FramesAdapter, clock: Clock) -> None:
        self.stale = 0
        """Bytes that nobody had asked for, thrown away."""
        self._port, self._adapter, self._clock = port, adapter, clock
        self._ordered: dict[int, bool] = {}
        self._free_at = self._rest_until = clock.now()

    # ------------------------------------------------------------ who it is, and that we live

    def identity(self) -> str:
        return f"relay board on fixed frames at {self._port.name}, which does not say who it is"

    def beat(self) -> None:
        """Do nothing: such a board has no dead-man to keep content."""

    def check(self) -> None:
        """Do nothing: such a board keeps no errors."""

    # ------------------------------------------------------------ outputs

    def set(self, channel: int, value: float) -> None:
        entry = self._entry(channel)
        if value not in {0, 1}:
            raise AdapterRefused(f"channel {channel} cannot be set to {value:g}")
        on = bool(value)
        self._ordered[channel] = True  # may be on from here on, until an order to switch off has gone through
        frame = (self._adapter.switch_on if on else self._adapter.switch_off).render(channel=entry.number, on=on)
        self._order(channel, frame, entry, on=on)
        if self._adapter.status is not None and (channel in self.energised()) != on:
            raise AdapterRefused(
                f"{self._port.name}: channel {channel} does not follow, it reads {'off' if on else 'on'}"
            )
        self._ordered[channel] = on

    def off(self, channel: int) -> None:
        self.set(channel, 0.0)

    def all_off(self) -> None:
        """Order every relay off; after a first problem without waiting for answers, and that problem is raised."""
        problems: list[RigError] = []
        for channel, entry in self._adapter.channels.items():
            try:
                if problems:
                    self._send(self._adapter.switch_off.render(channel=entry.number))
                else:
                    self.off(channel)
            except RigError as problem:
                problems.append(problem)
        if problems:
            raise problems[0]

    def energised(self) -> frozenset[int]:
        """Return the channels that are on: as the board says, or as it was last ordered where it says nothing."""
        status = self._adapter.status
        if status is None:
            return frozenset(channel for channel, on in self._ordered.items() if on)
        fields = self._exchange(status.ask.render(), status.reply, "the status query")
        if states := fields.get("bytes"):
            return frozenset(number for number, entry in self._adapter.channels.items() if states[entry.at])
        states = fields["bits"]
        return frozenset(
            number for number, entry in self._adapter.channels.items() if states[entry.at // 8] >> entry.at % 8 & 1
        )

    # ------------------------------------------------------------ frames

    def _order(self, channel: int, frame: bytes, entry: FrameChannel, *, on: bool) -> None:
        reply = self._adapter.reply
        if reply is None:
            self._send(frame)
            self._clock.sleep_until(self._free_at)  # on the board only when the last bit has left
            return
        fields = self._exchange(frame, reply, f"an order to channel {channel}")
        answered = (fields.get("channel", bytes([entry.number])), fields.get("state", bytes([on])))
        if answered != (bytes([entry.number]), bytes([on])):
            raise AdapterGarbled(f"{self._port.name}: an answer to something else than an order to channel {channel}")

    def _exchange(self, frame: bytes, reply: Template, what: str) -> dict[str, bytes]:
        self._send(frame)
        deadline = self._free_at + self._adapter.slowest + self._on_the_wire(len(reply))
        came = b""
        while len(came) < len(reply) and self._clock.now() < deadline:
            came += self._port.read(len(reply) - len(came))
        self._rest_until = self._clock.now() + self._adapter.pause
        try:
            return reply.read(came[: len(reply)])
        except ValueError as cause:
            self._free_at = deadline + self._adapter.slowest  # until then a late answer may still come
            if not came:
                raise AdapterSilent(f"{self._port.name}: no answer to {what} (is the board switched on?)") from None
            raise AdapterGarbled(f"{self._port.name}: {came.hex(' ').upper()} in answer to {what}: {cause}") from cause

    def _send(self, frame: bytes) -> None:
        self._clock.sleep_until(max(self._free_at, self._rest_until))
        self.stale += self._port.discard()
        self._port.write(frame)
        self._free_at = self._clock.now() + self._on_the_wire(len(frame))
        self._rest_until = self._free_at + self._adapter.pause

    def _on_the_wire(self, count: int) -> float:
        return count * BITS_PER_BYTE / self._adapter.baud

    def _entry(self, channel: int) -> FrameChannel:
        if channel not in self._adapter.channels:
            raise AdapterRefused(f"channel {channel} is no relay of {self._port.name}")
        return self._adapter.channels[channel]

    # ------------------------------------------------------------ coming and going

    def leave(self) -> None:
        """Everything off, read back where the board can tell."""
        self.all_off()
        if self._adapter.status is not None and (left := sorted(self.energised())):
            raise AdapterRefused(f"{self._port.name}: channels {', '.join(map(str, left))} are still on")


@contextmanager
def open_frames(*, adapter: FramesAdapter, port: str, limits: HardLimits, clock: Clock) -> Iterator[Device]:
    """Open the board at `port` (or the fixture's); everything is ordered off on the way in and out.

    Raises AdapterMissing, AdapterSilent, AdapterGarbled or AdapterRefused; on the way out only when nothing else is
    being raised already.
    """
    del limits  # its contacts switch what the fixture wires to them
    with open_port(port or adapter.port, baud=round(adapter.baud)) as line:
        line.drain(now=clock.now, longest=adapter.slowest)
        bench = FramesBench(port=line, adapter=adapter, clock=clock)
        bench.leave()
        with leaving(bench.leave):
            yield Device(identified=bench, outputs=bench)
