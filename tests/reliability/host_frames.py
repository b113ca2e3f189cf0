"""The host's parsers of binary frames: relay boards, Modbus on a serial line and on TCP, and a serial-line CAN adapter.

Whether bytes were a frame is decided here once more, from the published layouts and with a CRC of another library.
"""

import math
import re
from collections.abc import Callable, Iterator, Sequence
from importlib import import_module
from typing import Any, Final

from crccheck.crc import Crc16Modbus

from benchtest.adapters.board_link import Heard
from benchtest.adapters.can_link import as_heard
from benchtest.adapters.frames import FramesBench
from benchtest.adapters.modbus_line import Known, ModbusLine
from benchtest.clock import VirtualClock
from benchtest.errors import RigError
from benchtest.fixture.frames import FramesAdapter
from benchtest.messages import EXTENDED, NUMBER, CanCodec
from tests.reliability.far_side import FarSide
from tests.reliability.mutations import Sample
from tests.reliability.parsers import Misread


def crc(data: bytes) -> bytes:
    """Return CRC-16/MODBUS, low byte first, as another library than those under test has it."""
    return int(Crc16Modbus.calc(data)).to_bytes(2, "little")


# ---------------------------------------------------------------- relay boards


def relay_board(reply: str, status: str) -> FramesAdapter:
    """Return a board of three relays that answers."""
    return FramesAdapter.model_validate(
        {
            "driver": "frames",
            "dead_man": "none",
            "switch_on": "A0 {channel} 01 {sum8}",
            "switch_off": "A0 {channel} 00 {sum8}",
            "reply": reply,
            "status": {"ask": "A0 F0 {xor8}", "reply": status},
            "channels": {101: {"number": 1}, 102: {"number": 2}, 103: {"number": 3}},
        }
    )


class FramesParser:
    """`adapters.frames` and the templates of `fixture.frames`."""

    name = "relay board on frames"

    def __init__(self) -> None:
        self._boards = {
            "bits": relay_board("5A {channel} {state} {crc16}", "5B {bits:1} {sum8}"),
            "bytes": relay_board("5A {channel} {state} {crc8}", "5B {bytes:3} {crc16}"),
        }
        self._states = {"bits": b"\x05", "bytes": b"\x01\x00\x01"}
        self._asks: dict[str, Callable[[FramesBench], Any]] = {
            "set": lambda bench: bench.set(101, 1.0),
            "energised": FramesBench.energised,
        }
        self.corpus: Sequence[Sample] = [
            sample for kind in self._boards for ask in self._asks for sample in self._true(f"{kind} {ask}")
        ]

    def _true(self, ask: str) -> list[Sample]:
        far, bench = self._bench(ask)
        self._asks[ask.split()[1]](bench)
        return [Sample(f"{ask}/{number}", said) for number, said in enumerate(far.said)]

    def _bench(self, ask: str, at: int = -1, spoilt: bytes = b"") -> tuple[FarSide, FramesBench]:
        kind = ask.partition(" ")[0]
        board, clock = self._boards[kind], VirtualClock()
        assert board.reply is not None
        assert board.status is not None
        order, state = board.reply.render(channel=1, on=True), board.status.reply.render(states=self._states[kind])
        far = FarSide(clock, lambda frame: state if frame[1] == 0xF0 else order, at, spoilt)
        return far, FramesBench(port=far, adapter=board, clock=clock)

    def take(self, sample: Sample) -> bool:
        ask, _, number = sample.ask.partition("/")
        far, bench = self._bench(ask, int(number), sample.data)
        try:
            value = self._asks[ask.split()[1]](bench)
        except RigError:
            return False
        true = far.said[far.spoil_at]
        came = sample.data[: len(true)]
        if true[:1] == b"\x5a" and came != true:
            raise Misread(f"{ask}: {came.hex()} was taken for {true.hex()}")
        if true[:1] == b"\x5b":
            self._judge(ask, value, came, true)
        return True

    def _judge(self, ask: str, value: Any, came: bytes, true: bytes) -> None:
        check = 1 if ask.startswith("bits") else 2
        right = bytes([sum(came[:-1]) % 256]) if check == 1 else crc(came[:-2])
        if len(came) != len(true) or came[:1] != b"\x5b" or came[-check:] != right:
            raise Misread(f"{ask}: {came.hex()} was taken for a state")
        on = {101 + n for n in range(3) if (came[1] >> n & 1 if check == 1 else came[1 + n])}
        if (value if value is not None else {101}) - on or (value is not None and value != on):
            raise Misread(f"{ask}: {came.hex()} was read as {value}")


# ---------------------------------------------------------------- Modbus

UNIT: Final = 17
KNOWN: Final = Known(table="holding register", unit=UNIT, address=9, reads=4711)
SAID: Final = {0: b"Somebody", 1: b"Relays 16", 2: b"1.2"}


