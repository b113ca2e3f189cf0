"""What the board says on its link: heartbeats, and a status message on every change and once a second.

On a serial line whose messages answer others, those come when they are asked for, and then only.

Signals that the profile names as feedback get their meaning from there. Of the others, `sequence` counts, `code` is
the status code shown, and a signal in volts is the supply; these are conventions of our own boards.
"""

from collections import deque
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Final

from benchtest.faults import Kind
from benchtest.messages import Codec, SerialFormat
from benchtest.profile.document import Profile
from benchtest.profile.serial_link import SerialLink
from benchtest.simulator.events import Events
from benchtest.simulator.firmware import Firmware
from benchtest.simulator.specimen import Specimen
from benchtest.simulator.supply import SimulatedSupply

STATUS_EVERY: Final = 1.0
"""Seconds; a status message comes at least this often."""

ANSWERING: Final = 0.25
"""Share of the permitted time after which an answer begins."""

SAID: Final = 1024
"""Frames that are kept to be sent again."""
NOTHING: Final = frozenset[str]()

Frame = tuple[float, int, bytes]
"""Moment in scene time, identifier (0 on a serial line), data."""


class Reporter:
    """The board's side of the link."""

    def __init__(
        self, events: Events, specimen: Specimen, firmware: Firmware, codec: Codec, power: SimulatedSupply
    ) -> None:
        link = specimen.profile.link
        assert link is not None
        self.code: Callable[[], int] = lambda: 0
        """What the status code lamp shows."""
        self._events, self._firmware, self._codec, self._power = events, firmware, codec, power
        self._link = link
        self._every = specimen.heartbeat()
        self._answers = _answers(link.resolved()) if isinstance(link, SerialLink) else {}
        self._only_asked = {message for message, _ in self._answers.values()}
        self._deaf = specimen.has(Kind.LINK_BIT_RATE, "link")
        self._silent = self._deaf or specimen.has(Kind.LINK_SILENT, "link")
        self._drops, self._jitter, self._scale = specimen.drops(), specimen.jitter(), specimen.scale()
        self._unlike = int(specimen.has(Kind.CODE_DISAGREES, "link"))
        self._mute = specimen.having(Kind.FEEDBACK_STUCK)
        """What is never reported as on."""
        self._meant = _meant(specimen.profile)
        self._unmeant = {
            message: [
                (signal, unit)
                for signal, unit in codec.signals(message).items()
                if message != link.status or signal not in dict(self._meant)
            ]
            for message in {link.status, link.board.message, *self._only_asked}
        }
        """Message → its signals that the profile gives no meaning, with their units."""
        self._frame = lru_cache(SAID)(self._encoded)  # a board says the same over and over
        self._rng = specimen.chance.stream("messages")
        self._sent: deque[Frame] = deque(maxlen=65536)  # nobody may be listening
        self._life = self._sequence = 0
        firmware.on_boot.append(self._boot)
        firmware.on_reset.append(self._end)
        firmware.on_change.append(self._status)

    def receive(self, identifier: int, data: bytes) -> None:
        """Hear a frame from the controller."""
        if self._deaf:
            return
        name, signals = self._codec.decode(identifier, data)
        if name == self._link.controller.message:
            self._firmware.beat()
        elif name == self._link.command:
            self._firmware.command(signals)
        if name in self._answers and self._firmware.running:
            answer, after = self._answers[name]
            self._events.after(after, lambda: self._answer(answer))

    def take_sent(self) -> list[Frame]:
        """Return the frames that were sent since the last call, in order of time."""
        sent = list(self._sent)
        self._sent.clear()
        return sent

    def _answer(self, message: str) -> None:
        if self._firmware.running:
            self._sequence = (self._sequence + 1) % 256
            self._send(message)

    def _boot(self) -> None:
        self._life += 1
        life = self._life
        self._events.after(self._every, lambda: self._beat(life))
        self._events.after(STATUS_EVERY, lambda: self._repeat(life))

    def _end(self) -> None:
        self._life += 1

    def _beat(self, life: int) -> None:
        if life == self._life:
            self._sequence = (self._sequence + 1) % 256
            self._say(self._link.board.message)
            off = float(self._rng.uniform(-self._jitter, self._jitter)) if self._jitter else 0.0
            self._events.after(self._every * (1 + off), lambda: self._beat(life))

    def _repeat(self, life: int) -> None:
        if life == self._life:
            self._status()
            self._events.after(STATUS_EVERY, lambda: self._repeat(life))

    def _status(self) -> None:
        self._say(self._link.status)

    def _say(self, message: str) -> None:
        if message not in self._only_asked:
            self._send(message)

    def _send(self, message: str) -> None:
        if self._silent or (self._drops and self._rng.random() < self._drops):
            return
        true = self._firmware.truth() - self._mute if message == self._link.status else NOTHING
        frame = self._frame(message, true, *[self._own(name, unit) for name, unit in self._unmeant[message]])
        self._sent.append((self._events.now, *frame))

    def _encoded(self, message: str, true: frozenset[str], *own: float) -> tuple[int, bytes]:
        """Return identifier and data of a message; in a status every signal with a meaning follows what is true."""
        values = {signal: value for (signal, _), value in zip(self._unmeant[message], own, strict=True)}
        if message == self._link.status:
            values |= {signal: float(name in true) for signal, name in self._meant}
        return self._codec.identifier(message), self._codec.encode(message, values, clip=True)

    def _own(self, signal: str, unit: str) -> float:
        if unit == "V":
            return self._power.inside.at(self._events.now) * self._scale
        if signal == "code":  # counted anew from the whole state of the board, so only where it is asked for
            return float(self.code() + self._unlike)
        return float(self._sequence) if signal == "sequence" else 0.0


def _answers(form: SerialFormat) -> Mapping[str, tuple[str, float]]:
    """Return the answer to each message that has one, and how many seconds after it that begins."""
    answers = (layout for layout in form.messages if layout.answers)
    return {layout.answers: (layout.name, ANSWERING * layout.within) for layout in answers}


def _meant(profile: Profile) -> list[tuple[str, str]]:
    """Return every signal that says of a relay, an input or a supply whether it is on, and whose it is."""
    named = (*profile.relays.items(), *profile.inputs.items(), *profile.supplies.items())
    return [(port.feedback, name) for name, port in named if port.feedback is not None]
