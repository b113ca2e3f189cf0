"""What is said on a board's link: which messages there are, what they carry, and how they stand in bytes.

Pure: owns no port and no clock. Whoever speaks on a link (the real adapters, the virtual board) asks a `Codec`; which
one it is follows from what the profile says of the link: a signal database (CAN) or a declared format (serial).
"""

from benchtest.messages.can_codec import EXTENDED, NUMBER, CanCodec, can_codec
from benchtest.messages.codec import Codec
from benchtest.messages.format import Layout, Mark, SerialFormat, SignalPlace
from benchtest.messages.serial_codec import SerialCodec
from benchtest.messages.splitter import Splitter
from benchtest.messages.turns import Turns

__all__ = [
    "EXTENDED",
    "NUMBER",
    "CanCodec",
    "Codec",
    "Layout",
    "Mark",
    "SerialCodec",
    "SerialFormat",
    "SignalPlace",
    "Splitter",
    "Turns",
    "can_codec",
    "codec_of",
]


def codec_of(*, database: str, serial: SerialFormat | None) -> Codec:
    """Return the codec of a link: of its declared format where there is one, else of the DBC text `database`.

    Raises ValueError when the database cannot be read.
    """
    return CanCodec(database) if serial is None else SerialCodec(serial)
