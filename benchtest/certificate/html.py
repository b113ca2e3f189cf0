"""The document as one page for the screen and the printer: no script, no request, readable on a telephone.

The browser is told by a Content-Security-Policy that nothing may be loaded or run and which single style sheet counts
(W3C CSP3, 'sha256-' sources, from memory). Everything is escaped; only our own drawings are put in as they are, and a
logo stands in an image, where nothing of it can run (SVG 2, 2.6, secure static mode). Drawings grow by a link to
themselves (`:target`), so that a keyboard reaches them as well as a finger.
"""

import base64
import hashlib
import re
from functools import cache
from importlib.resources import files

from jinja2 import Environment, StrictUndefined, Template

from benchtest.certificate.document import Document
from benchtest.certificate.sealed import shown
from benchtest.seal import Sealed


def to_html(document: Document, sealed: Sealed | None = None, logo: bytes = b"") -> str:
    """Return the page, with the code of its seal where it has one."""
    style = _text("page.css") + _margins(document)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    seal = shown(sealed, document) if sealed else None
    return _page().render(d=document, style=style, style_digest=digest, logo=_address(logo), seal=seal)


def _address(logo: bytes) -> str:
    """Return a picture as an address that holds all of it."""
    kind = "png" if logo.startswith(b"\x89PNG") else "svg+xml"
    return f"data:image/{kind};base64,{base64.b64encode(logo).decode()}" if logo else ""


def _margins(document: Document) -> str:
    """Return the style that puts number, page and outcome on every printed sheet."""
    before, _, after = document.labels["page_of"].partition("{page}")
    between, _, behind = after.partition("{pages}")
    parts = [_quoted(before.replace("{number}", document.number)), "counter(page)", _quoted(between), "counter(pages)"]
    foot = " ".join([*parts, _quoted(behind)])
    head = _quoted(" · ".join(filter(None, [document.not_a_certificate, document.watermark])))
    return f"@page {{ @bottom-right {{ content: {foot}; }} @top-right {{ content: {head}; }} }}\n"


def _quoted(text: str) -> str:
    """Return a text as CSS writes it: whatever is not plain is spelled by its code point."""
    return '"' + re.sub(r"[^A-Za-z0-9 .,:-]", lambda sign: f"\\{ord(sign[0]):06x}", text) + '"'


@cache
def _page() -> Template:
    made = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return made.from_string(_text("page.html.j2"))


def _text(name: str) -> str:
    return files("benchtest.certificate").joinpath(name).read_text(encoding="utf-8")
