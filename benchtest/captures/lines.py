"""Bytes of a text file in blocks of whole lines: encoding known, line ends all alike, memory bounded.

Numbers are read from bytes, so every encoding becomes one that keeps ASCII: UTF-16 is turned to UTF-8, the others stay.
"""

import codecs
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from benchtest.errors import CaptureError

HEAD: Final = 2**15
"""Bytes of a file that are looked at to tell how it is written."""
BLOCK: Final = 2**21
LONGEST_LINE: Final = 2**20


@dataclass(frozen=True, kw_only=True, slots=True)
class Text:
    """A text file and how it is encoded."""

    path: Path
    encoding: str
    notes: tuple[str, ...] = ()

    def blocks(self) -> Iterator[bytes]:
        """Yield the file in blocks of whole lines, each line closed by a line feed."""
        rest = b""
        for chunk in self._chunks():
            held = rest + chunk if rest else chunk
            end = held.rfind(b"\n") + 1
            rest = held[end:]
            if len(rest) > LONGEST_LINE:
                found = f"a line longer than {LONGEST_LINE} bytes"
                raise CaptureError(self.path, found, expected="a text file with one row per line")
            if end:
                yield held[:end]
        if rest:
            yield rest + b"\n"

    def head(self) -> list[str]:
        """Return the first lines, as many as fit into HEAD and are whole."""
        block = b"".join(self._first_blocks())
        cut = block if len(block) <= HEAD else block[:HEAD].rpartition(b"\n")[0] or block
        text = cut.decode("utf-8" if self.encoding.startswith("utf") else "latin-1", errors="replace")
        return text.removesuffix("\n").split("\n")

    def _first_blocks(self) -> Iterator[bytes]:
        read = 0
        for block in self.blocks():
            yield block
            read += len(block)
            if read >= HEAD:
                return

    def _chunks(self) -> Iterator[bytes]:
        """Yield the bytes with line feeds for all line ends; a carriage return at the end waits for what follows."""
        held = b""
        for plain in self._plain():
            chunk = held + plain
            held = b"\r" if chunk.endswith(b"\r") else b""
            chunk = chunk.removesuffix(b"\r")
            yield chunk.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in chunk else chunk
        if held:
            yield b"\n"

    def _plain(self) -> Iterator[bytes]:
        decoder = codecs.getincrementaldecoder(self.encoding)() if self.encoding.startswith("utf-16") else None
        with self.path.open("rb") as file:
            if self.encoding == "utf-8-sig":
                file.read(3)
            while chunk := file.read(BLOCK):
                try:
                    yield chunk if decoder is None else decoder.decode(chunk).encode()
                except UnicodeError as cause:
                    raise CaptureError(self.path, f"garbled UTF-16: {cause}") from None
            if decoder is not None and decoder.getstate()[0]:
                raise CaptureError(self.path, "half a UTF-16 character at the end", hint="copy the file again")


def open_text(path: Path, start: bytes) -> Text:
    """Return the text file whose first bytes are `start`; raise CaptureError when it is no text."""
    encoding, notes = _encoding(start)
    if encoding is None:
        found = "bytes that are no text and no recording known here"
        raise CaptureError(path, found, expected="CSV, VCD, WAV, NPZ, a zipped logic capture or a video")
    return Text(path=path, encoding=encoding, notes=notes)


def _encoding(start: bytes) -> tuple[str | None, tuple[str, ...]]:
    if start.startswith(codecs.BOM_UTF8):
        return "utf-8-sig", ()
    if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16", ("written in UTF-16",)
    low, high = start[0::2], start[1::2]
    if b"\0" in start and high.count(0) > 0.8 * len(high) and b"\0" not in low:
        return "utf-16-le", ("written in UTF-16 without a mark of its byte order",)
    if b"\0" in start and low.count(0) > 0.8 * len(low) and b"\0" not in high:
        return "utf-16-be", ("written in UTF-16 without a mark of its byte order",)
    if any(byte < 32 and byte not in b"\t\n\r\f\x1a" for byte in start):
        return None, ()
    try:
        codecs.getincrementaldecoder("utf-8")().decode(start)
    except UnicodeDecodeError:
        return "latin-1", ("not UTF-8: read as Latin-1",)
    return "utf-8", ()
