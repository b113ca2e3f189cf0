"""The document under seal: what it is bound to, and how the seal shows on the page."""

from dataclasses import asdict, dataclass
from typing import Any

from benchtest.certificate.document import Document
from benchtest.results import Outcome, Run
from benchtest.seal import Sealed, Station, seal
from benchtest.seal.code import to_svg
from benchtest.seal.statement import fingerprint


@dataclass(frozen=True, kw_only=True, slots=True)
class Shown:
    """The seal as the pages show it."""

    code: str
    """The QR code as SVG."""
    text: str
    """What the code holds."""
    said: str
    """The same for people: number, outcome and serial number."""
    by: str
    """Who sealed it, and how it is checked."""


def seal_document(document: Document, run: Run, *, run_file: str, station: Station) -> Sealed:
    """Return the document as JSON under seal, bound to all evidence; `run_file` is the digest of `run.json`."""
    paper = {**asdict(document), "bound": bound_to(run, run_file)}
    return seal(
        paper,
        number=document.number,
        outcome=_outcome(document, run),
        serial=run.job.serial,
        issued=document.date,
        station=station,
    )


def bound_to(run: Run, run_file: str) -> dict[str, Any]:
    """Return the digests that tie the paper to its evidence (SHA-256)."""
    return {
        "run": run_file,
        "journal": run.journal_head,
        "recordings": dict(run.recordings),
        "profile": run.profile_digest,
        "fixture": run.fixture_digest,
    }


def shown(sealed: Sealed, document: Document) -> Shown:
    """Return what the pages show of a seal, in their language."""
    statement = sealed.statement
    said = f"{statement.number} · {document.outcome} · {statement.serial}"
    by = document.labels["seal_by"].replace("{key}", fingerprint(statement.key))
    return Shown(code=to_svg(sealed.text), text=sealed.text, said=said, by=by)


def _outcome(document: Document, run: Run) -> str:
    """Return the outcome in the run's own word; never a pass that the paper does not say."""
    contradicted = run.outcome is Outcome.PASS and not document.passed
    return str(Outcome.INCONCLUSIVE if contradicted else run.outcome)
