"""What the Modbus client really sends, and what it makes of answers, late answers, halves and garbage."""

import os
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchtest.adapters.modbus import open_modbus
from benchtest.adapters.modbus_line import Known, ModbusLine
from benchtest.adapters.ports import open_port
from benchtest.errors import AdapterGarbled, AdapterMissing, AdapterRefused, AdapterSilent
from benchtest.fixture.document import HardLimits
from benchtest.fixture.modbus import ModbusAdapter
from benchtest.messages.checksums import crc16
from tests.adapters.scripted_line import CLOCK, Peer, Script, scripted
from tests.published import modbus as published
from tests.published.modbus import UNIT, Exchange

SLOWEST = 0.05
KNOWN = Known(table="holding register", unit=UNIT, address=9, reads=4711)


@contextmanager
def line(script: Script, known: Known | None = None) -> Iterator[tuple[ModbusLine, Peer]]:
    with scripted(script) as peer, open_port(peer.port, baud=115200) as port:
        yield ModbusLine(port=port, clock=CLOCK, baud=115200, slowest=SLOWEST, known=known), peer


def framed(text: str) -> bytes:
    data = bytes.fromhex(text)
    return data + crc16(data)


def always(*answers: bytes, after: float = 0.0) -> Script:
    """The same answer to whatever is asked."""
    return lambda _: [(after, answer) for answer in answers]


def bits(*data: int) -> list[bool]:
    """The bits of bytes, lowest first."""
    return [bool(byte >> place & 1) for byte in data for place in range(8)]


# ---------------------------------------------------------------- the published frames


def said(exchange: Exchange) -> Script:
    return always(exchange.answer)


def test_reading_coils_sends_and_takes_the_published_frames() -> None:
    """V1.1b3, 6.1: coil 20 of the manual is address 19, and the first coil is the lowest bit of the first byte."""
    with line(said(published.READ_COILS)) as (modbus, peer):
        assert bits(*published.COILS_20_TO_38)[:19] == modbus.bits("coil", UNIT, 19, 19)
    assert [published.READ_COILS.request] == peer.heard


def test_reading_discrete_inputs_sends_and_takes_the_published_frames() -> None:
    """V1.1b3, 6.2: inputs 197 to 218 are addresses 196 to 217."""
    with line(said(published.READ_INPUTS)) as (modbus, peer):
        assert bits(*published.INPUTS_197_TO_218)[:22] == modbus.bits("discrete input", UNIT, 196, 22)
    assert [published.READ_INPUTS.request] == peer.heard


def test_reading_registers_sends_and_takes_the_published_frames() -> None:
    """V1.1b3, 6.3 and 6.4: registers 108 to 110 are addresses 107 to 109, input register 9 is address 8."""
    with line(said(published.READ_HOLDING)) as (modbus, peer):
        assert list(published.REGISTERS_108_TO_110) == modbus.words("holding register", UNIT, 107, 3)
    assert [published.READ_HOLDING.request] == peer.heard
    with line(said(published.READ_INPUT_REGISTER)) as (modbus, peer):
        assert [10] == modbus.words("input register", UNIT, 8, 1)
    assert [published.READ_INPUT_REGISTER.request] == peer.heard


def test_writing_sends_the_published_frames_once() -> None:
    """V1.1b3, 6.5 and 6.6: coil 173 is address 172 and on is FF00; register 2 is address 1."""
    with line(said(published.WRITE_COIL)) as (modbus, peer):
        modbus.write_coil(UNIT, 172, True)
    assert [published.WRITE_COIL.request] == peer.heard
    with line(said(published.WRITE_REGISTER)) as (modbus, peer):
        modbus.write_word(UNIT, 1, 3)
    assert [published.WRITE_REGISTER.request] == peer.heard


@pytest.mark.parametrize(("answer", "words"), published.EXCEPTIONS.items())
def test_published_exceptions_are_refusals_in_words(answer: str, words: str) -> None:
    """V1.1b3, clause 7: each with its code; one of another function than was asked for is no answer to it."""
    function = int(answer.split()[1], 16) & 0x7F
    with line(always(bytes.fromhex(answer))) as (modbus, _):
        asks: dict[int, Callable[[], object]] = {
            1: lambda: modbus.bits("coil", UNIT, 0, 1),
            3: lambda: modbus.words("holding register", UNIT, 0, 1),
            5: lambda: modbus.write_coil(UNIT, 0, True),
        }
        if function in asks:
            with pytest.raises(AdapterRefused, match=words):
                asks[function]()
        else:
            with pytest.raises(AdapterGarbled, match="something else"):
                asks[3]()


