"""The line protocol of docs/adapter-protocol.md as seen from the host: bytes in, messages out.

Owns no port and no clock, so that it can be tested with literals and fuzzed. Whatever comes in, what comes out is a
reply or AdapterGarbled, never another error and never a guess.

Sources: IEEE 488.2 for response messages (units joined by `;`, quoted strings, definite-length blocks) and the number
forms NR1 to NR3; SCPI-99 volume 1 for channel lists, 9.9E37 and 9.91E37, and the error queue.
"""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from benchtest.errors import AdapterGarbled
from benchtest.instruments import Order, Recording, SupplyState

LINE_LENGTH: Final = 4096
"""Longest line to an adapter in bytes, its line feed included; part of the protocol."""
TEXT_LENGTH: Final = 1 << 20
"""Longest reply without its blocks in bytes; more is garbage."""
BLOCK_LENGTH: Final = 1 << 28
"""Longest block in bytes; more is garbage."""
CHANNELS: Final = 10000
"""Most channels in one list; more is garbage."""
INFINITY: Final = 9.9e37
NOT_A_NUMBER: Final = 9.91e37

Unit = str | bytes
"""One response unit: text, or the content of a block."""

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_ERROR = re.compile(r'([+-]?[0-9]{1,5}),"((?:[^"]|"")*)"')
_CHANNELS = re.compile(r"\(@((?:[0-9]{1,4}(?::[0-9]{1,4})?)(?:,[0-9]{1,4}(?::[0-9]{1,4})?)*)?\)")

_PLAIN = re.compile(rb'([^"#\r\n\x80-\xff]*(?:"[^"\r\n\x80-\xff]*"[^"#\r\n\x80-\xff]*)*)\r?\n')
"""A line without blocks, with whole quotations."""
_UNIT = re.compile(r'((?:[^;"]|"[^"]*")*);')


@dataclass(frozen=True, kw_only=True, slots=True)
class Reported:
    """One entry of the adapter's error queue."""

    code: int
    text: str

    def __str__(self) -> str:
        return f"{self.code}, {self.text}"


def number(value: float) -> str:
    """Return `value` as NRf with all its digits; infinity as 9.9E37. Raises ValueError on NaN."""
    if math.isnan(value):
        raise ValueError("nan cannot be sent to an adapter (a value was computed from nothing)")
    if math.isinf(value):
        return "9.9E37" if value > 0 else "-9.9E37"
    return repr(float(value)).upper()


def channel_list(channels: Iterable[int]) -> str:
    """Return a SCPI channel list, neighbours joined: `(@101,103:105)`; order and repetition are kept."""
    runs: list[list[int]] = []
    for channel in channels:
        if runs and channel == runs[-1][1] + 1:
            runs[-1][1] = channel
        else:
            runs.append([channel, channel])
    return "(@" + ",".join(f"{low}:{high}" if high > low else str(low) for low, high in runs) + ")"


def read_number(text: str) -> float:
    """Return an NRf; ±9.9E37 is infinite, 9.91E37 is NaN. Raises AdapterGarbled."""
    if _NUMBER.fullmatch(text.strip(" ")) is None:
        raise AdapterGarbled(f"expected a number, got {text[:80]!r}")
    value = float(text)
    if value == NOT_A_NUMBER:
        return math.nan
    return value if abs(value) < INFINITY else math.copysign(math.inf, value)


def read_finite(text: str) -> float:
    """Return an NRf that can be reckoned with: neither infinite nor NaN. Raises AdapterGarbled."""
    value = read_number(text)
    if not math.isfinite(value):
        raise AdapterGarbled(f"expected a number within the range, got {text[:80]!r}")
    return value


def read_known(text: str) -> float:
    """Return an NRf that may be infinite but not NaN. Raises AdapterGarbled."""
    value = read_number(text)
    if math.isnan(value):
        raise AdapterGarbled(f"expected a value, got {text[:80]!r}, which is no number")
    return value


def read_integer(text: str) -> int:
    """Return an NR1 of at most ten digits. Raises AdapterGarbled."""
    if re.fullmatch(r" *[+-]?[0-9]{1,10} *", text) is None:
        raise AdapterGarbled(f"expected a whole number, got {text[:80]!r}")
    return int(text)