class ModbusParser:
    """`adapters.modbus_line`, and what pymodbus lets through."""

    def __init__(self, *, rtu: bool) -> None:
        self.name = "Modbus RTU, host" if rtu else "Modbus TCP, host"
        self._rtu = rtu
        self._asks: dict[str, Callable[[ModbusLine], Any]] = {
            "coils": lambda line: line.bits("coil", UNIT, 19, 19),
            "inputs": lambda line: line.bits("discrete input", UNIT, 196, 22),
            "holding": lambda line: line.words("holding register", UNIT, 107, 3),
            "input": lambda line: line.words("input register", UNIT, 8, 1),
            "switch on": lambda line: line.write_coil(UNIT, 172, True),
            "switch off": lambda line: line.write_coil(UNIT, 172, False),
            "write": lambda line: line.write_word(UNIT, 1, 3),
            "who": lambda line: line.identification(UNIT),
        }
        self.corpus: Sequence[Sample] = [sample for ask in self._asks for sample in self._true(ask)]

    def _true(self, ask: str) -> list[Sample]:
        far, line = self._line()
        self._asks[ask](line)
        return [Sample(f"{ask}/{number}", said) for number, said in enumerate(far.said)]

    def _line(self, at: int = -1, spoilt: bytes = b"") -> tuple[FarSide, ModbusLine]:
        clock = VirtualClock()
        far = FarSide(clock, self._answer, at, spoilt)
        baud = 115200.0 if self._rtu else None
        return far, ModbusLine(port=far, clock=clock, baud=baud, slowest=0.3, known=KNOWN)  # type: ignore[arg-type]

    def _answer(self, request: bytes) -> bytes:
        if self._rtu:
            frame = request[:1] + answer_pdu(request[1:-2])
            return frame + crc(frame)
        pdu = answer_pdu(request[7:])
        return request[:4] + (len(pdu) + 1).to_bytes(2, "big") + request[6:7] + pdu

    def take(self, sample: Sample) -> bool:
        ask, _, number = sample.ask.partition("/")
        far, line = self._line(int(number), sample.data)
        try:
            value = self._asks[ask](line)
        except RigError:
            return False
        request = far.heard[far.spoil_at]
        pdus = list(self._whole(sample.data, request))
        asked_again = far.may_be_true and ask not in {"switch on", "switch off", "write"}
        if asked_again:
            pdus.append(answer_pdu(request[1:-2] if self._rtu else request[7:]))
        if not (any(says(ask, pdu, value) for pdu in pdus) or (ask == "who" and value == "" and pdus)):
            raise Misread(f"{ask}: {sample.data.hex(' ')} was read as {value}")
        return True

    def _whole(self, data: bytes, request: bytes) -> Iterator[bytes]:
        """Yield the PDU of every frame of the right unit, and transaction, that begins anywhere in the bytes."""
        if self._rtu:
            for start in range(len(data)):
                for end in range(start + 4, len(data) - 1):
                    if data[start] == UNIT and crc(data[start:end]) == data[end : end + 2]:
                        yield data[start + 1 : end]  # fmt: skip
            return
        for start in range(len(data)):
            head = data[start : start + 7]
            if len(head) == 7 and head[:4] == request[:4] and head[6] == UNIT:
                yield data[start + 7 : start + 6 + int.from_bytes(head[4:6], "big")]


def answer_pdu(pdu: bytes) -> bytes:
    """Return the true answer to a request: function code and data (V1.1b3, clause 6)."""
    address, count = int.from_bytes(pdu[1:3], "big"), int.from_bytes(pdu[3:5], "big")
    match pdu[0]:
        case 1 | 2:
            size = (count + 7) // 8
            return bytes([pdu[0], size]) + bytes([0xCD, 0x6B, 0x05][:size])
        case 3 | 4:
            words = [4711 if address == KNOWN.address else 555 + n for n in range(count)]
            return bytes([pdu[0], 2 * count]) + b"".join(word.to_bytes(2, "big") for word in words)
        case 5 | 6:
            return pdu
        case _:
            objects = b"".join(bytes([number, len(text)]) + text for number, text in SAID.items())
            return b"\x2b\x0e\x01\x01\x00\x00" + bytes([len(SAID)]) + objects


def says(ask: str, pdu: bytes, value: Any) -> bool:
    """Return whether a PDU says what was read, or confirms what was written."""
    match ask:
        case "coils" | "inputs":
            count = 19 if ask == "coils" else 22
            bits = [bool(byte >> place & 1) for byte in pdu[2:] for place in range(8)]
            return pdu[:2] == bytes([1 if ask == "coils" else 2, 3]) and bits[:count] == value
        case "holding" | "input":
            words = [int.from_bytes(pdu[at : at + 2], "big") for at in range(2, len(pdu), 2)]
            return pdu[:2] == bytes([3, 6] if ask == "holding" else [4, 2]) and words == value
        case "switch on":
            return pdu == b"\x05\x00\xac\xff\x00"
        case "switch off":
            return pdu == b"\x05\x00\xac\x00\x00"
        case "write":
            return pdu == b"\x06\x00\x01\x00\x03"
        case _:
            return pdu[:2] == b"\x2b\x0e"


