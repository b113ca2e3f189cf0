"""One line with Modbus units on it, RTU or TCP: requests out, fitting answers in. Only this module knows pymodbus.

pymodbus frames and decodes; bytes and deadlines are ours (`adapters.ports`): its client keeps none over garbage. RTU
has no transaction numbers, so an answer must fit its request in unit, function, length and, of a write, content. After
silence or garbage the client is thrown away, nothing is asked until the slowest answer would have come, the line is
drained, and where the fixture names a register whose content is known, that is read first. Writes are sent once; reads
may be asked twice, counted in `retries`, and only where such a register proves that the line is in step again. One
request at a time.

Sources: MODBUS Application Protocol Specification V1.1b3, clauses 6 (functions) and 7 (exception codes), as quoted in
public test suites; silence between RTU frames by the serial line guide, from memory.
"""

import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, TypeVar

from pymodbus import FramerType
from pymodbus.client.base import ModbusBaseSyncClient
from pymodbus.exceptions import ModbusException
from pymodbus.pdu import ExceptionResponse, ModbusPDU
from pymodbus.transport import CommParams, CommType

from benchtest.adapters.ports import Port
from benchtest.clock import Clock
from benchtest.errors import AdapterGarbled, AdapterRefused, AdapterSilent

CHARACTER: Final = 11
"""Bits of one RTU character: start, eight data, parity or a second stop bit, stop."""
LONGEST: Final = 256
"""Bytes of the longest RTU frame."""
MOST_BITS: Final = 2000
MOST_WORDS: Final = 125
"""What one request may read (V1.1b3, 6.1 and 6.3)."""
ROUNDS: Final = 3
"""How often it is tried to get a line in step again."""
FOREVER: Final = 1e9
"""Seconds; pymodbus' own time-out, which ours must always precede."""
READS: Final = {
    "coil": "read_coils",
    "discrete input": "read_discrete_inputs",
    "holding register": "read_holding_registers",
    "input register": "read_input_registers",
}
"""Table → method of pymodbus."""
FUNCTIONS: Final = {
    "read_coils": 0x01,
    "read_discrete_inputs": 0x02,
    "read_holding_registers": 0x03,
    "read_input_registers": 0x04,
    "write_coil": 0x05,
    "write_register": 0x06,
    "read_device_information": 0x2B,
}
"""Method of pymodbus → function code of request and answer."""
UNCHECKED: Final = {"read_device_information"}
"""Methods whose answers pymodbus does not write as it has read them."""
EXCEPTIONS: Final = {
    1: "does not know this function",
    2: "has no such address",
    3: "does not take this value",
    4: "has failed",
    5: "has accepted and is still at it",
    6: "is busy",
    8: "finds its memory damaged",
    10: "cannot be reached through its gateway",
    11: "does not answer its gateway",
}
Decoded = TypeVar("Decoded")


@dataclass(frozen=True, kw_only=True, slots=True)
class Known:
    """A register whose content is known."""

    table: str
    unit: int
    address: int
    reads: int


class _Client(ModbusBaseSyncClient):
    """pymodbus' transactions over our port, each with one total deadline."""

    def __init__(self, port: Port, framer: FramerType, now: Callable[[], float]) -> None:
        params = CommParams(comm_type=CommType.SERIAL, host=port.name, timeout_connect=FOREVER)
        super().__init__(framer, 0, params, None, None, None)
        self.deadline = 0.0
        self.received = bytearray()
        """What came since the last request, for the words of a refusal."""
        self._port = port
        self._now = now

    def heard(self, pdu: ModbusPDU) -> bool:
        """Say whether an answer as pymodbus has read it is what came; it reads past wrong lengths and values."""
        frame = self.framer.buildFrame(pdu)
        one_short = frame[:5] + b"\2" + frame[6:]  # as some modules frame a refusal on TCP
        return frame in self.received or (isinstance(pdu, ExceptionResponse) and one_short in self.received)

    def connect(self) -> bool:
        return True

    def send(self, request: bytes, addr: tuple[str, int] | None = None) -> int:
        del addr
        self.received.clear()
        self._port.write(request)
        return len(request)

    def recv(self, size: int | None) -> bytes:
        """Return what has come, empty when the deadline has."""
        del size
        while self._now() < self.deadline:
            if data := self._port.read(1):
                self.received += data
                return data
        return b""


