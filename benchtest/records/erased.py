"""What is left of papers that were deleted for the sake of a person whom they name: their numbers and digests.

It lies in the run folder. The copy that a customer holds can still be told by it, and the records still know that
there was a certificate.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Final

from benchtest.canonical import from_canonical, read_whole, to_canonical, write_whole, wrong

FILE: Final = "papers.erased.json"
FORMAT: Final = "benchtest-erased-papers/1"


def write_erased(folder: Path, papers: Mapping[str, str], *, number: str, reason: str) -> None:
    """Note which papers of a run are about to be deleted: file → SHA-256; what was noted before stays."""
    known = dict(read_erased(folder))
    plain = {"format": FORMAT, "number": number, "papers": {**papers, **known}, "reason": reason}
    write_whole(folder / FILE, to_canonical(plain))


def read_erased(folder: Path) -> Mapping[str, str]:
    """Return the deleted papers of a run: file → SHA-256. Raises DocumentError when the note cannot be read."""
    path = folder / FILE
    if not path.exists():
        return {}
    try:
        found = from_canonical(read_whole(path))
        if found["format"] != FORMAT:
            raise wrong(path, f"format {found['format']!r} is not known", hint=f"this program reads {FORMAT!r}")
        return {str(name): str(sha) for name, sha in found["papers"].items()}
    except (ValueError, KeyError, TypeError, AttributeError) as cause:
        raise wrong(path, "is no note of erased papers") from cause
