"""The greenhouse board as one would first write it: everything moved on by 10 µs, again and again, in plain Python.

Euler's method on supplies, coils, armatures and lamps, counters for link and program, and every hundred microseconds a
reading of every channel. Parts are those of the same specimen; noise, inputs, interlocks and faults are left out, which
is in its favour.
"""

from typing import Final

from benchtest.simulator.board import VirtualBoard
from benchtest.simulator.lamp import FORWARD, GLOW
from benchtest.simulator.relay import RelayBuild
from benchtest.simulator.supply import RISE

STEP: Final = 10e-6
"""Seconds; a hundredth of what the fastest relay takes to bounce."""
EVERY: Final = 10
"""Steps from one reading to the next: 10 kHz."""
HOP: Final = 0.4e-3
"""Seconds that a contact stays away when it bounces."""


class SteppedRelay:
    """Coil, armature and contacts."""

    def __init__(self, build: RelayBuild) -> None:
        self.coil, self.build = build.coil, build
        self.on = self.pulled = False
        self.amps, self.henry = 0.0, build.coil.open_inductance
        self.travelled = self.landed = 0.0
        self.moving = False
        self.made, self.broken = False, True
        """The make contact is closed; the break contact is."""

    def step(self, volts: float) -> None:
        """Move on by one step with `volts` at the board."""
        coil, slope = self.coil, 0.0
        drive = volts if self.on else -coil.clamp if self.amps > 0.0 else 0.0
        if not self.moving and (self.amps >= coil.pull_in if not self.pulled else self.amps <= coil.drop_out):
            self.moving, self.travelled = self.on is not self.pulled, 0.0
        if self.moving:
            travel = coil.travel_off if self.pulled else coil.travel_on
            change = coil.closed_inductance - coil.open_inductance
            slope = (-change if self.pulled else change) / travel
            self.travelled += STEP
            if self.travelled >= travel - self.build.transfer:
                self.made = self.broken = False
            if self.travelled >= travel:
                self.moving, self.pulled, self.landed = False, not self.pulled, 0.0
        self.amps = max(0.0, self.amps + STEP * (drive - (coil.resistance + slope) * self.amps) / self.henry)
        self.henry += STEP * slope
        self.bounce()

    def bounce(self) -> None:
        """Let the side that was landed on touch and fly off again until it has settled."""
        contact = self.build.make if self.pulled else self.build.break_
        if self.moving or contact is None:
            return
        self.landed += STEP
        touches = self.landed >= contact.bounce or int(self.landed / HOP) % 2 == 0
        self.made, self.broken = (touches, False) if self.pulled else (False, touches)


class SteppedBoard:
    """Supplies, relays, lamps, program and link of one specimen, with the power on."""

    def __init__(self, board: VirtualBoard, *, heartbeat: float) -> None:
        self.now, self.steps = 0.0, 0
        self.nominal = {name: supply.build.nominal for name, supply in board.supplies.items()}
        self.volts = dict(self.nominal)
        self.relays = {name: SteppedRelay(relay.build) for name, relay in board.relays.items()}
        self.lamps = dict.fromkeys(board.profile.lamps, 0.0)
        self.lamp_of = {name: relay.lamp for name, relay in board.profile.relays.items() if relay.lamp is not None}
        self.program = board.firmware.build
        self.due: list[tuple[float, str, bool]] = []
        self.every = heartbeat
        self.heard_at = self.next_heard = self.next_said = 0.0
        self.alive = True
        self.said: list[tuple[float, tuple[bool, ...]]] = []
        self.readings: list[list[float]] = []

    def command(self, relay: str, *, on: bool) -> None:
        """Say on the link what a relay shall do."""
        self.due.append((self.now + self.program.handling + self.program.cycle, relay, on))

    def run(self, seconds: float) -> None:
        """Move on by some seconds."""
        for _ in range(round(seconds / STEP)):
            self.step()

    def step(self) -> None:
        """Move everything on by one step."""
        self.now += STEP
        for name, volts in self.volts.items():
            self.volts[name] = volts + STEP * (self.nominal[name] - volts) / RISE
        self.listen_and_speak()
        for relay in self.relays.values():
            relay.step(self.volts["main"])
        for name, lamp in self.lamp_of.items():
            volts = self.volts["main"] if self.relays[name].on else 0.0
            target = max(0.0, (volts - FORWARD) / (self.nominal["main"] - FORWARD))
            self.lamps[lamp] += STEP * (target - self.lamps[lamp]) / GLOW
        self.steps += 1
        if self.steps % EVERY == 0:
            self.read()

    def listen_and_speak(self) -> None:
        """Look whether a heartbeat or a command is due, or missing."""
        if self.now >= self.next_heard:
            self.heard_at, self.next_heard = self.now, self.next_heard + self.every
        self.alive = self.now - self.heard_at < self.program.lost_after
        if self.now >= self.next_said:
            self.said.append((self.now, tuple(relay.on for relay in self.relays.values())))
            self.next_said += self.every
        for order in [order for order in self.due if self.now >= order[0]]:
            self.due.remove(order)
            self.relays[order[1]].on = order[2] and self.alive

    def read(self) -> None:
        """Read every channel."""
        values = [*self.volts.values(), *self.lamps.values()]
        for relay in self.relays.values():
            values.append(self.volts["main"] if relay.on else -0.7 if relay.amps > 0.0 else 0.0)
            if relay.build.make is not None:
                values.append(relay.build.make.closed_volts if relay.made else relay.build.make.open_volts)
            if relay.build.break_ is not None:
                values.append(relay.build.break_.closed_volts if relay.broken else relay.build.break_.open_volts)
        values.append(sum(relay.amps for relay in self.relays.values()))
        self.readings.append(values)
