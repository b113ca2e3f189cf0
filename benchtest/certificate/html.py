"""The document as one page for the screen and the printer: no script, no request, readable on a telephone.

The browser is told by a Content-Security-Policy that nothing may be loaded or run and which single style sheet counts
(W3C CSP3, 'sha256-' sources, from memory). Everything is escaped; only our own drawings are put in as they are.
"""

import base64
import hashlib
from functools import cache
from importlib.resources import files

from jinja2 import Environment, StrictUndefined, Template

from benchtest.certificate.document import Document
from benchtest.certificate.sealed import shown
from benchtest.seal import Sealed


def to_html(document: Document, sealed: Sealed | None = None) -> str:
    """Return the page, with the code of its seal where it has one."""
    style = _text("page.css")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return _page().render(d=document, style=style, style_digest=digest, seal=shown(sealed) if sealed else None)


@cache
def _page() -> Template:
    made = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return made.from_string(_text("page.html.j2"))


def _text(name: str) -> str:
    return files("benchtest.certificate").joinpath(name).read_text(encoding="utf-8")
