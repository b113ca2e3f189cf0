"""A link that is a serial line, with its frames and messages declared: the board's side of it, no port.

Positions count from the first byte of a frame, 0. A frame is: the bytes that it begins with, its body, a checksum, the
bytes that it ends with. In bytes it ends after a fixed number of them, where a length in it says, or with its last
bytes; in text with its last bytes. `resolved` gives the same as the plan and the adapters have it.
"""

import re
from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, StrictBool, WithJsonSchema
from pydantic_core import PydanticCustomError

from benchtest.documents.section import Section
from benchtest.messages import Layout, Mark, SerialFormat, SignalPlace
from benchtest.messages.checksums import CHECKSUMS
from benchtest.profile.link import Link, Vocabulary
from benchtest.quantities import Seconds

LONGEST = 1024
"""Bytes of a frame."""
_BYTES = re.compile(r"[0-9A-F]{2}( [0-9A-F]{2}){0,15}", re.IGNORECASE)


def _hexadecimal(text: object) -> str:
    if _BYTES.fullmatch(str(text)) is None:
        problem = f"{text!r} is not bytes (write them in hexadecimal, in quotes: 'AA 55')"
        raise PydanticCustomError("quantity", "{problem}", {"problem": problem})
    return str(text).replace(" ", "").upper()


Bytes = Annotated[
    str,
    BeforeValidator(_hexadecimal),
    WithJsonSchema({"type": "string", "description": "up to 16 bytes, hexadecimal", "examples": ["AA 55"]}),
]
Place = Annotated[int, Field(ge=0, lt=LONGEST)]
MessageName = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_]{0,39}$")]
Checksum = Literal["sum8", "xor8", "crc8", "crc16"]


class LengthField(Section):
    """A length that stands in the frame."""

    at: Place
    """Place of its first byte, counted from 0."""
    bytes: Annotated[int, Field(ge=1, le=2)] = 1
    """How many bytes it takes."""
    low_byte_first: StrictBool = True
    """The byte of least weight comes first."""
    adds: Annotated[int, Field(ge=-LONGEST, le=LONGEST)] = 0
    """Bytes of the whole frame less the length that stands in it."""


class BytesChecksum(Section):
    """What the last bytes before the end of a frame must be."""

    kind: Checksum
    """How the check is worked out; crc16 is that of Modbus."""
    since: Place = 0
    """First byte that it covers; it covers up to its own beginning."""


class TextChecksum(BytesChecksum):
    """A checksum written as hexadecimal digits, the last thing before the end of a line."""

    after: Annotated[str, Field(pattern=r"^[ -~]?$")] = ""
    """Character between the last byte covered and the digits, such as `*`."""


class Number(Section):
    """What a count stands for: value = count · scale + offset."""

    scale: Annotated[float, Field(allow_inf_nan=False)] = 1.0
    """Factor from the count to the value."""
    offset: Annotated[float, Field(allow_inf_nan=False)] = 0.0
    """Added after scaling."""
    unit: Annotated[str, Field(max_length=8)] = ""
    """SI unit of the value, such as V; none for a state or a count."""


class BytesSignal(Number):
    """A number or a bit in the bytes of a frame."""

    at: Place
    """Place of its first byte, counted from 0."""
    bytes: Annotated[int, Field(ge=1, le=8)] = 1
    """How many bytes it takes."""
    bit: Annotated[int, Field(ge=0, le=63)] | None = None
    """Lowest bit, where the signal has not all bits of its bytes."""
    bits: Annotated[int, Field(ge=1, le=64)] = 1
    """How many bits from `bit` on."""
    signed: StrictBool = False
    """Two's complement."""
    low_byte_first: StrictBool = True
    """The byte of least weight comes first."""

    def resolved(self) -> SignalPlace:
        """Return the place with its bits."""
        return SignalPlace(
            at=self.at,
            bytes=self.bytes,
            shift=self.bit or 0,
            bits=8 * self.bytes if self.bit is None else self.bits,
            signed=self.signed,
            low_byte_first=self.low_byte_first,
            scale=self.scale,
            offset=self.offset,
            unit=self.unit,
        )


