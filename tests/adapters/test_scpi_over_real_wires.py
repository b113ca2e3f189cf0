"""The host's adapter against the served bench over a real pseudo-terminal and over TCP on this machine."""

import io
import os
import select
import socket
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import dataclass

import numpy as np
import pytest

from benchtest.adapters.scpi import ScpiBench, open_scpi
from benchtest.clock import RealClock
from benchtest.errors import AdapterGarbled, AdapterMissing, AdapterRefused, AdapterSilent
from benchtest.fixture.document import Adapter, HardLimits
from benchtest.instruments import BenchAdapter, Capture, Order
from benchtest.simulator.doors import Door
from benchtest.simulator.server import SceneClock, open_door, serve
from tests.server.table_bench import TableBench

CLOCK = RealClock()
IDENTITY = "Benchtest,Table bench"


@dataclass
class Served:
    """A bench being served by a thread."""

    bench: TableBench
    door: Door
    log: io.StringIO
    die: Callable[[], None]
    """Ends the server and closes its door."""

    def logged(self, words: str, within: float = 2.0) -> bool:
        """Say whether the server wrote `words` within so many seconds."""
        deadline = CLOCK.now() + within
        while words not in self.log.getvalue() and CLOCK.now() < deadline:
            CLOCK.sleep_until(CLOCK.now() + 0.005)
        return words in self.log.getvalue()


@contextmanager
def serving(tcp: int | None) -> Iterator[Served]:
    clock, stop, log = SceneClock(), threading.Event(), io.StringIO()
    with ExitStack() as stack:
        bench, door = TableBench(clock), open_door(stack, tcp)
        keywords = {"clock": clock, "door": door, "out": log, "stop": stop}
        thread = threading.Thread(target=serve, args=(bench,), kwargs=keywords)

        def die() -> None:
            stop.set()
            thread.join(5)
            stack.close()

        thread.start()
        try:
            yield Served(bench, door, log, die)
        finally:
            die()


@pytest.fixture(params=["pty", "tcp"])
def served(request: pytest.FixtureRequest) -> Iterator[Served]:
    with serving(None if request.param == "pty" else 0) as running:
        yield running


def opened(
    port: str, *, identity: str = IDENTITY, dead_man: float = 1.0, limits: HardLimits | None = None
) -> AbstractContextManager[BenchAdapter]:
    adapter = Adapter(driver="scpi", identity=identity).model_copy(update={"dead_man": dead_man})
    return open_scpi(adapter=adapter, port=port, limits=limits or HardLimits.model_construct(), clock=CLOCK)


def test_orders_arrive_and_are_read_back(served: Served) -> None:
    """What is set, sourced and switched off over the wire is what the bench did, and reading back agrees."""
    with opened(served.door.name) as bench:
        bench.set(101, 1)
        bench.set(601, 1234.5)
        bench.source(201, volts=24.25, amps=1.5)

        assert frozenset({101, 201, 601}) == bench.energised()
        assert {101: 1.0, 201: 24.25, 601: 1234.5} == served.bench.values
        state = bench.supply_state(201)
        assert (True, 24.25, 0.125, True) == (state.on, state.volts, state.amps, state.limiting)
        assert 24.25 == bench.measure(301)

        bench.off(201)
        assert frozenset({101, 601}) == bench.energised()
        bench.all_off()
        bench.all_off()
        assert frozenset() == bench.energised()


def test_over_range_comes_as_infinity(served: Served) -> None:
    """A reading beyond the range is infinite on the host, not 9.9E37 (SCPI-99 volume 1, 7.2.1.5)."""
    served.bench.readings[701] = float("inf")
    with opened(served.door.name) as bench:
        assert float("inf") == bench.measure(701)


