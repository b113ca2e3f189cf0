"""The sheet as a page for the screen, and as an accessible file for the printer (PDF/A-3a and PDF/UA-1).

As with certificates: everything that comes from documents is escaped, or is data to the typesetter; nothing is loaded
or run; the fonts of the package and none of the machine.
"""

import base64
import hashlib
import re
from dataclasses import asdict
from importlib.resources import as_file, files
from typing import Any, Final

import rfc8785
import typst
from jinja2 import Environment, StrictUndefined

from benchtest.certificate.glyphs import shown_or_named
from benchtest.hookup.sheet import Sheet

_UNBROKEN: Final = re.compile(r"\S{28}(?=\S)")


def to_html(sheet: Sheet) -> str:
    """Return the sheet as one page without script or request."""
    style = _text("page.css")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    made = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return made.from_string(_text("page.html.j2")).render(s=sheet, style=style, style_digest=digest)


def to_pdf(sheet: Sheet) -> bytes:
    """Return the sheet as PDF; the same sheet gives the same bytes."""
    data = rfc8785.dumps(_printable(asdict(sheet))).decode()
    with (
        as_file(files("benchtest.certificate").joinpath("fonts")) as fonts,
        as_file(files("benchtest.hookup").joinpath("page.typ")) as page,
    ):
        pdf = typst.compile(
            str(page),
            sys_inputs={"sheet": data},
            font_paths=[str(fonts)],
            ignore_system_fonts=True,
            pdf_standards=["a-3a", "ua-1"],
        )
    assert isinstance(pdf, bytes)
    return pdf


def _printable(value: Any) -> Any:
    """Return the sheet with strange characters named and a place to break in every long word."""
    match value:
        case dict():
            return {key: inner if key == "svg" else _printable(inner) for key, inner in value.items()}
        case list() | tuple():
            return [_printable(inner) for inner in value]
        case str():
            return _UNBROKEN.sub(lambda word: word.group() + "\u200b", shown_or_named(value))
        case _:
            return value


def _text(name: str) -> str:
    return files("benchtest.hookup").joinpath(name).read_text(encoding="utf-8")
