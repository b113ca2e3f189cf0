"""The controller's end of the board's link, in this process: encodes, sends, listens, keeps the heartbeat."""

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from operator import attrgetter

from benchtest.clock import Clock
from benchtest.errors import AdapterRefused
from benchtest.instruments import Message, Remark
from benchtest.messages import Codec
from benchtest.simulator.reporting import SAID, Frame
from benchtest.simulator.scene import Scene


class SimulatedLink:
    """A controller on the link of the scene's board."""

    def __init__(self, scene: Scene, clock: Clock, codec: Codec) -> None:
        self._scene, self._clock = scene, clock
        self._codec = codec
        self._last: dict[str, dict[str, float]] = {}
        self._frames: dict[str, tuple[int, bytes]] = {}
        """What was last sent of each message."""
        self._read = lru_cache(SAID)(self._decoded)  # a link says the same over and over
        self._sent: list[Frame] = []
        self._beating = 0

    def heartbeat(self, message: str, *, every: float) -> None:
        """Send `message` every `every` seconds from now on."""
        self._catch_up()
        if not every > 0:
            raise AdapterRefused(f"a heartbeat every {every!r} s is not permitted (more than 0 s)")
        self._known(message)
        self._beating += 1
        self._beat(message, every, self._beating)

    def silence(self) -> None:
        """Stop the heartbeat."""
        self._catch_up()
        self._beating += 1

    def send(self, message: str, signals: Mapping[str, float]) -> float:
        """Send one message now; signals left out keep their last value. Return when it went."""
        self._catch_up()
        known = self._known(message)
        if unknown := signals.keys() - known:
            raise AdapterRefused(f"message {message} has no signal {min(unknown)!r} (it has: {', '.join(known)})")
        return self._put(message, signals)

    def messages(self) -> Sequence[Message]:
        """Return what was sent and received since the last call, in order of time."""
        self._catch_up()
        sent = self._messages(self._sent, sent=True)
        heard = self._messages(self._scene.take_sent(), sent=False)
        self._sent.clear()
        return sorted(sent + heard, key=attrgetter("at"))

    def check(self) -> None:
        """Do nothing: what is simulated does not die."""

    def remarks(self) -> Sequence[Remark]:
        """Return nothing: there is no noise in one process."""
        return ()

    def _known(self, message: str) -> Mapping[str, str]:
        try:
            return self._codec.signals(message)
        except KeyError:
            raise AdapterRefused(f"message {message!r} is not in {self._codec.where}") from None

    def _beat(self, message: str, every: float, run: int) -> None:
        if run == self._beating:
            begun = self._put(message, {})
            self._scene.at(begun + every, lambda: self._beat(message, every, run))

    def _put(self, message: str, signals: Mapping[str, float]) -> float:
        now = self._scene.now
        if signals or message not in self._last:
            values = self._last.setdefault(message, {})
            values.update(signals)
            self._frames[message] = self._codec.identifier(message), self._codec.encode(message, values, clip=True)
        frame = self._frames[message]
        self._scene.receive(*frame)
        self._sent.append((now, *frame))
        return now

    def _messages(self, frames: Iterable[Frame], *, sent: bool) -> list[Message]:
        return [Message(at, *self._read(identifier, data), sent) for at, identifier, data in frames]

    def _decoded(self, identifier: int, data: bytes) -> tuple[str, Mapping[str, float], str]:
        """Return name, signals and spelling of a frame."""
        return *self._codec.decode(identifier, data), self._codec.written(identifier, data)

    def _catch_up(self) -> None:
        self._scene.advance(self._clock.now())
