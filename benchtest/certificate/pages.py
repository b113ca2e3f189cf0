"""A PDF's pages set anew from the JSON that it carries, to see whether they are what was sealed.

A signature covers data and not looks: somebody could change a word on a page and leave the attachment alone. The same
paper always gives the same bytes, so that this version of the program can tell, for papers that it has set itself.
"""

from collections.abc import Mapping
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from benchtest.certificate.document import Document
from benchtest.certificate.pdf import to_pdf
from benchtest.seal import Examined, Sealed
from benchtest.seal.attached import attachments


def first_difference(pdf: bytes, found: Examined, run: Path | None) -> int | None:
    """Return the place, from 1, of the first byte that is not as this program sets it; None when all are.

    `run` is the run folder, where a logo lies. Raises ValueError that says why the pages cannot be set.
    """
    wanted = _set(pdf, found, run)
    if wanted == pdf:
        return None
    pairs = enumerate(zip(wanted, pdf, strict=False), 1)
    return next((place for place, (a, b) in pairs if a != b), min(len(wanted), len(pdf)) + 1)


def _set(pdf: bytes, found: Examined, run: Path | None) -> bytes:
    contents = [one.content for one in attachments(pdf)]
    if found.statement is None or found.withheld or len(contents) != 2 or None in contents:
        raise ValueError("it does not carry a whole paper and its run file")
    content, run_file = (one or b"" for one in contents)
    document = _document(found.paper)
    sealed = Sealed(content=content, text=found.text, statement=found.statement)
    return to_pdf(document, run_file, sealed, _logo(document, run))


def _document(paper: Mapping[str, object]) -> Document:
    fields = {name: paper.get(name) for name in Document.__dataclass_fields__}
    try:
        return TypeAdapter(Document).validate_python(fields)
    except ValidationError as cause:
        raise ValueError("another version of the program made it") from cause


def _logo(document: Document, run: Path | None) -> bytes:
    head = document.letterhead
    if head is None or not head.logo:
        return b""
    if run is None:
        raise ValueError(f"its logo, {head.logo}, lies in the run folder (give it with --run)")
    return (run / Path(head.logo).name).read_bytes()
