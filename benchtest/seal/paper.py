"""Any form of a paper (PDF, JSON, page for the screen, text of its QR code) told apart and examined."""

import codecs
import re
from typing import Final

from benchtest.canonical import digest
from benchtest.seal.attached import MAGIC, Attached, attachments, names_a_paper
from benchtest.seal.examine import examine_json, examine_text
from benchtest.seal.examined import Examined, State, altered
from benchtest.seal.statement import FORMAT
from benchtest.seal.text import MARK
from benchtest.seal.trusted import Stations

_SEALED: Final = f'"format":"{FORMAT}"'.encode()
"""Stands in every sealed paper, and in no text of another: there each quotation mark has a backslash before it."""
_CODE_ON_PAGE: Final = re.compile(rb"data-seal=\"(BT1/[0-9A-Z$*+\-.:/%]*)\"")
_MARKS_OF_ENCODINGS: Final = (codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_LONGEST_TEXT: Final = 8192
"""Bytes; a QR code takes 4296 characters."""


def examine(content: bytes, stations: Stations) -> Examined | None:
    """Return what is to be said of a paper in any of its forms; None when it is none of them."""
    begins = content[:_LONGEST_TEXT].lstrip()
    if content.startswith(MAGIC):
        return _examine_pdf(content, stations)
    if begins.startswith((b"{", *_MARKS_OF_ENCODINGS)):
        return examine_json(content, stations)
    if begins[:15].lower().startswith((b"<!doctype html", b"<html")):
        return _examine_page(content, stations)
    if begins.startswith(MARK.encode()) and len(content) < _LONGEST_TEXT:
        return examine_text(content.decode("ascii", "replace"), stations)
    return None


def _examine_pdf(content: bytes, stations: Stations) -> Examined:
    attached = attachments(content)
    papers = [one for one in attached if one.content and _SEALED in one.content]
    damaged = [one for one in attached if one.content is None]
    if not papers and (names_a_paper(content) or damaged):
        places = [f"attachment at byte {one.place}" for one in damaged]
        return altered("the sealed JSON that it carries is damaged or gone", *places)
    if not papers:
        return Examined(state=State.UNSEALED, why="no sealed JSON is attached to it, so nothing can be said of it")
    if len({one.content for one in papers}) > 1:
        return altered("it carries more than one sealed paper", *(f"attachment at byte {one.place}" for one in papers))
    return _with_attached_run(examine_json(papers[0].content or b"", stations), attached)


def _with_attached_run(found: Examined, attached: tuple[Attached, ...]) -> Examined:
    """Return the same, or that the run file attached beside the paper is not the one that it is bound to."""
    bound = found.paper.get("bound")
    expected = bound.get("run") if isinstance(bound, dict) else None
    others = [one for one in attached if one.content is None or _SEALED not in one.content]
    wrong = [one for one in others if one.content is None or digest(one.content) != expected]
    if expected is None or not wrong:
        return found
    places = (f"attachment at byte {one.place}" for one in wrong)
    return found.now(State.ALTERED, "what is attached beside the paper is not what it is bound to", *places)


def _examine_page(content: bytes, stations: Stations) -> Examined:
    codes = set(_CODE_ON_PAGE.findall(content))
    if len(codes) != 1:
        return Examined(state=State.UNSEALED, why="the page carries no seal, so nothing can be said of it")
    return examine_text(codes.pop().decode(), stations)
