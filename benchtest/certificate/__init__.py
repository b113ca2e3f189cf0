"""Paper from a finished run: one document, as PDF for the archive, as HTML for the screen, as JSON for machines.

The JSON is sealed by this station; the pages carry its QR code, and the PDF carries the JSON and the run file.
"""

from pathlib import Path

from benchtest.canonical import digest, write_whole
from benchtest.certificate.document import Document, describe
from benchtest.certificate.html import to_html
from benchtest.certificate.pdf import to_pdf
from benchtest.certificate.sealed import seal_document
from benchtest.readings import Readings
from benchtest.results import Run
from benchtest.seal import Station, open_station

__all__ = ["Document", "describe", "to_html", "to_pdf", "write_certificate"]


def write_certificate(run: Run, readings: Readings, folder: Path, station: Station | None = None) -> tuple[Path, ...]:
    """Write JSON, PDF and HTML beside the `run.json` in `folder` and return their paths.

    They are called `certificate` when the run passed and `report` otherwise. Same run, same station, same bytes.
    """
    document = describe(run, readings)
    name = "certificate" if document.passed else "report"
    attached = (folder / "run.json").read_bytes()
    sealed = seal_document(document, run, run_file=digest(attached), station=station or open_station())
    contents = {
        ".json": sealed.content,
        ".pdf": to_pdf(document, attached, sealed),
        ".html": to_html(document, sealed).encode(),
    }
    for ending, content in contents.items():
        write_whole(folder / (name + ending), content)
    return tuple(folder / (name + ending) for ending in contents)