def read_channels(text: str) -> tuple[int, ...]:
    """Return the channels of a list; a reversed range counts down. Raises AdapterGarbled."""
    match = _CHANNELS.fullmatch(text)
    if match is None:
        raise AdapterGarbled(f"expected a channel list such as '(@101,103:105)', got {text[:80]!r}")
    channels: list[int] = []
    for part in (match[1] or "").split(",") if match[1] else []:
        first, _, last = part.partition(":")
        low, high = int(first), int(last or first)
        channels.extend(range(low, high + 1) if low <= high else range(low, high - 1, -1))
        if len(channels) > CHANNELS:
            raise AdapterGarbled(f"a list of more than {CHANNELS} channels: {text[:80]!r}")
    return tuple(channels)


def read_errors(text: str) -> tuple[Reported, ...]:
    """Return what `SYSTem:ERRor:ALL?` found, oldest first; empty for `0,"No error"`. Raises AdapterGarbled."""
    if text == '0,"No error"':
        return ()
    found: list[Reported] = []
    at = 0
    while (match := _ERROR.match(text, at)) is not None:
        if int(match[1]):
            found.append(Reported(code=int(match[1]), text=match[2].replace('""', '"')))
        at = match.end()
        if at == len(text):
            return tuple(found)
        if text[at] != ",":
            break
        at += 1
    raise AdapterGarbled(f"""expected errors such as '0,"No error"', got {text[:80]!r}""")


def read_supply_state(text: str) -> SupplyState:
    """Return what `SOURce:STATe?` said: on, volts, amps, limiting. Raises AdapterGarbled."""
    fields = text.split(",")
    if len(fields) != 4 or fields[0] not in {"0", "1"} or fields[3] not in {"0", "1"}:
        raise AdapterGarbled(f"expected on, volts, amps, limiting, got {text[:80]!r}")
    volts, amps = read_known(fields[1]), read_known(fields[2])
    return SupplyState(on=fields[0] == "1", volts=volts, amps=amps, limiting=fields[3] == "1")


def read_recording(form: str, done: str, data: bytes) -> Recording:
    """Return the recording from the answers to `RECord:FORMat?`, `:DONE?` and `:DATA?`. Raises AdapterGarbled."""
    head, rows = form.split(",")[:4], form.split(",")[4:]
    if len(head) != 4:
        raise AdapterGarbled(f"expected rate, samples, overrun and channels, got {form[:80]!r}")
    rate, samples, overrun, count = read_number(head[0]), read_integer(head[1]), head[2], read_integer(head[3])
    if len(rows) != 3 * count or overrun not in {"0", "1"} or samples < 0 or not 0 < rate < math.inf:
        raise AdapterGarbled(f"expected rate, samples, overrun and {count} channels, got {form[:80]!r}")
    if len(data) != 2 * samples * count:
        raise AdapterGarbled(f"expected {samples} samples of {count} channels, got {len(data)} bytes")
    scale = tuple(read_finite(text) for text in rows[1::3])
    if 0.0 in scale:
        raise AdapterGarbled(f"expected what one code is worth, got a scale of nothing in {form[:80]!r}")
    return Recording(
        rate=rate,
        channels=tuple(read_integer(text) for text in rows[0::3]),
        codes=np.frombuffer(data, dtype="<i2").reshape(count, samples).astype(np.int16),
        scale=scale,
        offset=tuple(read_finite(text) for text in rows[2::3]),
        done=read_done(done),
        overrun=overrun == "1",
    )


def read_done(text: str) -> tuple[Order, ...]:
    """Return the orders carried out: their number, then moment, value and channel of each. Raises AdapterGarbled."""
    first, *rest = text.split(",")
    if len(rest) != 3 * read_integer(first):
        raise AdapterGarbled(f"expected {first} orders of three fields, got {text[:80]!r}")
    fields = zip(rest[0::3], rest[1::3], rest[2::3], strict=True)
    return tuple(
        Order(at=read_finite(at), value=read_known(value), channel=read_integer(channel))
        for at, value, channel in fields
    )