def test_the_first_request_on_tcp_is_the_published_one() -> None:
    """MBAP header with transaction 1, protocol 0, length 6, then unit and PDU."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        heard = list[bytes]()

        def answer() -> None:
            host, _ = server.accept()
            with host:
                heard.append(host.recv(100))
                host.sendall(bytes.fromhex("00 01 00 00 00 09 11 03 06 02 2B 00 00 00 64"))
                host.recv(1)

        thread = threading.Thread(target=answer)
        thread.start()
        with open_port(f"socket://127.0.0.1:{server.getsockname()[1]}", baud=9600) as port:
            modbus = ModbusLine(port=port, clock=CLOCK, baud=None, slowest=1.0)
            assert list(published.REGISTERS_108_TO_110) == modbus.words("holding register", UNIT, 107, 3)
        thread.join(5)
    assert [published.READ_HOLDING_TCP] == heard


# ---------------------------------------------------------------- trouble


def test_silence_is_said_and_a_write_is_not_repeated() -> None:
    """One frame went out, and the words ask for the unit's number."""
    with line(lambda _: []) as (modbus, peer):
        with pytest.raises(AdapterSilent, match=r"unit 17 does not answer .*is this its number"):
            modbus.write_coil(UNIT, 172, True)
        assert [published.WRITE_COIL.request] == peer.heard


def test_a_late_answer_is_never_taken_for_the_next() -> None:
    """The answer to the first read comes after its deadline; the second read gets its own."""
    first, second = framed("11 04 02 00 0A"), framed("11 04 02 00 0B")
    answers = iter(
        [[(0.12, first)], [(0.04, second)]]
    )  # the first would come before the second, if that were asked now
    with line(lambda _: next(answers)) as (modbus, _):
        with pytest.raises(AdapterSilent):
            modbus.words("input register", UNIT, 8, 1)
        assert [11] == modbus.words("input register", UNIT, 8, 1)
        assert modbus.stale >= len(first)


def test_reads_are_asked_again_only_after_a_known_register_was_read() -> None:
    """Silence, then the known register, then the same question: counted as one retry."""
    asked = list[bytes]()

    def script(frame: bytes) -> list[tuple[float, bytes]]:
        asked.append(frame[:4])
        if frame[1] == 3:
            return [(0.0, framed("11 03 02 12 67"))]
        return [(0.0, framed("11 04 02 00 0B"))] if len(asked) > 1 else []

    with line(script, KNOWN) as (modbus, _):
        assert [11] == modbus.words("input register", UNIT, 8, 1)
        assert 1 == modbus.retries
    assert ["11 04 00 08", "11 03 00 09", "11 04 00 08"] == [frame.hex(" ") for frame in asked]


def test_a_line_still_out_of_step_is_tried_a_few_times() -> None:
    """An answer to the old question where the known register was asked: wait, drain and ask for it again."""
    asked = list[int]()

    def script(frame: bytes) -> list[tuple[float, bytes]]:
        asked.append(frame[1])
        answers = {2: framed("11 04 02 00 0A"), 3: framed("11 03 02 12 67"), 4: framed("11 04 02 00 0B")}
        return [(0.0, answers[len(asked)])] if len(asked) in answers else []

    with line(script, KNOWN) as (modbus, _):
        assert [11] == modbus.words("input register", UNIT, 8, 1)
    assert [4, 3, 3, 4] == asked


def test_a_known_register_that_reads_otherwise_ends_it() -> None:
    """The line is out of step, or another unit answers: nothing goes on."""

    def script(frame: bytes) -> list[tuple[float, bytes]]:
        return [(0.0, framed("11 03 02 12 68"))] if frame[1] == 3 else []

    with line(script, KNOWN) as (modbus, _), pytest.raises(AdapterGarbled, match=r"\[4712\] .* instead of 4711"):
        modbus.words("input register", UNIT, 8, 1)


@pytest.mark.parametrize(
    "answer",
    [
        framed("11 04 02 00 0A")[:4],
        framed("11 04 02 00 0A")[:-1] + b"\x00",
        b"\x00\xff\x13\x37" * 5,
        b"\r\nOK\r\n",
        framed("12 04 02 00 0A"),
        framed("11 03 02 00 0A"),
        framed("11 04 04 00 0A 00 0B"),
    ],
    ids=["half", "wrong check", "garbage", "text", "another unit", "another function", "another length"],
)
def test_what_does_not_fit_is_garbled_and_the_next_answer_is_read(answer: bytes) -> None:
    """Half an answer, wrong check bytes, garbage, another unit, function or length: each refused, then on in step."""
    answers = iter([[(0.0, answer)], [(0.0, framed("11 04 02 00 0B"))]])
    with line(lambda _: next(answers)) as (modbus, _):
        with pytest.raises(AdapterGarbled):
            modbus.words("input register", UNIT, 8, 1)
        assert [11] == modbus.words("input register", UNIT, 8, 1)


