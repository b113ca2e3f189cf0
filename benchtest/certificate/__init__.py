"""Paper from a finished run: one document, as PDF for the archive, as HTML for the screen, as JSON for machines."""

import hashlib
import os
from dataclasses import asdict
from pathlib import Path

import rfc8785

from benchtest.certificate.document import Document, describe
from benchtest.certificate.html import to_html
from benchtest.certificate.pdf import prove, to_pdf
from benchtest.errors import DocumentError, Problem
from benchtest.language import SHIPPED, language
from benchtest.readings import Readings
from benchtest.results import Run

__all__ = ["Document", "describe", "prove", "to_html", "to_pdf", "write_certificate"]


def write_certificate(run: Run, readings: Readings, folder: Path) -> tuple[Path, ...]:
    """Write JSON, PDF and HTML beside the `run.json` in `folder` and return their paths.

    They are called `certificate` when the run passed and `report` otherwise. Same run, same bytes. Raises
    DocumentError when the logo or the language file in the folder is not what the run was made with.
    """
    kept = {name: _kept(folder / name, digest) for name, digest in run.stationery.items()}
    words = language(run.language if run.language in SHIPPED else str(folder / Path(run.language).name))
    document = describe(run, readings, words)
    logo = kept[document.letterhead.logo] if document.letterhead and document.letterhead.logo else b""
    name = "certificate" if document.passed else "report"
    attached = (folder / "run.json").read_bytes()
    contents = {
        ".json": rfc8785.dumps(asdict(document)),
        ".pdf": to_pdf(document, attached, logo),
        ".html": to_html(document, logo).encode(),
    }
    return tuple(_write_whole(folder / (name + ending), content) for ending, content in contents.items())


def _kept(path: Path, digest: str) -> bytes:
    """Return a file that papers are made with, as it was."""
    problem = "was changed after the run"
    try:
        content = path.read_bytes()
    except OSError as cause:
        content, problem = b"", f"cannot be read: {cause.strerror}"
    if hashlib.sha256(content).hexdigest() != digest:
        raise DocumentError([Problem(file=path, line=0, column=0, where="", message=problem, hint="look for a copy")])
    return content


def _write_whole(path: Path, content: bytes) -> Path:
    """Write a file so that after a power cut it is old or new, never half."""
    draft = path.with_name(path.name + ".part")
    with draft.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    return draft.replace(path)
