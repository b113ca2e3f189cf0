"""Paper from a finished run: one document, as PDF for the archive, as HTML for the screen, as JSON for machines."""

import os
from dataclasses import asdict
from pathlib import Path

import rfc8785

from benchtest.certificate.document import Document, describe
from benchtest.certificate.html import to_html
from benchtest.certificate.pdf import to_pdf
from benchtest.readings import Readings
from benchtest.results import Run

__all__ = ["Document", "describe", "to_html", "to_pdf", "write_certificate"]


def write_certificate(run: Run, readings: Readings, folder: Path) -> tuple[Path, ...]:
    """Write JSON, PDF and HTML beside the `run.json` in `folder` and return their paths.

    They are called `certificate` when the run passed and `report` otherwise. Same run, same bytes.
    """
    document = describe(run, readings)
    name = "certificate" if document.passed else "report"
    attached = (folder / "run.json").read_bytes()
    contents = {
        ".json": rfc8785.dumps(asdict(document)),
        ".pdf": to_pdf(document, attached),
        ".html": to_html(document).encode(),
    }
    return tuple(_write_whole(folder / (name + ending), content) for ending, content in contents.items())


def _write_whole(path: Path, content: bytes) -> Path:
    """Write a file so that after a power cut it is old or new, never half."""
    draft = path.with_name(path.name + ".part")
    with draft.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    return draft.replace(path)
