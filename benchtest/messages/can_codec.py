"""Frames of a CAN link by the board's signal database (DBC), read by cantools.

The library takes long to import, so only boards with such a link load it. A frame that is longer than its message is
cut; one that is too short is none. Identifiers of 11 and of 29 bits are different ones even where the numbers agree, so
one of 29 bits is told by bit 31, as a signal database writes it.
"""

from collections.abc import Mapping
from functools import lru_cache
from importlib import import_module
from typing import Any, Final

EXTENDED: Final = 1 << 31
"""In an identifier: it has 29 bits."""
REMEMBERED: Final = 4096
"""Messages whose coding is kept."""
NUMBER: Final = (1 << 29) - 1
"""What of an identifier goes on the bus."""


class CanCodec:
    """One signal database, loaded once."""

    where = "the signal database"

    def __init__(self, database: str) -> None:
        cantools = import_module("cantools.database")
        try:
            loaded: Any = cantools.load_string(database, "dbc")
        except cantools.Error as cause:
            raise ValueError(str(cause)) from cause
        self._errors: tuple[type[Exception], ...] = (cantools.Error, ValueError, OverflowError, TypeError)
        self._encoded = lru_cache(REMEMBERED)(self._encode)  # a link says the same over and over
        self._decoded = lru_cache(REMEMBERED)(self._decode)
        self._written = lru_cache(REMEMBERED)(_written)
        self._by_id: dict[int, Any] = {_identifier(message): message for message in loaded.messages}
        self._by_name: dict[str, Any] = {message.name: message for message in loaded.messages}
        self._identifiers = {message.name: identifier for identifier, message in self._by_id.items()}
        self._units = {
            message.name: {signal.name: signal.unit or "" for signal in message.signals} for message in loaded.messages
        }

    def identifier(self, message: str) -> int:
        """Return the identifier of a message; with EXTENDED where it has 29 bits."""
        return self._identifiers[message]

    def signals(self, message: str) -> Mapping[str, str]:
        """Return the signals of a message and their units."""
        return self._units[message]

    def encode(self, message: str, values: Mapping[str, float], *, clip: bool = False) -> bytes:
        """Return the data of a message."""
        return self._encoded(message, tuple(values.items()), clip)

    def _encode(self, message: str, values: tuple[tuple[str, float], ...], clip: bool) -> bytes:
        known, given = self._by_name[message], dict(values)
        every = {signal.name: float(given.get(signal.name, 0.0)) for signal in known.signals}
        if clip:
            every = {signal.name: _clipped(signal, every[signal.name]) for signal in known.signals}
        try:
            return bytes(known.encode(every, strict=not clip))
        except self._errors as cause:
            raise ValueError(str(cause)) from cause

    def decode(self, identifier: int, data: bytes) -> tuple[str, Mapping[str, float]]:
        """Return the message's name and signals; an empty name when the database cannot say what it is.

        So it is with an unknown identifier, a frame that is too short, and an unknown multiplexer value.
        """
        return self._decoded(identifier, bytes(data))

    def _decode(self, identifier: int, data: bytes) -> tuple[str, Mapping[str, float]]:
        known = self._by_id.get(identifier)
        if known is None or len(data) < known.length:
            return "", {}
        try:
            decoded: Mapping[str, Any] = known.decode(data[: known.length], decode_choices=False)
        except self._errors:
            return "", {}
        return known.name, {name: float(value) for name, value in decoded.items()}

    def written(self, identifier: int, data: bytes) -> str:
        """Return identifier and data: `120#0F00`."""
        return self._written(identifier, bytes(data))


@lru_cache(maxsize=8)
def can_codec(database: str) -> CanCodec:
    """Return the codec of a signal database: one for every board that speaks by it."""
    return CanCodec(database)


def _written(identifier: int, data: bytes) -> str:
    return f"{identifier & NUMBER:X}#{data.hex().upper()}"


def _identifier(message: Any) -> int:
    return int(message.frame_id) | EXTENDED * bool(message.is_extended_frame)


def _clipped(signal: Any, value: float) -> float:
    low = -float("inf") if signal.minimum is None else float(signal.minimum)
    high = float("inf") if signal.maximum is None else float(signal.maximum)
    return min(max(value, low), high)
