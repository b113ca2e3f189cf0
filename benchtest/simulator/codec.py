"""Frames of the board's link by the signal database: names and signals in, identifier and bytes out, and back."""

from collections.abc import Mapping
from importlib import import_module
from typing import Any


class Codec:
    """One signal database, loaded once (its library takes long to import, so only boards with a link do)."""

    def __init__(self, database: str) -> None:
        self._database: Any = import_module("cantools.database").load_string(database, "dbc")
        self._by_id: dict[int, Any] = {message.frame_id: message for message in self._database.messages}
        self._by_name: dict[str, Any] = {message.name: message for message in self._database.messages}

    def identifier(self, message: str) -> int:
        """Return the frame identifier of a message; KeyError when it is not in the database."""
        return int(self._by_name[message].frame_id)

    def signals(self, message: str) -> Mapping[str, str]:
        """Return the signals of a message and their units."""
        return {signal.name: signal.unit or "" for signal in self._by_name[message].signals}

    def encode(self, message: str, values: Mapping[str, float]) -> bytes:
        """Return the data of a message; signals that are not given are 0, values beyond a signal's range its end."""
        every = {s.name: self._clipped(s, values.get(s.name, 0.0)) for s in self._by_name[message].signals}
        return bytes(self._by_name[message].encode(every, strict=False))

    def decode(self, identifier: int, data: bytes) -> tuple[str, dict[str, float]]:
        """Return the message's name and signals; an empty name when the frame is unknown or too short."""
        message = self._by_id.get(identifier)
        if message is None or len(data) < message.length:
            return "", {}
        decoded: Mapping[str, Any] = message.decode(data[: message.length], decode_choices=False)
        return message.name, {name: float(value) for name, value in decoded.items()}

    @staticmethod
    def _clipped(signal: Any, value: float) -> float:
        low = -float("inf") if signal.minimum is None else float(signal.minimum)
        high = float("inf") if signal.maximum is None else float(signal.maximum)
        return min(max(float(value), low), high)
