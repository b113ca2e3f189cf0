"""The adapters' parsers of binary frames and of CAN text; outputs behind them write down what they are told."""

import asyncio
import re
import weakref
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, Final, cast

from pymodbus import FramerType
from pymodbus.server import ModbusSerialServer, ModbusTcpServer

from benchtest.cli.documents import prepare
from benchtest.clock import VirtualClock
from benchtest.fixture.modbus import ModbusAdapter
from benchtest.messages import EXTENDED, CanCodec
from benchtest.simulator.frames_side import FramesSide
from benchtest.simulator.modbus_side import WholeRequests
from benchtest.simulator.modules import Modules
from benchtest.simulator.scene import Scene
from benchtest.simulator.section import Section
from benchtest.simulator.server import CanSide
from tests.reliability.bench_lines import Door, Ledger
from tests.reliability.host_frames import crc, relay_board
from tests.reliability.mutations import Sample
from tests.reliability.parsers import Misread

ROOT: Final = Path(__file__).parents[2]


@dataclass
class Outputs(Ledger):
    """A ledger as the part of a bench that one adapter serves."""

    outputs: tuple[int, ...] = (101, 102, 103)
    offs: list[int] = field(default_factory=list)

    def off(self, channel: int) -> None:
        super().off(channel)
        self.offs.append(channel)


# ---------------------------------------------------------------- relay boards


class FramesSideParser:
    """`simulator.frames_side`: a relay moves only at its own whole frame, wherever that begins."""

    name = "relay board on frames, adapter"

    def __init__(self) -> None:
        self._adapter = relay_board("5A {channel} {state} {crc16}", "5B {bits:1} {sum8}")
        self._frames = {
            b"\xa0%c%c%c" % (number, on, (0xA0 + number + on) % 256): (100 + number, float(on))
            for number in (1, 2, 3) for on in (0, 1)
        }  # fmt: skip
        several = [b"".join(self._frames), b"\xa0\xa0" + next(iter(self._frames))]
        self.corpus: Sequence[Sample] = [Sample("", data) for data in (*self._frames, b"\xa0\xf0\x50", *several)]

    def take(self, sample: Sample) -> bool:
        clock = VirtualClock()
        bench, door = Outputs(clock), Door(sample.data)
        side = FramesSide(door, self._adapter, cast("Section", bench), clock)
        side.turn()
        clock.sleep_until(10.0)
        side.turn()
        clock.sleep_until(20.0)
        side.turn()
        allowed = [order for frame, order in self._frames.items() for _ in range(sample.data.count(frame))]
        for order in bench.told:
            if order not in allowed:
                raise Misread(f"{sample.data.hex(' ')}: output {order}")
            allowed.remove(order)
        return bool(door.said)


# ---------------------------------------------------------------- Modbus modules


@cache
def _modules() -> tuple[ModbusAdapter, Scene]:
    prepared = prepare(ROOT / "profiles/carwash.yaml", ROOT / "fixtures/modbus.yaml", None, (), partial=True)
    fixture = prepared.fixture.fixture
    scene = Scene(fitted=prepared.fitted, harness=prepared.harness, fixture=fixture, database=None, seed=1)
    return cast("ModbusAdapter", fixture.adapters["io"]), scene


class _Wire(asyncio.Transport):
    """Where a server's answers go."""

    def __init__(self) -> None:
        super().__init__()
        self.said = b""

    def write(self, data: Any) -> None:
        self.said += bytes(data)

    def close(self) -> None:
        """Stay."""


class ModbusSideParser:
    """`simulator.modbus_side` without its doors: pymodbus' own server, and `simulator.modules` behind it."""

    def __init__(self, *, rtu: bool) -> None:
        self.name = "Modbus RTU, adapter" if rtu else "Modbus TCP, adapter"
        self._rtu = rtu
        self._loop = asyncio.new_event_loop()
        weakref.finalize(self, self._loop.close)
        self._adapter, self._scene = _modules()
        self._bench = Outputs(VirtualClock())
        modules = Modules(self._adapter, self._scene, cast("Section", self._bench), self._bench.clock)
        self._server: Any = self._loop.run_until_complete(self._served(modules))
        requests = ["05 0000 FF00", "05 0001 0000", "06 0004 1267", "06 0000 0960", "06 0001 05DC", "05 0006 FF00",
                    "0F 0000 0006 01 15", "10 0000 0002 04 0960 05DC", "01 0000 0008", "02 0002 0028", "03 0064 0001",
                    "04 0000 000E", "2B 0E 01 00", "06 0065 0014", "05 0006 0000"]  # fmt: skip
        self.corpus: Sequence[Sample] = [Sample("", self._framed(bytes.fromhex(text))) for text in requests]

    async def _served(self, modules: Modules) -> ModbusSerialServer | ModbusTcpServer:
        whole = WholeRequests(FramerType.RTU if self._rtu else FramerType.SOCKET)
        hooks: dict[str, Any] = {"trace_packet": whole.packet, "trace_pdu": whole.pdu}
        if self._rtu:
            return ModbusSerialServer(modules.devices(), port="none", framer=FramerType.RTU, **hooks)
        return ModbusTcpServer(modules.devices(), address=("127.0.0.1", 0), **hooks)

    def _framed(self, pdu: bytes) -> bytes:
        if self._rtu:
            return b"\x01" + pdu + crc(b"\x01" + pdu)
        return b"\x00\x07\x00\x00" + (len(pdu) + 1).to_bytes(2, "big") + b"\x01" + pdu

    def take(self, sample: Sample) -> bool:
        for kept in (self._bench.told, self._bench.sourced, self._bench.values, self._bench.offs):
            kept.clear()
        said = self._loop.run_until_complete(self._heard(sample.data))
        written = [write for pdu in self._whole(sample.data) for write in writes(pdu)]
        coils = {address for table, address, _ in written if table == "coil"}
        words = {value for table, _, value in written if table == "word"}
        wrong = [o for o in self._bench.told if not self._ordered(o, written)]
        wrong_supplies = [s for s in self._bench.sourced if not (coils & {6, 7} or words)]
        if wrong or wrong_supplies:
            raise Misread(f"{sample.data.hex(' ')}: outputs {wrong}, supplies {wrong_supplies}")
        return bool(said) and not self._refused(said)

    async def _heard(self, data: bytes) -> bytes:
        handler, wire = self._server.callback_new_connection(), _Wire()
        handler.connection_made(wire)
        handler.data_received(data)
        for _ in range(8):
            await asyncio.sleep(0)
        return wire.said

    def _refused(self, said: bytes) -> bool:
        return bool(said[1 if self._rtu else 7] & 0x80)

    @staticmethod
    def _ordered(order: tuple[int, float], written: list[tuple[str, int, int]]) -> bool:
        channel, value = order
        if channel < 200:
            return ("coil", channel - 101, int(value)) in written
        address = channel - 601 + 4
        return any(table == "word" and at == address and value in {raw, float("inf")} for table, at, raw in written)

    def _whole(self, data: bytes) -> Iterator[bytes]:
        """Yield the PDU of every frame for unit 1 that begins anywhere in the bytes."""
        for start in range(len(data)):
            if self._rtu:
                for end in range(start + 4, len(data) - 1):
                    if data[start] == 1 and crc(data[start:end]) == data[end : end + 2]:
                        yield data[start + 1 : end]  # fmt: skip
            elif data[start + 2 : start + 4] == b"\0\0" and data[start + 6 : start + 7] == b"\x01":
                size = int.from_bytes(data[start + 4 : start + 6], "big")
                if len(data) >= start + 6 + size:
                    yield data[start + 7 : start + 6 + size]


