"""A bench adapter behind the line protocol of docs/adapter-protocol.md, over a serial port or TCP.

Every line begins with a tag that the adapter echoes and ends with its error queue: so a late answer is never taken for
this one, and an order that was refused never looks done. Orders are sent once; queries may be asked twice, counted in
`retries`. The hard limits of the bench are checked here once more, the last place before the hardware. On the way out
everything is switched off and read back, whatever happened.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Final, TypeVar

from benchtest.adapters import wire
from benchtest.adapters.limits import within
from benchtest.adapters.ports import Port, leaving, open_port
from benchtest.clock import Clock
from benchtest.errors import AdapterGarbled, AdapterMissing, AdapterRefused, AdapterSilent
from benchtest.fixture.document import Adapter, HardLimits
from benchtest.instruments import BenchAdapter, Capture, Order, Recording, Started, SupplyState

PATIENCE: Final = 1.0
"""Seconds for an exchange, and longest silence within a long answer."""
LEAVING: Final = 0.6
"""Seconds for each of the two exchanges on the way out."""
BITS_PER_BYTE: Final = 12
"""Start, eight data, parity, two stop bits: the slowest framing of a serial line."""
Decoded = TypeVar("Decoded")


class ScpiBench:
    """A BenchAdapter on the far side of a line. One thread at a time."""

    def __init__(self, *, port: Port, adapter: Adapter, limits: HardLimits, clock: Clock) -> None:
        self.retries = 0
        """Queries asked a second time."""
        self.stale = 0
        """Late answers thrown away."""
        self._port = port
        self._adapter = adapter
        self._limits = limits
        self._clock = clock
        self._replies = wire.Replies()
        self._tag = int(clock.now() * 1e6) % 1_000_000_000  # an earlier session's late answers must not fit
        self._capture: Capture | None = None
        self._ends_at = 0.0
        self._sourced: set[int] = set()

    # ------------------------------------------------------------ who it is, and that we live

    def identity(self) -> str:
        return _text(self._ask("*IDN?"))

    def beat(self) -> None:
        self._ask()

    def check(self) -> None:
        self._ask()

    # ------------------------------------------------------------ outputs

    def set(self, channel: int, value: float) -> None:
        self._order(f"OUTPut:VALue {_sendable(value)},{wire.channel_list([channel])}")

    def off(self, channel: int) -> None:
        self._order(f"OUTPut:OFF {wire.channel_list([channel])}")

    def all_off(self) -> None:
        self._order("OUTPut:OFF:ALL")

    def energised(self) -> frozenset[int]:
        return frozenset(self._decoded(wire.read_channels, self._ask("OUTPut:ACTive?")))

    # ------------------------------------------------------------ supplies and readings

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        within(volts, 0.0, self._limits.voltage, f"channel {channel}: {volts:g} V")
        within(amps, 0.0, self._limits.current, f"channel {channel}: {amps:g} A")
        where = wire.channel_list([channel])
        self._sourced.add(channel)
        self._order(
            f"SOURce:CURRent {_sendable(amps)},{where}",
            f"SOURce:VOLTage {_sendable(volts)},{where}",
            f"SOURce:STATe ON,{where}",
        )

    def supply_state(self, channel: int) -> SupplyState:
        return self._decoded(wire.read_supply_state, self._ask(f"SOURce:STATe? {wire.channel_list([channel])}"))

    def measure(self, channel: int) -> float:
        return self._decoded(wire.read_number, self._ask(f"MEASure? {wire.channel_list([channel])}"))

    # ------------------------------------------------------------ recordings

    def begin(self, capture: Capture) -> Started:
        for order in capture.orders:
            self._check_order(order, capture.duration)
        self._order("RECord:CLEar")
        loads = [
            f"RECord:ORDer {_sendable(o.at)},{_sendable(o.value)},{wire.channel_list([o.channel])}"
            for o in capture.orders
        ]
        for some in _in_lines(loads):
            self._order(*some)
        channels = wire.channel_list(capture.channels)
        sent = self._clock.now()
        started = self._exchange(
            f"RECord:STARt {_sendable(capture.duration)},{_sendable(capture.rate)},{channels}", "RECord:TIME?"
        )
        answered = self._clock.now()
        begun_by = answered - self._decoded(wire.read_finite, _only(started))  # it ran that long before the answer left
        low, high = min(sent, begun_by), max(sent, begun_by)
        self._capture, self._ends_at = capture, high + capture.duration
        return Started(at=(low + high) / 2, uncertainty=(high - low) / 2 + 1e-6)

    def elapsed(self) -> float:
        return self._decoded(wire.read_number, self._ask("RECord:TIME?"))

    def fetch(self) -> Recording:
        if self._capture is None:
            raise AdapterRefused("nothing is being recorded (begin comes before fetch)")
        capture, self._capture = self._capture, None
        self._wait_for_end()
        size = 2 * len(capture.channels) * round(capture.duration * capture.rate)
        line_time = size * BITS_PER_BYTE / self._adapter.baud
        form, done, data = self._query("RECord:FORMat?", "RECord:DONE?", "RECord:DATA?", patience=PATIENCE + line_time)
        if not isinstance(data, bytes):
            raise AdapterGarbled(f"{self._port.name}: expected a block of samples, got {data[:40]!r}")
        recording = self._decoded(lambda text: wire.read_recording(text, _text(done), data), form)
        if recording.channels != capture.channels:
            found, wanted = wire.channel_list(recording.channels), wire.channel_list(capture.channels)
            raise AdapterGarbled(f"{self._port.name}: a recording of {found} instead of {wanted}")
        if not (recording.overrun or abs(recording.duration - capture.duration) <= 2 / recording.rate):
            found, wanted = f"{recording.duration:g} s", f"{capture.duration:g} s"
            raise AdapterGarbled(f"{self._port.name}: a recording of {found} instead of {wanted}")
        return recording

    def _wait_for_end(self) -> None:
        """Ask now and then, which also keeps the dead-man quiet, until the recording is whole."""
        latest = self._ends_at + PATIENCE
        while (left := self._left()) is not None:
            now = self._clock.now()
            if now > latest:
                raise AdapterSilent(
                    f"{self._port.name}: a recording does not end, {now - latest + PATIENCE:.1f} s late"
                )
            self._clock.sleep_until(now + min(max(left, 0.0005), self._adapter.dead_man / 4))

    def _left(self) -> float | None:
        """Return the seconds left of the running recording, None when it is whole."""
        state, _, left = _text(self._ask("RECord:STATe?")).partition(",")
        if state not in {"RUN", "READY"}:
            raise AdapterRefused(f"{self._port.name}: the recording is gone, the recorder is {state!r}")
        return self._decoded(wire.read_finite, left) if state == "RUN" else None

    def _check_order(self, order: Order, duration: float) -> None:
        within(order.at, 0.0, duration, f"channel {order.channel}: an order at {order.at:g} s")
        if order.channel in self._sourced:
            within(order.value, 0.0, self._limits.voltage, f"channel {order.channel}: {order.value:g} V")

    # ------------------------------------------------------------ exchanges

    def _order(self, *commands: str) -> None:
        """Send orders in one line, once; AdapterRefused when the adapter refuses one."""
        if extra := self._exchange(*commands):
            raise AdapterGarbled(f"{self._port.name}: {len(extra)} answers to an order")

    def _ask(self, *queries: str) -> wire.Unit:
        """Ask at most one thing; return its answer, or empty text."""
        answers = self._query(*queries)
        return answers[0] if answers else ""

    def _query(self, *queries: str, patience: float = PATIENCE) -> Sequence[wire.Unit]:
        """Ask; a second time when the first brought silence or garbage."""
        try:
            return self._exchange(*queries, answers=len(queries), patience=patience)
        except (AdapterSilent, AdapterGarbled):
            self.retries += 1
            self._port.drain(now=self._clock.now, longest=PATIENCE)
            self._replies.clear()
            return self._exchange(*queries, answers=len(queries), patience=patience)

    def _exchange(self, *units: str, answers: int | None = None, patience: float = PATIENCE) -> tuple[wire.Unit, ...]:
        """Send one line and return its answers, without tag and errors. AdapterRefused when there are errors."""
        self._tag = (self._tag + 1) % 2**31
        line = ";".join([f":SYST:ECHO? {self._tag}", *(u if u[0] == "*" else f":{u}" for u in units), ":SYST:ERR:ALL?"])
        self._port.write(line.encode("ascii") + b"\n")
        reply = self._matching_reply(self._clock.now() + patience, line)
        errors = self._decoded(wire.read_errors, reply[-1])
        if errors:
            raise AdapterRefused(f"{self._port.name}: the adapter reports {'; '.join(str(error) for error in errors)}")
        if answers is not None and len(reply) != answers + 2:
            raise AdapterGarbled(f"{self._port.name}: {len(reply) - 2} answers to {answers} queries")
        return reply[1:-1]

    def _matching_reply(self, deadline: float, line: str) -> tuple[wire.Unit, ...]:
        """Return the reply with our tag; late ones are counted and thrown away."""
        late = 0
        while True:
            reply = self._next_reply(deadline, line, late)
            if reply[0] == str(self._tag) and len(reply) > 1:
                return reply
            late += 1
            self.stale += 1

    def _next_reply(self, deadline: float, line: str, late: int) -> tuple[wire.Unit, ...]:
        quiet_until = self._clock.now() + PATIENCE
        while (reply := self._whole_reply()) is None:
            now = self._clock.now()
            if now >= min(deadline, quiet_until):
                waste = f", {late} late answer{'s' if late > 1 else ''} thrown away" if late else ""
                raise AdapterSilent(f"{self._port.name}: no whole answer to {line[:60]!r}{waste} (is it switched on?)")
            if data := self._port.read(self._replies.wanted):
                self._replies.feed(data)
                quiet_until = self._clock.now() + PATIENCE
        return reply

    def _whole_reply(self) -> tuple[wire.Unit, ...] | None:
        try:
            return self._replies.next_reply()
        except AdapterGarbled as cause:
            hint = "is this the right port, and its baud rate?"
            raise AdapterGarbled(f"{self._port.name}: {cause} ({hint})") from cause

    def _decoded(self, read: Callable[[str], Decoded], unit: wire.Unit) -> Decoded:
        """Return what an answer says; AdapterGarbled, with the port, when it says nothing of the kind."""
        try:
            return read(_text(unit))
        except AdapterGarbled as cause:
            raise AdapterGarbled(f"{self._port.name}: {cause}") from cause

    # ------------------------------------------------------------ coming and going

    def enter(self) -> None:
        """Make sure who it is before anything else, then a clean start and an armed dead-man."""
        found = self.introduce()
        if not found.startswith(self._adapter.identity):
            raise AdapterMissing(
                f"{self._port.name}: found {found!r}, expected {self._adapter.identity!r} (is this the right port?)"
            )
        self._order("*CLS", "*RST", f"DEADman:TIME {_sendable(self._adapter.dead_man)}", "DEADman:ARM")
        if left := self.energised():
            raise AdapterRefused(f"{self._port.name}: channels {wire.channel_list(sorted(left))} are on after a reset")

    def introduce(self) -> str:
        """Return who answers at this port, with a clean line before; switches nothing."""
        self._port.drain(now=self._clock.now, longest=PATIENCE / 2)
        self._port.write(b"\n")  # ends a line that somebody else began
        return self._found()

    def _found(self) -> str:
        """Return the identity whatever earlier errors wait in the queue; asking takes them out."""
        with suppress(AdapterRefused):
            return self.identity().strip(" \0")
        return self.identity().strip(" \0")

    def leave(self) -> None:
        """Everything off, read back; takes at most two exchanges. AdapterRefused when something stays on."""
        self._port.drain(now=self._clock.now, longest=0.1)
        self._replies.clear()
        with suppress(AdapterRefused):  # the answer may carry older errors; what counts is read back below
            self._exchange("OUTPut:OFF:ALL", patience=LEAVING)
        active = _only(self._exchange("OUTPut:ACTive?", answers=1, patience=LEAVING))
        left = self._decoded(wire.read_channels, active)
        if left:
            raise AdapterRefused(f"{self._port.name}: channels {wire.channel_list(left)} are still on")


@contextmanager
def open_scpi(*, adapter: Adapter, port: str, limits: HardLimits, clock: Clock) -> Iterator[BenchAdapter]:
    """Open the adapter at `port` (or the fixture's), compare its identity, reset and arm it; all off on the way out.

    Raises AdapterMissing, AdapterSilent, AdapterGarbled or AdapterRefused; on the way out only when nothing else is
    being raised already.
    """
    with open_port(port or adapter.port, baud=round(adapter.baud)) as line:
        bench = ScpiBench(port=line, adapter=adapter, limits=limits, clock=clock)
        bench.enter()
        with leaving(bench.leave):
            yield bench


def ask_scpi(*, adapter: Adapter, port: str, limits: HardLimits, clock: Clock) -> str:
    """Return what the device at `port` answers to `*IDN?`, without touching anything of it; raises RigError."""
    with open_port(port, baud=round(adapter.baud)) as line:
        return ScpiBench(port=line, adapter=adapter, limits=limits, clock=clock).introduce()


def _sendable(value: float) -> str:
    try:
        return wire.number(value)
    except ValueError as cause:
        raise AdapterRefused(str(cause)) from cause


def _text(unit: wire.Unit) -> str:
    if isinstance(unit, bytes):
        raise AdapterGarbled(f"expected text, got a block of {len(unit)} bytes")
    return unit


def _only(units: Sequence[wire.Unit]) -> wire.Unit:
    if len(units) != 1:
        raise AdapterGarbled(f"expected one answer, got {len(units)}")
    return units[0]


def _in_lines(units: Sequence[str]) -> Iterator[list[str]]:
    """Group units so that each line, with tag and error query, stays within the protocol's length."""
    some: list[str] = []
    for unit in units:
        if some and sum(len(u) + 2 for u in some) + len(unit) > wire.LINE_LENGTH - 64:
            yield some
            some = []
        some.append(unit)
    if some:
        yield some
