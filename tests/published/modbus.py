"""Frames that others printed about Modbus, and check values of checksums.

Sources: the PDU examples of the MODBUS Application Protocol Specification V1.1b3, clause 6, as quoted in public test
suites, framed for unit 17 with the CRC of the serial line guide; CRC check values ("123456789") of the CRC catalogue as
in public CRC libraries; the CRC of the bytes 02 07 is an example of the serial line guide, from memory.
"""

from dataclasses import dataclass
from typing import Final

UNIT: Final = 0x11


@dataclass(frozen=True)
class Exchange:
    """One request and its answer on a serial line."""

    clause: str
    request: bytes
    answer: bytes


def _exchange(clause: str, request: str, answer: str) -> Exchange:
    return Exchange(clause, bytes.fromhex(request), bytes.fromhex(answer))


READ_COILS: Final = _exchange("6.1", "11 01 00 13 00 13 8E 92", "11 01 03 CD 6B 05 40 12")
READ_INPUTS: Final = _exchange("6.2", "11 02 00 C4 00 16 BA A9", "11 02 03 AC DB 35 20 18")
READ_HOLDING: Final = _exchange("6.3", "11 03 00 6B 00 03 76 87", "11 03 06 02 2B 00 00 00 64 C8 BA")
READ_INPUT_REGISTER: Final = _exchange("6.4", "11 04 00 08 00 01 B2 98", "11 04 02 00 0A F8 F4")
WRITE_COIL: Final = _exchange("6.5", "11 05 00 AC FF 00 4E 8B", "11 05 00 AC FF 00 4E 8B")
WRITE_REGISTER: Final = _exchange("6.6", "11 06 00 01 00 03 9A 9B", "11 06 00 01 00 03 9A 9B")

COILS_20_TO_38: Final = (0xCD, 0x6B, 0x05)
"""Data of the answer of 6.1: coils 20 to 38 of the manual, which are addresses 19 to 37; coil 20 is the lowest bit."""
INPUTS_197_TO_218: Final = (0xAC, 0xDB, 0x35)
REGISTERS_108_TO_110: Final = (555, 0, 100)

EXCEPTIONS: Final = {
    "11 81 02 C0 54": "has no such address",
    "11 83 02 C1 34": "has no such address",
    "11 85 03 03 54": "does not take this value",
    "11 90 04 4C 06": "has failed",
}
"""Exception answers of clause 7, by their bytes; what each means in our words."""

READ_HOLDING_TCP: Final = bytes.fromhex("00 01 00 00 00 06 11 03 00 6B 00 03")
"""The request of 6.3 on TCP, first transaction (MBAP header of the TCP implementation guide)."""

CHECK: Final = b"123456789"
CRC16_MODBUS: Final = 0x4B37
CRC8_SMBUS: Final = 0xF4
CRC16_OF_0207: Final = bytes.fromhex("41 12")
"""As sent, low byte first."""