class TextSignal(Number):
    """A number in a field of a line."""

    field: Annotated[int, Field(ge=1, le=99)]
    """Which field; the message's word is field 0."""
    decimals: Annotated[int, Field(ge=0, le=9)] = 0
    """Places after the point when the bench writes it; any number of them is read."""


class Message(Section):
    """What is said of every message."""

    answers: MessageName | None = None
    """The message that this one answers, where it comes only then: nothing else is sent until it has come."""
    within: Seconds = 0.02
    """Slowest answer, without the time that its bytes take on the wire. Later ones are taken for none."""

    @property
    def numbers(self) -> Mapping[str, Number]:
        """What it carries, by name; each kind of message says where."""
        raise NotImplementedError  # of the two kinds below


class BytesMessage(Message):
    """A message made of bytes."""

    marks: dict[Place, Bytes] = {}
    """Byte → what stands there and tells this message from the others."""
    length: Annotated[int, Field(ge=1, le=LONGEST)] | None = None
    """Bytes of the whole frame, checksum and end included; when left out, as many as its contents need."""
    signals: dict[MessageName, BytesSignal] = {}
    """Values in it, by name."""

    @property
    def numbers(self) -> Mapping[str, Number]:
        return self.signals


class TextMessage(Message):
    """A message that is a line of fields."""

    word: Annotated[str, Field(pattern=r"^[!-~]{1,20}$")]
    """First field, which tells it from the others."""
    fields: Annotated[int, Field(ge=1, le=100)] | None = None
    """Number of fields, the word included; when left out, up to the last that has a signal."""
    signals: dict[MessageName, TextSignal] = {}
    """Values in it, by name."""

    @property
    def numbers(self) -> Mapping[str, Number]:
        return self.signals


class SerialLink(Link):
    """What is said of every serial line."""

    level: Literal["RS-232", "RS-485", "logic 5 V", "logic 3.3 V"]
    """What the wires carry (TIA-232-F, TIA-485-A, or a processor's own levels); printed on the hook-up sheet. Of
    `terminals`, the first is where the board sends (RS-485: the positive wire), the second where it receives."""
    parity: Literal["none", "even", "odd"] = "none"
    """Parity bit of each character."""
    stop_bits: Literal[1, 2] = 1
    """Stop bits of each character."""
    begins_with: Bytes | None = None
    """First bytes of every frame."""
    gap: Seconds = 0.05
    """Silence inside a frame after which its rest does not come any more."""
    longest: Annotated[int, Field(ge=1, le=LONGEST)] = 256
    """Bytes of the longest frame."""

    def resolved(self) -> SerialFormat:
        """Return the line's format as the plan carries it."""
        raise NotImplementedError  # of the two kinds below

    @property
    def every_message(self) -> Mapping[str, Message]:
        """All messages, by name; each kind of line has its own kind."""
        raise NotImplementedError

    @property
    def said(self) -> Vocabulary:
        """Messages and their signals."""
        return {name: tuple(message.numbers) for name, message in self.every_message.items()}


