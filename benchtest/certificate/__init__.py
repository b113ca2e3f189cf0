"""Paper from a finished run: one document, as PDF for the archive, as HTML for the screen, as JSON for machines.

The JSON is sealed by this station; the pages carry its QR code, and the PDF carries the JSON and the run file.
"""

from dataclasses import dataclass, replace
from pathlib import Path

from benchtest.canonical import digest, read_whole, write_whole, wrong
from benchtest.certificate.document import Document, describe
from benchtest.certificate.html import to_html
from benchtest.certificate.pdf import prove, to_pdf
from benchtest.certificate.sealed import seal_document
from benchtest.language import SHIPPED, Language, language
from benchtest.readings import Readings
from benchtest.results import Job, Run
from benchtest.seal import Sealed, Station, open_station

__all__ = ["Document", "describe", "prove", "reissue", "seal_later", "to_html", "to_pdf", "words_of"]
__all__ += ["write_certificate"]


@dataclass(frozen=True, kw_only=True, slots=True)
class _Stationery:
    """What the papers of a run are made with besides its results."""

    words: Language
    logo: bytes
    """Empty where there is none."""


def write_certificate(run: Run, readings: Readings, folder: Path, station: Station | None = None) -> tuple[Path, ...]:
    """Write JSON, PDF and HTML beside the `run.json` in `folder` and return their paths.

    They are called `certificate` when the run passed and `report` otherwise. Same run, same station, same bytes.
    Raises DocumentError when the logo or the language file in the folder is not what the run was made with.
    """
    kept = _stationery(run, folder)
    document = describe(run, readings, kept.words)
    return _write(document, _sealed(document, run, folder, station), folder, _name(document), kept.logo)


def seal_later(run: Run, readings: Readings, folder: Path) -> tuple[Path, ...]:
    """Write the papers of a run that was cut off before they were all there, and return their paths.

    Raises DocumentError when other papers are there already: what may have gone out is not replaced silently.
    """
    kept = _stationery(run, folder)
    document = describe(run, readings, kept.words)
    sealed = _sealed(document, run, folder, None)
    path = folder / f"{_name(document)}.json"
    if path.exists() and path.read_bytes() != sealed.content:
        hint = "check it with 'benchtest certificate verify'; issue a new one with 'benchtest certificate reissue'"
        raise wrong(path, "is there already, and is not what this station would seal now", hint=hint)
    return _write(document, sealed, folder, _name(document), kept.logo)


def reissue(
    run: Run, readings: Readings, folder: Path, job: Job, *, replaces: str, reason: str, day: str
) -> tuple[Path, Sealed]:
    """Write papers of the same run that replace earlier ones, with another job about it; return the JSON and its seal.

    Results, evidence and the run file stay as they are (ISO/IEC 17025:2017, 7.8.8: a new report is identified, and
    says what it replaces).
    """
    kept = _stationery(run, folder)
    place = next(n for n in range(2, 1000) if not list(folder.glob(f"*-{n}.json")))
    run = replace(run, number=f"{run.number}-{place}", job=job)
    said = kept.words.say("replaces", number=replaces, reason=reason)
    document = describe(run, readings, kept.words, issued=day, replaces=said)
    sealed = _sealed(document, run, folder, None)
    return _write(document, sealed, folder, f"{_name(document)}-{place}", kept.logo)[0], sealed


def words_of(run: Run, folder: Path) -> Language:
    """Return the language of a run's papers, as it was then."""
    return language(run.language if run.language in SHIPPED else str(folder / Path(run.language).name))


def _stationery(run: Run, folder: Path) -> _Stationery:
    kept = {name: _kept(folder / name, expected) for name, expected in run.stationery.items()}
    logo = next((content for name, content in kept.items() if name.startswith("logo.")), b"")
    return _Stationery(words=words_of(run, folder), logo=logo)


def _kept(path: Path, expected: str) -> bytes:
    """Return a file that papers are made with, as it was."""
    content = read_whole(path)
    if digest(content) != expected:
        raise wrong(path, "was changed after the run", hint="look for a copy")
    return content


def _name(document: Document) -> str:
    return "certificate" if document.passed else "report"


def _sealed(document: Document, run: Run, folder: Path, station: Station | None) -> Sealed:
    run_file = digest((folder / "run.json").read_bytes())
    return seal_document(document, run, run_file=run_file, station=station or open_station())


def _write(document: Document, sealed: Sealed, folder: Path, name: str, logo: bytes) -> tuple[Path, ...]:
    contents = {
        ".json": sealed.content,
        ".pdf": to_pdf(document, (folder / "run.json").read_bytes(), sealed, logo),
        ".html": to_html(document, sealed, logo).encode(),
    }
    for ending, content in contents.items():
        write_whole(folder / (name + ending), content)
    return tuple(folder / (name + ending) for ending in contents)