class Replies:
    """Takes bytes as they come and gives whole replies: the units of one response message."""

    def __init__(self) -> None:
        self._pending = bytearray()
        self._units: list[Unit] = []
        self._text_length = 0

    @property
    def wanted(self) -> int:
        """How many bytes the reply certainly still needs; at least 1."""
        header = _block_header(self._pending)
        return max(1, sum(header) + 1 - len(self._pending)) if header else 1

    def feed(self, data: bytes) -> None:
        """Add bytes from the line."""
        self._pending += data

    def clear(self) -> None:
        """Forget everything, such as after silence or garbage."""
        self._pending.clear()
        self._units.clear()
        self._text_length = 0

    def next_reply(self) -> tuple[Unit, ...] | None:
        """Take the next whole reply, or return None when more bytes are needed.

        Raises AdapterGarbled on bytes that cannot become a reply; what was pending is forgotten then.
        """
        if not self._pending:
            return None
        if not self._units and (reply := self._plain_line()) is not None:
            return reply
        try:
            while (ended := self._take_unit()) is not None:
                if ended:
                    reply = tuple(self._units)
                    self._units.clear()
                    self._text_length = 0
                    return reply
        except AdapterGarbled:
            self.clear()
            raise
        return None

    def _plain_line(self) -> tuple[Unit, ...] | None:
        """Take a whole line of plain text at once, the usual reply; None when it is none, or none of the plain kind."""
        match = _PLAIN.match(self._pending)
        if match is None or match.end() > TEXT_LENGTH:
            return None
        text = match[1].decode("ascii")
        units = _UNIT.findall(f"{text};") if -1 < text.find('"') < text.rfind(";") else text.split(";")
        del self._pending[: match.end()]
        return tuple(units)

    def _take_unit(self) -> bool | None:
        """Move one unit from pending: True at the end of the message, None when bytes are missing."""
        content = self._block() if self._pending.startswith(b"#") else self._text()
        if content is None:
            return None
        unit, length = content
        mark = bytes(self._pending[length : length + 2])
        if mark in {b"", b"\r"}:
            return None
        if mark != b"\r\n" and mark[:1] not in {b";", b"\n"}:
            raise AdapterGarbled(f"expected ';' or an end of line, got {mark!r}")
        self._units.append(unit)
        del self._pending[: length + (2 if mark == b"\r\n" else 1)]
        return mark[:1] != b";"

    def _block(self) -> tuple[Unit, int] | None:
        header = _block_header(self._pending)
        if header is None or len(self._pending) < sum(header):
            return None
        return bytes(self._pending[header[0] : sum(header)]), sum(header)

    def _text(self) -> tuple[Unit, int] | None:
        """Return the text before the next `;` outside quotation marks or line feed, and its length."""
        end = _end_of_text(self._pending)
        if self._text_length + (len(self._pending) if end is None else end) > TEXT_LENGTH:
            raise AdapterGarbled(f"a reply of more than {TEXT_LENGTH} bytes without an end")
        if end is None:
            return None
        length = end - 1 if end and self._pending[end - 1 : end + 1] == b"\r\n" else end
        text = bytes(self._pending[:length])
        if not text.isascii():
            raise AdapterGarbled(f"expected text, got {text[:80]!r}")
        self._text_length += end
        return text.decode("ascii"), length


def _end_of_text(pending: bytearray) -> int | None:
    quoted = False
    for match in re.finditer(rb'[";\n]', pending):
        if match[0] == b'"':
            quoted = not quoted
        elif match[0] == b"\n" and quoted:
            raise AdapterGarbled(f"a quotation without end in {bytes(pending[:80])!r}")
        elif not quoted:
            return match.start()
    return None


def _block_header(pending: bytearray) -> tuple[int, int] | None:
    """Return where the content of a definite-length block begins and how long it is; None when unknown yet."""
    if pending[:1] != b"#" or len(pending) < 2:
        return None
    digits = pending[1] - ord("0")
    if not 1 <= digits <= 9:
        raise AdapterGarbled(f"a block of indefinite or unknown length: {bytes(pending[:12])!r}")
    text = bytes(pending[2 : 2 + digits])
    if not (text.isdigit() or not text):
        raise AdapterGarbled(f"expected the length of a block, got {bytes(pending[:12])!r}")
    if len(text) < digits:
        return None
    if int(text) > BLOCK_LENGTH:
        raise AdapterGarbled(f"a block of {int(text)} bytes is longer than any recording")
    return 2 + digits, int(text)
