"""How messages stand on a serial line, fully resolved: frozen, and whole in a procedure (bytes are hexadecimal text).

A frame is, in this order: the bytes that it begins with, its body, a checksum, the bytes that it ends with; each but
the body may be missing. It ends after a fixed number of bytes, where a length in it says, or at its last bytes.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, kw_only=True, slots=True)
class Mark:
    """Bytes that tell a message from others."""

    at: int
    """Byte of the frame, from 0."""
    reads: str
    """Hexadecimal."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SignalPlace:
    """Where a number stands in a message: value = count · scale + offset."""

    at: int
    """Byte of the frame, from 0; in text the field, 0 being the message's word."""
    bytes: int = 1
    shift: int = 0
    """Lowest bit that belongs to it, once its bytes are one number."""
    bits: int = 8
    """How many bits belong to it."""
    signed: bool = False
    low_byte_first: bool = True
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""
    decimals: int = 0
    """Text only: places after the point when it is written."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Layout:
    """One message."""

    name: str
    marks: tuple[Mark, ...] = ()
    """Bytes only; all must be there."""
    word: str = ""
    """Text only: the first field."""
    length: int
    """Bytes of the whole frame; in text the number of fields."""
    signals: Mapping[str, SignalPlace]
    answers: str = ""
    """Message that this one answers; it comes only then. Empty when it comes by itself."""
    within: float = 0.0
    """Slowest answer in seconds, what the bytes take on the wire not counted."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SerialFormat:
    """One board's serial line: characters, frames and messages."""

    parity: Literal["none", "even", "odd"] = "none"
    data_bits: int = 8
    stop_bits: int = 1
    kind: Literal["bytes", "text"]
    begins: str = ""
    """Hexadecimal, as all bytes here."""
    ends: str = ""
    length: int = 0
    """Bytes of every frame; 0 when they differ."""
    length_at: int | None = None
    """Byte where a length stands; None when none does."""
    length_bytes: int = 1
    length_low_byte_first: bool = True
    length_adds: int = 0
    """Bytes of the whole frame less the length that stands in it."""
    checksum: str = ""
    """Name in `checksums`; empty when there is none."""
    checksum_from: int = 0
    """First byte that it covers."""
    checksum_after: str = ""
    """Text only: what stands between the last byte covered and the checksum's digits."""
    longest: int = 256
    """Bytes; more without an end is no frame."""
    gap: float = 0.05
    """Seconds of silence in a frame after which its rest does not come any more."""
    separator: str = ","
    """Text only: between two fields."""
    messages: tuple[Layout, ...] = ()

    @property
    def bits_per_character(self) -> int:
        """Start, data, parity and stop bits."""
        return 1 + self.data_bits + (self.parity != "none") + self.stop_bits


def byte_order(low_byte_first: bool) -> Literal["little", "big"]:
    """Return the word that Python has for an order of bytes."""
    return "little" if low_byte_first else "big"
