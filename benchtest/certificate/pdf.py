"""The document as an accessible archive file: PDF/A-3a and PDF/UA-1, the sealed JSON and `run.json` attached.

The typesetter gets its data as input and never as markup, the fonts of the package and none of the machine, and no
network. The date of the file is the day of the run, so that the same run gives the same bytes. Conformance is the
typesetter's own check: it refuses to write a file that breaks a rule it knows.
"""

import base64
import re
import struct
from collections.abc import Mapping
from dataclasses import asdict
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any, Final

import rfc8785
import typst

from benchtest.certificate.document import Document
from benchtest.certificate.glyphs import shown_or_named
from benchtest.certificate.sealed import shown
from benchtest.errors import DocumentError, Problem
from benchtest.seal import Sealed

_UNBROKEN: Final = re.compile(r"\S{28}(?=\S)")
_PNG: Final = b"\x89PNG"
STANDARDS: Final = ("a-3a", "ua-1")


def to_pdf(document: Document, attached: bytes, sealed: Sealed | None = None, logo: bytes = b"") -> bytes:
    """Return the PDF; `attached` is the run file as it is on disk, in UTF-8. What is sealed is attached and shown."""
    inputs = {"document": as_input(asdict(document)), "run": attached.decode(), "logo": as_svg(logo)}
    if sealed is not None:
        inputs |= {"sealed": sealed.content.decode(), "seal": as_input(asdict(shown(sealed, document)))}
    return compiled("page.typ", inputs)


def as_input(value: object) -> str:
    """Return data as a page takes it: as JSON that can be printed."""
    return rfc8785.dumps(printable(value)).decode()


def prove(logo: bytes, *, file: Path, line: int) -> None:
    """Set a page with nothing but a logo, long before a run depends on it.

    Raises DocumentError at the line of a file that names it when the typesetter will not have it.
    """
    try:
        compiled("logo.typ", {"logo": as_svg(logo)})
    except typst.TypstError as cause:
        said = next(iter(str(cause).splitlines()), "no reason given").removeprefix("error: ")
        message, hint = f"the logo cannot be printed: {said}", "export it again, as plain SVG or as PNG"
        where = "depot.logo"
        raise DocumentError(
            [Problem(file=file, line=line, column=1, where=where, message=message, hint=hint)]
        ) from None


def as_svg(logo: bytes) -> str:
    """Return a logo as the typesetter's input, which is text: a PNG becomes a drawing with one picture in it."""
    if not logo.startswith(_PNG):
        return logo.decode("utf-8-sig")
    width, height = struct.unpack(">II", logo[16:24])
    size, data = f'width="{width}" height="{height}"', base64.b64encode(logo).decode()
    picture = f'<image {size} href="data:image/png;base64,{data}"/>'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 {width} {height}">{picture}</svg>'


def compiled(page: str, inputs: Mapping[str, str]) -> bytes:
    """Return a page of this package with its data, as PDF/A-3a and PDF/UA-1."""
    here = files("benchtest.certificate")
    with as_file(here.joinpath("fonts")) as fonts, as_file(here.joinpath(page)) as source:
        pdf = typst.compile(
            str(source),
            sys_inputs=dict(inputs),
            font_paths=[str(fonts)],
            ignore_system_fonts=True,
            pdf_standards=list(STANDARDS),
        )
    assert isinstance(pdf, bytes)
    return pdf


def printable(value: Any) -> Any:
    """Return the document with strange characters named and a place to break in every long word."""
    match value:
        case dict():
            return {key: inner if key in {"svg", "code"} else printable(inner) for key, inner in value.items()}
        case list() | tuple():
            return [printable(inner) for inner in value]
        case str():
            return _UNBROKEN.sub(lambda word: word.group() + "\u200b", shown_or_named(value))
        case _:
            return value
