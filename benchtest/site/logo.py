"""A logo before it comes near a page: small, of a kind that is known, and inert.

An SVG may only draw: it is read by an XML reader that knows no document type, every element of SVG must be on a short
list, and nothing may refer outside the file. A PNG is judged by its header before a single pixel is decoded, and must
be whole: chunk by chunk, each with its check sum, nothing behind the end.

Source: PNG third edition (W3C), 5.2 to 5.6 and 11.2.1, for signature, chunks and header; SVG 2, chapters 5, 15 and 16,
for what can run or refer; the sizes are our own.
"""

import re
import struct
import zlib
from collections.abc import Iterator
from typing import Final, Literal, TypeAlias
from xml.parsers import expat

Kind: TypeAlias = Literal["svg", "png"]

LARGEST: Final = 256 * 1024
"""Bytes of the file."""
WIDEST: Final = 2000
"""Pixels of a PNG in either direction; a logo is printed some 50 mm wide."""
MOST_ELEMENTS: Final = 4000
_PNG: Final = b"\x89PNG\r\n\x1a\n"
_SVG: Final = "http://www.w3.org/2000/svg"
_XHTML: Final = "http://www.w3.org/1999/xhtml"
_DRAWS: Final = frozenset(
    {"svg", "g", "defs", "title", "desc", "metadata", "style", "path", "rect", "circle", "ellipse", "line"}
    | {"polyline", "polygon", "linearGradient", "radialGradient", "stop", "clipPath"}
)
_ELSEWHERE: Final = re.compile(r"@import|url\s*+\(\s*+[\"']?+\s*+(?!#)|\\|javascript:", re.IGNORECASE)
"""A reference in a style; a backslash can spell any of them otherwise."""
_REMARKS: Final = frozenset({"label", "docname", "export-filename", "space", "version"})
"""Attributes that are free text of a drawing program, which nothing follows."""


class LogoError(ValueError):
    """A logo that will not be printed; the message says what was found and, in brackets, what to try."""


def kind_of(content: bytes) -> Kind:
    """Return what a logo is. Raises LogoError unless it can be printed without harm."""
    if len(content) > LARGEST:
        raise LogoError(f"is larger than {LARGEST // 1024} KiB (a logo is small: simplify or scale it)")
    if content.startswith(_PNG):
        _check_png(content)
        return "png"
    _check_svg(content)
    return "svg"


# ---------------------------------------------------------------- PNG


def _check_png(content: bytes) -> None:
    chunks = _chunks(content)
    name, header = next(chunks, (b"", b""))
    if name != b"IHDR" or len(header) != 13:
        raise LogoError("is a PNG without a header (export it again)")
    width, height = struct.unpack(">II", header[:8])
    if not 0 < width <= WIDEST or not 0 < height <= WIDEST:
        raise LogoError(f"is a PNG of {width} by {height} pixels (at most {WIDEST} each way; scale it)")
    names = [name for name, _ in chunks]
    if b"acTL" in names:
        raise LogoError("is a PNG that moves (export a still picture)")
    if b"IDAT" not in names or names[-1] != b"IEND":
        raise LogoError("is a PNG without a picture or without an end (export it again)")


def _chunks(content: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Yield type and data of each chunk."""
    at = len(_PNG)
    while at < len(content):
        size, name = struct.unpack_from(">I4s", content, at) if at + 12 <= len(content) else (0, b"")
        data = content[at + 8 : at + 8 + size]
        end = content[at + 8 + size : at + 12 + size]
        if len(end) != 4 or zlib.crc32(name + data) != int.from_bytes(end, "big"):
            raise LogoError(f"is a PNG that is damaged at byte {at} (export it again)")
        yield name, data
        at += 12 + size


# ---------------------------------------------------------------- SVG


def _check_svg(content: bytes) -> None:
    if not content.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
        raise LogoError("is neither an SVG nor a PNG (export it as one of the two)")
    _Reader().read(content)


class _Reader:
    """Goes through an SVG once and refuses what could do more than draw."""

    def __init__(self) -> None:
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.StartDoctypeDeclHandler = self._doctype
        self._parser.ProcessingInstructionHandler = self._instruction
        self._parser.StartElementHandler = self._element
        self._parser.EndElementHandler = self._end
        self._parser.CharacterDataHandler = self._text
        self._open: list[str] = []
        self._style: list[str] = []
        self._count = 0

    def read(self, content: bytes) -> None:
        try:
            self._parser.Parse(content, True)
        except expat.ExpatError as cause:
            raise self._refused(
                f"is not readable as SVG: {expat.ErrorString(cause.code)}", "export it again"
            ) from cause

    def _refused(self, found: str, hint: str) -> LogoError:
        line, column = self._parser.CurrentLineNumber, self._parser.CurrentColumnNumber + 1
        return LogoError(f"line {line}, column {column}: {found} ({hint})")

    def _doctype(self, *_: object) -> None:
        raise self._refused("has a document type, which can define entities", "export it as plain SVG")

    def _instruction(self, target: str, _: str) -> None:
        raise self._refused(f"has an instruction <?{target}", "export it as plain SVG")

    def _element(self, name: str, attributes: dict[str, str]) -> None:
        space, _, local = name.rpartition(" ")
        self._count += 1
        if not self._open and (space, local) != (_SVG, "svg"):
            raise self._refused(f"begins with <{local}>, not with <svg> of SVG", "export it as SVG")
        if self._count > MOST_ELEMENTS:
            raise self._refused(f"has more than {MOST_ELEMENTS} elements", "simplify it")
        if space == _XHTML or (space == _SVG and local not in _DRAWS):
            hint = "text as paths, shapes written out, pictures as PNG" if local != "script" else "a logo only draws"
            raise self._refused(f"has an element <{local}>", hint)
        for key, value in attributes.items():
            self._attribute(key.rpartition(" ")[2], value)
        self._open.append(local)

    def _attribute(self, name: str, value: str) -> None:
        if name.casefold().startswith("on"):
            raise self._refused(f"has an attribute {name}, which can run something", "a logo only draws")
        outside = name == "base" or (name in {"href", "src"} and not value.strip().startswith("#"))
        if outside or (name not in _REMARKS and _ELSEWHERE.search(value)):
            raise self._refused(f"refers outside itself by {name}", "a logo is one file")

    def _end(self, _: str) -> None:
        if self._open.pop() == "style" and _ELSEWHERE.search("".join(self._style)):
            raise self._refused("refers outside itself in a style", "a logo is one file")

    def _text(self, text: str) -> None:
        if "style" in self._open:
            self._style.append(text)  # a reader may hand over a text in pieces