def test_an_echo_of_another_write_is_garbled() -> None:
    """The echo must be of this coil and this value."""
    with line(said(published.WRITE_COIL)) as (modbus, _), pytest.raises(AdapterGarbled, match="echo of coil 172"):
        modbus.write_coil(UNIT, 171, True)


def test_an_echo_must_be_what_was_written_to_the_bit() -> None:
    """Off is 0000 and nothing else, though pymodbus takes every value but FF00 for it."""
    with line(always(framed("11 05 00 AC 12 34"))) as (modbus, _), pytest.raises(AdapterGarbled, match="contradict"):
        modbus.write_coil(UNIT, 172, False)


def test_who_it_is_needs_an_object() -> None:
    """An identification of no object is garbled, not a module without a name."""
    answer = framed("11 2B 0E 01 01 00 00 00")
    with line(always(answer)) as (modbus, _), pytest.raises(AdapterGarbled, match="without any object"):
        modbus.identification(UNIT)


def test_numbers_of_requests_go_on_after_silence() -> None:
    """On TCP a fresh start does not begin with number 1 again, whose answer may still be on its way."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        heard = list[bytes]()

        def answer() -> None:
            host, _ = server.accept()
            with host:
                heard.append(host.recv(100))
                heard.append(host.recv(100))
                host.sendall(heard[1][:5] + bytes.fromhex("05 11 04 02 00 0B"))
                host.recv(1)

        thread = threading.Thread(target=answer)
        thread.start()
        with open_port(f"socket://127.0.0.1:{server.getsockname()[1]}", baud=9600) as port:
            modbus = ModbusLine(port=port, clock=CLOCK, baud=None, slowest=SLOWEST)
            with pytest.raises(AdapterSilent):
                modbus.words("input register", UNIT, 8, 1)
            assert [11] == modbus.words("input register", UNIT, 8, 1)
        thread.join(5)
    assert [b"\x00\x01", b"\x00\x02"] == [request[:2] for request in heard]


def test_a_chattering_line_ends_at_the_deadline() -> None:
    """Bytes that never become an answer do not keep an exchange alive."""
    chatter = [(at / 200, b"\x11\x04") for at in range(100)]
    with line(lambda _: list(chatter)) as (modbus, _):
        begun = CLOCK.now()
        with pytest.raises(AdapterGarbled):
            modbus.words("input register", UNIT, 8, 1)
        assert CLOCK.now() - begun < 0.4


def test_a_line_that_is_gone_says_so() -> None:
    """The far side closes: missing, not silent, so that nobody waits."""
    with line(lambda _: []) as (modbus, peer):
        peer.gone.set()
        CLOCK.sleep_until(CLOCK.now() + 0.02)
        with pytest.raises(AdapterMissing, match="the cable was pulled"):
            modbus.words("input register", UNIT, 8, 1)


def test_nothing_is_logged_to_standard_error(capfd: pytest.CaptureFixture[str]) -> None:
    """What goes wrong is said by us, once; the library keeps its own log quiet."""
    adapter = ModbusAdapter.model_validate(
        {"driver": "modbus", "dead_man": "none", "slowest": "20 ms", "channels": {101: {"kind": "coil", "address": 0}}}
    )
    with scripted(always(b"\x00\xff\x13\x37" * 5)) as peer:
        opened = open_modbus(adapter=adapter, port=peer.port, limits=HardLimits.model_construct(), clock=CLOCK)
        with pytest.raises(AdapterGarbled), opened:
            raise AssertionError("opened")
    assert "" == capfd.readouterr().err


@settings(max_examples=60, deadline=None)
@given(st.lists(st.binary(min_size=1, max_size=40), max_size=6))
def test_no_bytes_make_an_exchange_hang_or_give_a_value(answers: list[bytes]) -> None:
    """Whatever comes from a line, one of our errors comes out, within the deadline."""
    near, far = socket.socketpair()
    with near, far:
        for answer in answers:
            far.sendall(answer)
        modbus = ModbusLine(port=_Plain(near.fileno()), clock=CLOCK, baud=115200, slowest=0.0)  # type: ignore[arg-type]
        with pytest.raises((AdapterGarbled, AdapterSilent, AdapterRefused)):
            modbus.words("input register", UNIT, 8, 1)


class _Plain:
    """A port that has what is in a socket, and nothing later."""

    name = "a socket"

    def __init__(self, descriptor: int) -> None:
        os.set_blocking(descriptor, False)
        self._descriptor = descriptor

    def write(self, data: bytes) -> None:
        """Say nothing to nobody."""

    def discard(self) -> int:
        return 0

    def drain(self, **_: object) -> int:
        return 0

    def read(self, wanted: int) -> bytes:
        try:
            return os.read(self._descriptor, max(wanted, 7))
        except BlockingIOError:
            CLOCK.sleep_until(CLOCK.now() + 0.002)
            return b""