# ---------------------------------------------------------------- CAN

DATABASE: Final = """VERSION ""
BU_: Host Board
BO_ 257 Beat: 2 Board
 SG_ sequence : 0|8@1+ (1,0) [0|255] "" Host
 SG_ code : 8|4@1+ (1,0) [0|15] "" Host
BO_ 800 Status: 6 Board
 SG_ k1 : 0|1@1+ (1,0) [0|1] "" Host
 SG_ supply : 32|16@1+ (0.001,0) [0|40] "V" Host
BO_ 801 Several: 3 Board
 SG_ which M : 0|8@1+ (1,0) [0|255] "" Host
 SG_ one m0 : 8|16@1+ (1,0) [0|65535] "" Host
 SG_ two m1 : 8|16@1- (0.1,0) [0|6553] "" Host
BO_ 2566845696 Wide: 4 Board
 SG_ amount : 0|32@1- (1,0) [0|0] "A" Host
SIG_VALTYPE_ 2566845696 amount : 1;
"""
NAMES: Final = {(257, False): ("Beat", 2), (800, False): ("Status", 6), (801, False): ("Several", 3),
                (2566845696 & 0x1FFFFFFF, True): ("Wide", 4)}  # fmt: skip
HEARD: Final = re.compile(
    rb"(?:[tdb](?P<short>[0-9A-Fa-f]{3})|[TxDB](?P<long>[0-9A-Fa-f]{8}))(?P<size>[0-9A-Fa-f])(?P<data>(?:[0-9A-Fa-f]{2})*)"
)
"""A line of a serial-line adapter with a frame in it, classic or FD; what is behind its data is python-can's affair."""
SIZES: Final = (*range(9), 12, 16, 20, 24, 32, 48, 64)


class CanParser:
    """python-can's reading of a serial-line adapter, and `adapters.can_link` with the board's signal database."""

    name = "serial-line CAN, host"

    def __init__(self) -> None:
        library = import_module("can")
        self._line = _SerialText()
        self._bus = library.Bus(interface="slcan", channel="loop://", bitrate=125000, sleep_after_open=0,
                                ignore_config=True)  # fmt: skip
        self._bus.serialPortOrig.close()
        self._bus.serialPortOrig = self._line
        self._codec = CanCodec(DATABASE)
        texts = ["t10120104\r", "t3206010000009A5D\r", "t32060300FF00C05D\r", "t3213000A00\r", "t321301F6FF\r",
                 "T18FEF10040000A040\r", "\r", "z\rZ\r", "t10120204\rt32060100000000FF\r", "\a", "r1012\r",
                 "d1012AABB\r"]  # fmt: skip
        self.corpus: Sequence[Sample] = [Sample("", text.encode()) for text in texts]

    def take(self, sample: Sample) -> bool:
        self._line.text, said = sample.data, False
        self._bus._buffer.clear()  # half a line of the case before
        while self._line.text:
            try:
                came = self._bus.recv(0)
                frame = None if came is None else as_heard(0.0, came)
            except Exception:  # noqa: BLE001 - what the receiver dies of; CanLink says LinkLost then
                return False
            if frame is not None:
                said = self._judge(frame, sample.data) or said
        return said

    def _judge(self, frame: Heard, data: bytes) -> bool:
        said, signals = self._codec.decode(frame.identifier, frame.data)
        if not said:
            return False
        number, extended = frame.identifier & NUMBER, bool(frame.identifier & EXTENDED)
        name, length = NAMES.get((number, extended), ("", 0))
        whole = [(found, SIZES[int(found["size"], 16)]) for found in HEARD.finditer(data)]
        same = [found for found, size in whole if int(found["short"] or found["long"], 16) == number
                and bool(found["long"]) == extended and len(found["data"]) >= 2 * size
                and bytes.fromhex(found["data"].decode())[:size] == frame.data]  # fmt: skip
        if name != said or length > len(frame.data) or not same:
            raise Misread(f"{data!r} was read as {said} {signals}")
        if any(not isinstance(value, float) for value in signals.values()):
            raise Misread(f"{data!r} has signals that are no numbers: {signals}")
        if any(math.isinf(value) for value in signals.values()) and said != "Wide":
            raise Misread(f"{data!r} was read as {said} {signals}")
        return True


class _SerialText:
    """A serial port that has a text waiting, as far as python-can uses it."""

    def __init__(self) -> None:
        self.text = b""

    def write(self, data: bytes) -> None:
        """Send to nobody."""

    def flush(self) -> None:
        """Have nothing to send."""

    def close(self) -> None:
        """Stay."""

    @property
    def in_waiting(self) -> int:
        return len(self.text)

    def read(self, size: int) -> bytes:
        data, self.text = self.text[:size], self.text[size:]
        return data
