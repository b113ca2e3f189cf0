"""Frames of a CAN bus and what a signal database makes of them. Owns no bus, no clock and no thread.

A frame counts whole or not at all: a serial-line adapter's text can lose characters on its way, and half a frame would
still have a name. Identifiers of 11 and of 29 bits are different ones, even where the numbers agree.
"""

from dataclasses import dataclass
from importlib import import_module
from typing import Any

from benchtest.instruments import Message


@dataclass(frozen=True, kw_only=True, slots=True)
class Frame:
    """One data frame, sent or received."""

    at: float
    """Seconds of the rig's clock."""
    can_id: int
    extended: bool
    """The identifier has 29 bits."""
    data: bytes
    sent: bool = False

    def __str__(self) -> str:
        return f"{self.can_id:X}#{self.data.hex().upper()}"


def heard(at: float, came: Any) -> Frame | None:
    """Return what python-can received as a frame, None when it carries no data; ValueError on half of one."""
    if came.is_error_frame or came.is_remote_frame:
        return None
    frame = Frame(at=at, can_id=came.arbitration_id, extended=came.is_extended_id, data=bytes(came.data))
    if len(frame.data) != came.dlc or frame.can_id < 0:
        raise ValueError(f"half a frame: {frame}, of {came.dlc} bytes")
    return frame


class Frames:
    """The messages of one signal database."""

    def __init__(self, database: Any) -> None:
        self._known = {(message.frame_id, bool(message.is_extended_frame)): message for message in database.messages}
        self._failures: tuple[type[Exception], ...] = (import_module("cantools.database").Error, ValueError)

    def message(self, frame: Frame) -> Message:
        """Return a frame with its name and signals; without either when the database cannot say what it is.

        So it is with an unknown identifier, data shorter than the message, and an unknown multiplexer value.
        """
        known = self._known.get((frame.can_id, frame.extended))
        unnamed = Message(at=frame.at, name="", signals={}, frame=str(frame), sent=frame.sent)
        if known is None or len(frame.data) < known.length:
            return unnamed
        try:
            values = known.decode(frame.data[: known.length], decode_choices=False)
        except self._failures:
            return unnamed
        signals = {name: float(value) for name, value in values.items()}
        return Message(at=frame.at, name=known.name, signals=signals, frame=str(frame), sent=frame.sent)