def test_recording_comes_bit_for_bit(served: Served) -> None:
    """Codes, scales, offsets and stamps arrive exactly as the bench gave them, and the beginning is known to 50 ms."""
    orders = (Order(at=0.001, channel=101, value=1.0), Order(at=0.0203, channel=101, value=0.0))
    capture = Capture(orders=orders, duration=0.03, rate=10e3, channels=(401, 402, 801))
    with opened(served.door.name) as bench:
        before = CLOCK.now()
        started = bench.begin(capture)
        recording = bench.fetch()

        assert before - started.uncertainty <= started.at <= CLOCK.now()
        assert started.uncertainty < 0.05
    served.bench.begin(capture)
    original = served.bench.fetch()
    assert np.array_equal(original.codes, recording.codes)
    assert (original.scale, original.offset, original.done) == (recording.scale, recording.offset, recording.done)
    assert (10e3, (401, 402, 801), False) == (recording.rate, recording.channels, recording.overrun)


def test_long_recording_comes_whole(served: Served) -> None:
    """A recording of 60 channels and 100 000 samples each, 12 MB, arrives whole though nobody beats meanwhile."""
    capture = Capture(orders=(), duration=0.05, rate=1e6, channels=tuple(range(301, 361)))
    with opened(served.door.name, dead_man=0.3) as bench:
        bench.begin(capture)
        recording = bench.fetch()

        assert (60, 50_000) == recording.codes.shape
        bench.set(101, 1)


def test_long_schedule_goes_in_several_lines(served: Served) -> None:
    """Three hundred orders do not fit in one line, and all of them are carried out."""
    orders = tuple(Order(at=i * 1e-4, channel=101 + i % 9, value=float(i % 2)) for i in range(300))
    with opened(served.door.name) as bench:
        bench.begin(Capture(orders=orders, duration=0.04, rate=1e3, channels=(401,)))

        assert [o.channel for o in orders] == [o.channel for o in bench.fetch().done]


def test_refusal_of_the_adapter_is_told_in_its_words(served: Served) -> None:
    """An order that the adapter refuses raises AdapterRefused with its code and text; the queue is empty after."""
    with opened(served.door.name) as bench:
        with pytest.raises(AdapterRefused, match=r"-200, Execution error;channel 999 is no output"):
            bench.set(999, 1)
        bench.check()


@pytest.mark.parametrize(
    ("volts", "amps"), [(30.5, 1.0), (24.0, 3.1), (float("nan"), 1.0), (24.0, float("nan")), (-1.0, 1.0)]
)
def test_hard_limits_hold_before_the_wire(served: Served, volts: float, amps: float) -> None:
    """A voltage or current beyond the bench's hard limits, or no number, never reaches the adapter."""
    with opened(served.door.name) as bench:
        with pytest.raises(AdapterRefused, match="hard limit"):
            bench.source(201, volts=volts, amps=amps)
        assert not any(line.startswith("source") for line in served.bench.log)


def test_hard_limits_hold_in_a_schedule(served: Served) -> None:
    """A supply order above the hard limit within a schedule is refused before anything is loaded."""
    with opened(served.door.name) as bench:
        bench.source(201, volts=24, amps=1)
        capture = Capture(orders=(Order(at=0, channel=201, value=31),), duration=0.01, rate=1e3, channels=(301,))
        with pytest.raises(AdapterRefused, match="hard limit"):
            bench.begin(capture)


def test_wrong_adapter_is_refused_before_anything_else(served: Served) -> None:
    """Another identity than the fixture's is refused, naming both, and nothing was switched or reset."""
    with (
        pytest.raises(AdapterMissing, match="found 'Benchtest,Table bench,0,1', expected 'Other'"),
        opened(served.door.name, identity="Other"),
    ):
        raise AssertionError("the adapter was handed out")
    assert served.logged("host gone")
    assert not any(line.startswith(("set", "source")) for line in served.bench.log)


def test_everything_is_off_after_an_error_in_the_block(served: Served) -> None:
    """An exception inside the block, a Ctrl-C too, leaves everything off, and it is that exception which comes out."""

    def interrupted() -> None:
        with opened(served.door.name) as bench:
            bench.set(101, 1)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert {} == served.bench.values


