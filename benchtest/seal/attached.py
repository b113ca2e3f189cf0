"""The files attached to a PDF, found without a PDF reader.

An attachment is a stream object of type EmbeddedFile (ISO 32000-1, 7.11.4), which may not lie inside another stream
(7.5.7), so that a look at the bytes finds every one that was ever in the file, also one that a later change of the file
hides. Read is what our typesetter writes: streams of stated length, plain or deflated. Anything else is left to a PDF
reader: take the attachment out with it and check that.
"""

import re
import zlib
from dataclasses import dataclass
from typing import Final

from benchtest.seal.strict import LARGEST

MAGIC: Final = b"%PDF-"
_MOST: Final = 32
"""Attachments that are looked at."""
_STREAM: Final = re.compile(rb"stream\r?\n")
_LENGTH: Final = re.compile(rb"/Length (\d{1,9})(?=[/>\s])(?! \d+ R)")
_NAMED: Final = re.compile(rb"\((?:certificate|report)[^()\\]{0,40}\.json\)")
_LONGEST_HEAD: Final = 2048


@dataclass(frozen=True, kw_only=True, slots=True)
class Attached:
    """One attachment."""

    place: int
    """Byte of the file at which its stream begins, from 1."""
    content: bytes | None
    """None when it cannot be unpacked."""


def attachments(pdf: bytes) -> tuple[Attached, ...]:
    """Return the attachments of a PDF in the order in which they lie in it."""
    found = list[Attached]()
    place = pdf.find(b"/EmbeddedFile")
    while place >= 0 and len(found) < _MOST:
        if not pdf.startswith(b"s", place + len(b"/EmbeddedFile")):  # /EmbeddedFiles is the list of their names
            found += _stream(pdf, place)
        place = pdf.find(b"/EmbeddedFile", place + 1)
    return tuple(found)


def names_a_paper(pdf: bytes) -> bool:
    """Return whether a PDF names an attachment as a sealed paper is named."""
    return bool(_NAMED.search(pdf))


def _stream(pdf: bytes, place: int) -> list[Attached]:
    begins = _STREAM.search(pdf, place, place + _LONGEST_HEAD)
    head = pdf[max(pdf.rfind(b" obj", max(0, place - _LONGEST_HEAD), place), 0) : begins.start() if begins else place]
    length = _LENGTH.search(head)
    if begins is None or length is None:
        return [Attached(place=place + 1, content=None)]
    raw = pdf[begins.end() : begins.end() + int(length[1])]
    content = _inflated(raw) if b"/FlateDecode" in head else raw if b"/Filter" not in head else None
    return [Attached(place=begins.end() + 1, content=content)]


def _inflated(raw: bytes) -> bytes | None:
    """Return unpacked bytes; None when they are damaged, cut off, followed by others, or too many."""
    unpacking = zlib.decompressobj()
    try:
        content = unpacking.decompress(raw, LARGEST)
    except zlib.error:
        return None
    return content if unpacking.eof and not unpacking.unused_data else None
