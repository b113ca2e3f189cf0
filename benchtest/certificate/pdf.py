"""The document as an accessible archive file: PDF/A-3a and PDF/UA-1, the sealed JSON and `run.json` attached.

The typesetter gets its data as input and never as markup, two fonts of the package and none of the machine, and no
network. The date of the file is the day of the run, so that the same run gives the same bytes. Conformance is the
typesetter's own check: it refuses to write a file that breaks a rule it knows.
"""

import re
from dataclasses import asdict
from importlib.resources import as_file, files
from typing import Any, Final

import rfc8785
import typst

from benchtest.certificate.document import Document
from benchtest.certificate.glyphs import shown_or_named
from benchtest.certificate.sealed import shown
from benchtest.seal import Sealed

_UNBROKEN: Final = re.compile(r"\S{28}(?=\S)")


def to_pdf(document: Document, attached: bytes, sealed: Sealed | None = None) -> bytes:
    """Return the PDF; `attached` is the run file as it is on disk, in UTF-8. What is sealed is attached and shown."""
    data = _text(asdict(document))
    here = files("benchtest.certificate")
    with as_file(here.joinpath("fonts")) as fonts, as_file(here.joinpath("page.typ")) as page:
        pdf = typst.compile(
            str(page),
            sys_inputs={"document": data, "run": attached.decode(), **_seal(sealed)},
            font_paths=[str(fonts)],
            ignore_system_fonts=True,
            pdf_standards=["a-3a", "ua-1"],
        )
    assert isinstance(pdf, bytes)
    return pdf


def _seal(sealed: Sealed | None) -> dict[str, str]:
    if sealed is None:
        return {}
    return {"sealed": sealed.content.decode(), "seal": _text(asdict(shown(sealed)))}


def _text(value: object) -> str:
    return rfc8785.dumps(_printable(value)).decode()


def _printable(value: Any) -> Any:
    """Return the document with strange characters named and a place to break in every long word."""
    match value:
        case dict():
            return {key: inner if key in {"svg", "code"} else _printable(inner) for key, inner in value.items()}
        case list() | tuple():
            return [_printable(inner) for inner in value]
        case str():
            return _UNBROKEN.sub(lambda word: word.group() + "\u200b", shown_or_named(value))
        case _:
            return value