def test_dead_man_switches_off_and_locks_until_armed(served: Served) -> None:
    """A silent host loses its outputs after the dead-man time; orders are refused, until a new session arms again."""
    with opened(served.door.name, dead_man=0.3) as bench:
        bench.set(101, 1)
        assert served.logged("dead-man: nothing heard for 0.3 s, everything off, locked")
        assert {} == served.bench.values
        with pytest.raises(AdapterRefused, match="dead-man"):
            bench.set(101, 1)
        assert {} == served.bench.values
        assert frozenset() == bench.energised()
    with opened(served.door.name) as bench:
        bench.set(101, 1)
        assert frozenset({101}) == bench.energised()


def test_beating_keeps_the_dead_man_quiet(served: Served) -> None:
    """Beats at a third of the dead-man time keep the outputs for longer than that time."""
    with opened(served.door.name, dead_man=0.3) as bench:
        bench.set(101, 1)
        deadline = CLOCK.now() + 0.7
        while CLOCK.now() < deadline:
            bench.beat()
            CLOCK.sleep_until(CLOCK.now() + 0.1)
        assert frozenset({101}) == bench.energised()


def test_hang_up_switches_off_at_once(served: Served) -> None:
    """A host that goes away without a word loses its outputs at once, not after the dead-man time."""

    def cut_off() -> None:
        with opened(served.door.name, dead_man=10) as bench:
            bench.set(101, 1)
            assert isinstance(bench, ScpiBench)
            bench._port.close()

    with pytest.raises(AdapterMissing, match="lost while"):
        cut_off()
    assert served.logged("host gone, everything off, locked", within=0.5)
    assert {} == served.bench.values


def test_late_answer_is_thrown_away(served: Served) -> None:
    """An answer to an earlier question is counted and thrown away, never taken for this one."""
    with opened(served.door.name) as bench:
        assert isinstance(bench, ScpiBench)
        served.bench.readings[301] = 1.0
        bench._port.write(b":SYST:ECHO? 1;:MEAS? (@301);:SYST:ERR:ALL?\n")
        CLOCK.sleep_until(CLOCK.now() + 0.05)
        served.bench.readings[301] = 2.0

        assert 2.0 == bench.measure(301)
        assert (1, 0) == (bench.stale, bench.retries)


def test_missing_port_says_what_to_try() -> None:
    """A port that is not there is an AdapterMissing with something to try."""
    with pytest.raises(AdapterMissing, match=r"no such port \(is the adapter plugged in"), opened("/dev/no-such-port"):
        raise AssertionError("a port was found")


def test_closed_tcp_port_says_what_to_try() -> None:
    """A TCP port where nobody listens is an AdapterMissing with something to try."""
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        name = f"socket://127.0.0.1:{unused.getsockname()[1]}"
        with pytest.raises(AdapterMissing, match="nobody listens there"), opened(name):
            raise AssertionError("somebody listened")


@pytest.mark.parametrize(("port", "said"), [("/etc/passwd", "not a serial port"), ("/tmp", "a folder")])
def test_what_is_no_device_is_called_what_it_is(port: str, said: str) -> None:
    """A file or a folder in place of a device is told in the operator's words, with something to try."""
    with pytest.raises(AdapterMissing, match=rf"that is {said} \(try a device"), opened(port):
        raise AssertionError("that was a port")


@pytest.mark.parametrize("port", ["", "spy:///dev/ttyS0?file=/tmp/x", "alt:///dev/ttyS0?class=X", "socket://nowhere"])
def test_port_that_is_none_is_refused(port: str) -> None:
    """Only device paths and socket URLs are ports; URL handlers that write files or choose classes are refused."""
    with pytest.raises(AdapterMissing, match=r"\(try "), opened(port):
        raise AssertionError("that was a port")


def test_second_program_is_told_that_the_port_is_in_use() -> None:
    """A pseudo-terminal that is open already is refused to a second host, which is told why."""
    with (
        serving(None) as served,
        opened(served.door.name),
        pytest.raises(AdapterMissing, match="another program is using it"),
        opened(served.door.name),
    ):
        raise AssertionError("the port was shared")


@pytest.fixture
def line() -> Iterator[tuple[int, str]]:
    """A pseudo-terminal whose far side the test plays: descriptor and name."""
    far, near = os.openpty()
    tty.setraw(near)
    yield far, os.ttyname(near)
    os.close(near)
    os.close(far)