class ModbusLine:
    """Units on one line. One thread at a time."""

    def __init__(
        self, *, port: Port, clock: Clock, baud: float | None, slowest: float, known: Known | None = None
    ) -> None:
        """`baud` is None on TCP; `slowest` is the slowest answer of any unit in seconds."""
        self.retries = 0
        """Reads asked a second time."""
        self.stale = 0
        """Bytes of late answers and garbage thrown away."""
        self.last = clock.now()
        """When the last exchange ended."""
        self.heard: dict[int, float] = {}
        """Unit → when it last answered."""
        self._port, self._clock, self._known = port, clock, known
        self._framer = FramerType.SOCKET if baud is None else FramerType.RTU
        self._patience = slowest + (0.0 if baud is None else LONGEST * CHARACTER / baud)
        self._silence = 0.0 if baud is None else max(3.5 * CHARACTER / baud, 1.75e-3 if baud > 19200 else 0.0)
        self._client = self._fresh()
        self._sent = clock.now()
        self._unsure = False

    # ------------------------------------------------------------ what can be asked and ordered

    def bits(self, table: str, unit: int, address: int, count: int) -> list[bool]:
        """Return coils or discrete inputs from `address` on."""

        def ask() -> list[bool]:
            pdu = self._exchange(READS[table], unit, address=address, count=count)
            if len(pdu.bits) != (count + 7) // 8 * 8:
                raise self._misfit(f"{len(pdu.bits)} bits", f"{count}")
            return list(pdu.bits[:count])

        return self._twice(ask)

    def words(self, table: str, unit: int, address: int, count: int) -> list[int]:
        """Return holding or input registers from `address` on."""

        def ask() -> list[int]:
            pdu = self._exchange(READS[table], unit, address=address, count=count)
            if len(pdu.registers) != count:
                raise self._misfit(f"{len(pdu.registers)} registers", f"{count}")
            return list(pdu.registers)

        return self._twice(ask)

    def write_coil(self, unit: int, address: int, value: bool) -> None:
        """Write one coil, once."""
        pdu = self._exchange("write_coil", unit, address=address, value=value)
        if (pdu.address, pdu.bits[:1]) != (address, [value]):
            raise self._misfit(f"an echo of coil {pdu.address}", f"coil {address} = {value:d}")

    def write_word(self, unit: int, address: int, value: int) -> None:
        """Write one holding register, once."""
        pdu = self._exchange("write_register", unit, address=address, value=value)
        if (pdu.address, pdu.registers) != (address, [value]):
            raise self._misfit(f"an echo of register {pdu.address}", f"register {address} = {value}")

    def identification(self, unit: int) -> str:
        """Return maker, product and version, separated by commas; empty where the unit knows no such function."""

        def ask() -> Mapping[int, object]:
            found: Mapping[int, object] = getattr(
                self._exchange("read_device_information", unit, read_code=1), "information", {}
            )
            if not found:
                raise self._misfit("an answer without any object", "maker, product and version")
            return found

        try:
            information = self._twice(ask)
        except AdapterRefused:
            return ""
        texts = [information.get(number, b"") for number in (0, 1, 2)]
        return ",".join(text.decode("ascii", "replace").strip() if isinstance(text, bytes) else "" for text in texts)

    # ------------------------------------------------------------ one exchange

    def _twice(self, ask: Callable[[], Decoded]) -> Decoded:
        """Ask; a second time after silence or garbage, where the line can be proved to be in step again."""
        try:
            return ask()
        except (AdapterSilent, AdapterGarbled):
            if self._known is None:
                raise
            self.retries += 1
            return ask()

    def _exchange(self, request: str, unit: int, **asked: object) -> ModbusPDU:
        """Send one request and return the answer that fits it."""
        if self._unsure:
            self._in_step_again()
        return self._answered(request, unit, **asked)

    def _answered(self, request: str, unit: int, **asked: object) -> ModbusPDU:
        self._clock.sleep_until(self.last + self._silence)
        self.stale += self._port.discard()
        self._sent = self._clock.now()
        self._client.deadline = self._sent + self._patience
        self._unsure = True  # until an answer has come that fits
        try:
            pdu: ModbusPDU = getattr(self._client, request)(device_id=unit, **asked)
        except (ModbusException, struct.error, ValueError, IndexError, KeyError) as cause:
            raise self._nothing(unit, cause) from cause
        self.last = self.heard[unit] = self._clock.now()
        if pdu.function_code & 0x7F != FUNCTIONS[request]:
            raise self._misfit(f"function {pdu.function_code & 0x7F}", f"{FUNCTIONS[request]}")
        if not (request in UNCHECKED or self._client.heard(pdu)):
            raise self._misfit("a frame whose lengths or values contradict themselves", f"an answer to {request}")
        self._unsure = False
        if isinstance(pdu, ExceptionResponse):
            words = f"{EXCEPTIONS.get(pdu.exception_code, 'refuses')} (Modbus exception {pdu.exception_code}"
            raise AdapterRefused(f"{self._port.name}: unit {unit} {words} to {request}, {_said(asked)})")
        return pdu

    def _nothing(self, unit: int, cause: Exception) -> AdapterSilent | AdapterGarbled:
        """Return what to say of an exchange without an answer that can be read."""
        self.last = self._clock.now()
        if came := bytes(self._client.received[:16]):
            more = "…" if len(self._client.received) > len(came) else ""
            return AdapterGarbled(
                f"{self._port.name}: no answer of unit {unit} in {came.hex(' ').upper()}{more} ({cause})"
            )
        return AdapterSilent(f"{self._port.name}: unit {unit} does not answer (is it on, and is this its number?)")

    def _misfit(self, found: str, wanted: str) -> AdapterGarbled:
        self._unsure = True
        return AdapterGarbled(f"{self._port.name}: an answer to something else: {found} instead of {wanted}")

    # ------------------------------------------------------------ in step again

    def _in_step_again(self) -> None:
        """Begin anew until what is known is read; AdapterGarbled when it is not after a few rounds."""
        for left in reversed(range(ROUNDS)):
            self._begin_anew()
            try:
                self._read_known()
            except AdapterGarbled:  # still somebody else's late answer
                if not left:
                    raise
            else:
                return

    def _begin_anew(self) -> None:
        """Wait until no late answer can come, drain, and take a fresh client."""
        self._clock.sleep_until(self._sent + 2 * self._patience)
        self.stale += self._port.drain(now=self._clock.now, longest=self._patience)
        number = self._client.transaction.next_tid
        self._client = self._fresh()
        self._client.transaction.next_tid = number  # on TCP a late answer must never have the number of a new one

    def _read_known(self) -> None:
        known = self._known
        if known is None:
            self._unsure = False
            return
        pdu = self._answered(READS[known.table], known.unit, address=known.address, count=1)
        if pdu.registers != [known.reads]:
            raise self._misfit(f"{pdu.registers} in {known.table} {known.address}", f"{known.reads}")

    def _fresh(self) -> _Client:
        return _Client(self._port, self._framer, self._clock.now)


def _said(asked: dict[str, object]) -> str:
    return ", ".join(f"{key} {value}" for key, value in asked.items())