class BytesLink(SerialLink):
    """A serial line with frames of bytes."""

    kind: Literal["serial bytes"]
    ends_with: Bytes | None = None
    """Last bytes of every frame. Where no length is given they end it, and may not stand in it otherwise."""
    length: Annotated[int, Field(ge=1, le=LONGEST)] | LengthField | None = None
    """Bytes of every frame, or where its length stands in it."""
    checksum: BytesChecksum | None = None
    """Check over each frame; none when absent."""
    messages: Annotated[dict[MessageName, BytesMessage], Field(min_length=1)]
    """Messages by name."""

    @property
    def every_message(self) -> Mapping[str, Message]:
        return self.messages

    def resolved(self) -> SerialFormat:
        stated = self.length if isinstance(self.length, LengthField) else None
        return SerialFormat(
            parity=self.parity,
            stop_bits=self.stop_bits,
            kind="bytes",
            begins=self.begins_with or "",
            ends=self.ends_with or "",
            length=self.length if isinstance(self.length, int) else 0,
            length_at=None if stated is None else stated.at,
            length_bytes=1 if stated is None else stated.bytes,
            length_low_byte_first=stated is None or stated.low_byte_first,
            length_adds=0 if stated is None else stated.adds,
            checksum="" if self.checksum is None else self.checksum.kind,
            checksum_from=0 if self.checksum is None else self.checksum.since,
            longest=self.longest,
            gap=self.gap,
            messages=tuple(self._layout(name, message) for name, message in self.messages.items()),
        )

    def _layout(self, name: str, message: BytesMessage) -> Layout:
        fixed = self.length if isinstance(self.length, int) else message.length
        return Layout(
            name=name,
            marks=tuple(Mark(at=at, reads=reads) for at, reads in message.marks.items()),
            length=fixed or self.needed(message),
            signals={key: signal.resolved() for key, signal in message.signals.items()},
            answers=message.answers or "",
            within=message.within if message.answers else 0.0,
        )

    def needed(self, message: BytesMessage) -> int:
        """Return how many bytes a frame must have for all that the message says of it."""
        return max((end for _, end in self.taken(message)), default=0) + self.behind

    @property
    def behind(self) -> int:
        """Bytes of checksum and end."""
        checksum = 0 if self.checksum is None else CHECKSUMS[self.checksum.kind][1]
        return checksum + len(self.ends_with or "") // 2

    def taken(self, message: BytesMessage) -> list[tuple[int, int]]:
        """Return the first byte and the one after the last of all that stands in a message's frame."""
        found = [(0, len(self.begins_with or "") // 2)]
        if isinstance(self.length, LengthField):
            found.append((self.length.at, self.length.at + self.length.bytes))
        found += [(at, at + len(reads) // 2) for at, reads in message.marks.items()]
        return [*found, *((signal.at, signal.at + signal.bytes) for signal in message.signals.values())]


class TextLink(SerialLink):
    """A serial line with lines of text: fields between separators."""

    kind: Literal["serial text"]
    data_bits: Literal[7, 8] = 8
    """Data bits of each character."""
    ends_with: Bytes = "0D0A"
    """What ends a line."""
    separator: Annotated[str, Field(pattern=r"^[ -*,/:-@\[-`{-~]$")] = ","
    """Character between two fields."""
    checksum: TextChecksum | None = None
    """Check over each line; none when absent."""
    messages: Annotated[dict[MessageName, TextMessage], Field(min_length=1)]
    """Messages by name."""

    @property
    def every_message(self) -> Mapping[str, Message]:
        return self.messages

    def resolved(self) -> SerialFormat:
        return SerialFormat(
            parity=self.parity,
            data_bits=self.data_bits,
            stop_bits=self.stop_bits,
            kind="text",
            begins=self.begins_with or "",
            ends=self.ends_with,
            checksum="" if self.checksum is None else self.checksum.kind,
            checksum_from=0 if self.checksum is None else self.checksum.since,
            checksum_after="" if self.checksum is None else self.checksum.after,
            longest=self.longest,
            gap=self.gap,
            separator=self.separator,
            messages=tuple(_line(name, message) for name, message in self.messages.items()),
        )


def _line(name: str, message: TextMessage) -> Layout:
    return Layout(
        name=name,
        word=message.word,
        length=message.fields or 1 + max((signal.field for signal in message.signals.values()), default=0),
        signals={
            key: SignalPlace(
                at=one.field, scale=one.scale, offset=one.offset, unit=one.unit, decimals=one.decimals, bits=64
            )
            for key, one in message.signals.items()
        },
        answers=message.answers or "",
        within=message.within if message.answers else 0.0,
    )
