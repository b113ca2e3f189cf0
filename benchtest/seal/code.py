"""The QR code of a seal: level M, quiet zone of four modules (ISO/IEC 18004, from memory), black on white, as SVG."""

import io
from functools import lru_cache
from typing import Final

import segno

QUIET: Final = 4
"""Modules of white around it, without which scanners do not find it."""


@lru_cache(maxsize=4)  # the same paper goes out as PDF and as a page
def to_svg(text: str) -> str:
    """Return the code of a seal's text; it fills the space that it is given."""
    code = segno.make(text, error="m", boost_error=False, micro=False)
    drawn = io.BytesIO()
    code.save(drawn, kind="svg", border=QUIET, light="#fff", xmldecl=False, omitsize=True, nl=False)
    return drawn.getvalue().decode()