@contextmanager
def played(far: int, reply: Callable[[bytes], bytes]) -> Iterator[None]:
    """Answer each line by `reply` as long as the block lasts."""
    over = threading.Event()

    def play() -> None:
        pending = b""
        while not over.is_set():
            if select.select([far], [], [], 0.01)[0]:
                pending += os.read(far, 4096)
            *lines, pending = pending.split(b"\n")
            for text in lines:
                os.write(far, reply(text))

    thread = threading.Thread(target=play)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join(5)


def tag_of(line: bytes) -> bytes:
    return line.split(b";")[0].removeprefix(b":SYST:ECHO? ")


def identify(line: bytes, then: bytes) -> bytes:
    """Answer as an adapter of the right identity, and to MEASure? with `then`."""
    if not line:
        return b""
    body = IDENTITY.encode() + b";" if b"*IDN?" in line else b"(@);" if b"ACT" in line else b""
    if b"MEAS" in line:
        return then.replace(b"TAG", tag_of(line))
    return tag_of(line) + b";" + body + b'0,"No error"\n'


def test_garbage_from_the_first_byte_names_the_port(line: tuple[int, str]) -> None:
    """Bytes that are no reply at all: which port, what came, and what to look at."""
    far, name = line
    with (
        played(far, lambda _: b"\x0e\xe0\x8a" * 20 + b"\n"),
        pytest.raises(
            AdapterGarbled, match=rf"^{name}: expected text, got .* \(is this the right port, and its baud rate"
        ),
        opened(name),
    ):
        raise AssertionError("that was an adapter")


@pytest.mark.parametrize(
    ("answer", "error"),
    [
        (b"TAG;12.5", AdapterSilent),
        (b"", AdapterSilent),
        (b'1;12.5;0,"No error"\n', AdapterSilent),
        (b'TAG;twelve;0,"No error"\n', AdapterGarbled),
        (b'TAG;\xff\xfe;0,"No error"\n', AdapterGarbled),
        (b'TAG;#312;0,"No error"\n', AdapterGarbled),
        (b'TAG;12.5;0,"No err\n', AdapterGarbled),
        (b'TAG;0,"No error"\n', AdapterGarbled),
        (b'TAG;12.5;-222,"Data out of range"\n', AdapterRefused),
    ],
)
def test_bad_answer_is_never_a_value(line: tuple[int, str], answer: bytes, error: type[Exception]) -> None:
    """Half an answer, none, a late one, garbage or a reported error raises; the second try happens once."""
    far, name = line
    measured: list[bytes] = []

    def reply(text: bytes) -> bytes:
        measured.extend([text] if b"MEAS" in text else [])
        return identify(text, answer)

    with played(far, reply), opened(name) as bench:
        with pytest.raises(error, match=f"^{name}: "):  # a bench may have several adapters
            bench.measure(301)
        assert isinstance(bench, ScpiBench)
        assert bench.retries <= 1
        assert len(measured) == 1 + bench.retries


def test_orders_are_sent_once_even_into_silence(line: tuple[int, str]) -> None:
    """An order without an answer raises AdapterSilent and is not repeated."""
    far, name = line
    orders: list[bytes] = []

    def reply(text: bytes) -> bytes:
        if b"OUTPut:VALue" in text:
            orders.append(text)
            return b""
        return identify(text, b"")

    with played(far, reply), opened(name) as bench:
        with pytest.raises(AdapterSilent, match="no whole answer"):
            bench.set(101, 1)
        assert 1 == len(orders)


@pytest.mark.parametrize("tcp", [None, 0])
def test_adapter_that_dies_in_a_recording_is_missed_promptly(tcp: int | None) -> None:
    """A server that ends in a recording is an AdapterMissing within a second, and leaving does not hang."""
    began = CLOCK.now()
    with serving(tcp) as served:

        def bereaved() -> None:
            with opened(served.door.name) as bench:
                bench.begin(Capture(orders=(), duration=5, rate=1e3, channels=(301,)))
                served.die()
                bench.fetch()

        with pytest.raises(AdapterMissing, match="cable was pulled"):
            bereaved()
    assert CLOCK.now() - began < 1.5
