"""Messages of a serial line by its declared format, as bytes or as text.

Decoding believes a frame that the splitter gave: whole, with the right checksum. What no layout fits has no name. A
number in text is digits with a sign and a point at most, so that nothing like `nan` becomes a value.
"""

import math
import re
from collections.abc import Mapping
from typing import Final

from benchtest.messages.format import Layout, SerialFormat, SignalPlace, byte_order
from benchtest.messages.splitter import body_end, checksum_of

WIDE_FIELD: Final = 12
"""Characters of a field of text with its separator, if it is a wide one."""
_NUMBER: Final = re.compile(r" *[+-]?[0-9]{1,15}(\.[0-9]{1,15})? *")


class SerialCodec:
    """One board's messages on its serial line; identifiers are 0, the bytes say all."""

    where = "the messages of the link"

    def __init__(self, form: SerialFormat) -> None:
        self.form = form
        self._layouts = {layout.name: layout for layout in form.messages}
        self._begins, self._ends = bytes.fromhex(form.begins), bytes.fromhex(form.ends)

    def identifier(self, message: str) -> int:
        """Return 0; KeyError when there is no such message."""
        if message not in self._layouts:
            raise KeyError(message)
        return 0

    def signals(self, message: str) -> Mapping[str, str]:
        """Return the signals of a message and their units."""
        return {name: place.unit for name, place in self._layouts[message].signals.items()}

    def most_bytes(self, message: str) -> int:
        """Return how many bytes a message has at most; an estimate in text, whose numbers have no fixed width."""
        layout, form = self._layouts[message], self.form
        if form.kind == "bytes":
            return layout.length
        around = len(self._begins) + len(layout.word) + len(checksum_of(form, b"")) + len(self._ends)
        return min(form.longest, around + WIDE_FIELD * (layout.length - 1))

    def encode(self, message: str, values: Mapping[str, float], *, clip: bool = False) -> bytes:
        """Return the whole frame of a message."""
        layout = self._layouts[message]
        written = {name: (place, values.get(name, 0.0)) for name, place in layout.signals.items()}
        body = self._bytes(layout, written, clip) if self.form.kind == "bytes" else self._text(layout, written)
        frame = body + checksum_of(self.form, body) + self._ends
        if self._ends and not self.form.length and self.form.length_at is None:
            self._ends_once(frame, message)
        return frame

    def decode(self, identifier: int, data: bytes) -> tuple[str, dict[str, float]]:
        """Return the name and signals of a whole, sound frame."""
        del identifier
        return self._from_bytes(data) if self.form.kind == "bytes" else self._from_text(data)

    def written(self, identifier: int, data: bytes) -> str:
        """Return the bytes: `AA5510`."""
        del identifier
        return data.hex().upper()

    # ------------------------------------------------------------ bytes

    def _bytes(self, layout: Layout, written: Mapping[str, tuple[SignalPlace, float]], clip: bool) -> bytes:
        form = self.form
        frame = bytearray(layout.length)
        frame[: len(self._begins)] = self._begins
        for mark in layout.marks:
            reads = bytes.fromhex(mark.reads)
            frame[mark.at : mark.at + len(reads)] = reads
        if form.length_at is not None:
            stated = (layout.length - form.length_adds).to_bytes(
                form.length_bytes, byte_order(form.length_low_byte_first)
            )
            frame[form.length_at : form.length_at + form.length_bytes] = stated
        for name, (place, value) in written.items():
            count = _count(name, place, value, clip=clip)
            end, order = place.at + place.bytes, byte_order(place.low_byte_first)
            there = int.from_bytes(frame[place.at : end], order)
            mask = (1 << place.bits) - 1
            there = there & ~(mask << place.shift) | (count & mask) << place.shift
            frame[place.at : end] = there.to_bytes(place.bytes, order)
        return bytes(frame[: body_end(form, bytes(frame))])

    def _from_bytes(self, data: bytes) -> tuple[str, dict[str, float]]:
        for layout in self.form.messages:
            if len(data) == layout.length and all(
                data[mark.at : mark.at + len(mark.reads) // 2] == bytes.fromhex(mark.reads) for mark in layout.marks
            ):
                return layout.name, {name: _value(data, place) for name, place in layout.signals.items()}
        return "", {}

    # ------------------------------------------------------------ text

    def _text(self, layout: Layout, written: Mapping[str, tuple[SignalPlace, float]]) -> bytes:
        fields = [layout.word, *["0"] * (layout.length - 1)]
        for name, (place, value) in written.items():
            if not math.isfinite(value):
                raise ValueError(f"signal {name} cannot be {value!r}")
            fields[place.at] = f"{(value - place.offset) / place.scale:.{place.decimals}f}"
        return self._begins + self.form.separator.join(fields).encode("ascii")

    def _from_text(self, data: bytes) -> tuple[str, dict[str, float]]:
        try:
            text = data[len(self._begins) : body_end(self.form, data)].decode("ascii")
        except UnicodeDecodeError:
            return "", {}
        fields = text.split(self.form.separator)
        for layout in self.form.messages:
            if fields[0].strip() == layout.word and len(fields) == layout.length:
                places = layout.signals.items()
                if all(_NUMBER.fullmatch(fields[place.at]) for _, place in places):
                    return layout.name, {n: float(fields[p.at]) * p.scale + p.offset for n, p in places}
        return "", {}

    def _ends_once(self, frame: bytes, message: str) -> None:
        """Raise ValueError when a frame would seem to end before its end."""
        if frame.find(self._ends, len(self._begins)) != len(frame) - len(self._ends):
            raise ValueError(f"with these values {message} holds the bytes that end a frame ({self.form.ends})")


def _count(name: str, place: SignalPlace, value: float, *, clip: bool) -> int:
    """Return what stands for a value. Raises ValueError when it has no place, or NaN."""
    low = -(1 << place.bits - 1) if place.signed else 0
    high = low + (1 << place.bits) - 1
    if math.isnan(value):
        raise ValueError(f"signal {name} cannot be {value!r}")
    counted = (value - place.offset) / place.scale
    if clip:
        counted = min(max(counted, low), high)
    if not low - 0.5 < counted < high + 0.5:
        ends = sorted((low * place.scale + place.offset, high * place.scale + place.offset))
        raise ValueError(f"signal {name} cannot be {value:g} (from {ends[0]:g} to {ends[1]:g})")
    return round(counted)


def _value(data: bytes, place: SignalPlace) -> float:
    there = int.from_bytes(data[place.at : place.at + place.bytes], byte_order(place.low_byte_first))
    count = there >> place.shift & (1 << place.bits) - 1
    if place.signed and count >> place.bits - 1:
        count -= 1 << place.bits
    return count * place.scale + place.offset