def writes(pdu: bytes) -> Iterator[tuple[str, int, int]]:
    """Yield table, address and value of everything that a well-formed request writes (V1.1b3, clause 6)."""
    address, value = int.from_bytes(pdu[1:3], "big"), int.from_bytes(pdu[3:5], "big")
    match pdu[0] if pdu else 0:
        case 5 if len(pdu) == 5 and value in {0, 0xFF00}:
            yield "coil", address, int(bool(value))
        case 6 if len(pdu) == 5:
            yield "word", address, value
        case 15 if len(pdu) == 6 + (value + 7) // 8 == 6 + pdu[5]:
            yield from (("coil", address + n, pdu[6 + n // 8] >> n % 8 & 1) for n in range(value))
        case 16 if len(pdu) == 6 + 2 * value == 6 + pdu[5]:
            words = (pdu[6 + 2 * n : 8 + 2 * n] for n in range(value))
            yield from (("word", address + n, int.from_bytes(word, "big")) for n, word in enumerate(words))
        case _:
            return


# ---------------------------------------------------------------- CAN text


@dataclass
class _Bus:
    """A world that hears frames, and lets the board's own signal database read them."""

    codec: CanCodec
    heard: list[tuple[int, bytes]] = field(default_factory=list)
    commands: list[bytes] = field(default_factory=list)
    next_event: float | None = None

    def advance(self, to: float) -> None:
        """Stand still."""

    def take_sent(self) -> list[tuple[float, int, bytes]]:
        return []

    def receive(self, identifier: int, data: bytes) -> None:
        self.heard.append((identifier, data))
        name, _ = self.codec.decode(identifier, data)
        if name == "ZoneCommand":
            self.commands.append(data)


_LINE: Final = re.compile(rb"(?<![^\r])t([0-7][0-9a-fA-F]{2})([0-8])([0-9a-fA-F]*)(?=\r)")
_WIDE: Final = re.compile(rb"(?<![^\r])T([01][0-9a-fA-F]{7})([0-8])([0-9a-fA-F]*)(?=\r)")


class SlcanParser:
    """`simulator.slcan`, the CAN side of `simulator.server` and the board's `codec`."""

    name = "serial-line CAN, adapter"

    def __init__(self) -> None:
        self._codec = CanCodec((ROOT / "profiles/greenhouse.dbc").read_text(encoding="utf-8"))
        texts = ["C\rS4\rO\r", "S4\rO\rt10120101\rt12020600\r", "O\rt1202FF07\rT18FEF1002AABB\rC\r", "V\rN\rF\rs031C\r",
                 "O\rT000001202FF07\r", "O\rt12020100\rt1203010000\r"]  # fmt: skip
        self.corpus: Sequence[Sample] = [Sample("", text.encode()) for text in texts]

    def take(self, sample: Sample) -> bool:
        bus, door = _Bus(self._codec), Door(sample.data)
        CanSide(door, bus, VirtualClock()).turn()
        allowed = [
            (int(found[1], 16) | bits, bytes.fromhex(found[3].decode()))
            for pattern, bits in ((_LINE, 0), (_WIDE, EXTENDED))
            for found in pattern.finditer(sample.data)
            if len(found[3]) == 2 * int(found[2])
        ]
        short = [int(found[1], 16) for found in _LINE.finditer(sample.data)]
        if any(frame not in allowed for frame in bus.heard):
            raise Misread(f"{sample.data!r}: {bus.heard}")
        if bus.commands and (0x120 not in short or b"O\r" not in sample.data):
            raise Misread(f"{sample.data!r}: commands {bus.commands}")
        return b"\a" not in door.said
