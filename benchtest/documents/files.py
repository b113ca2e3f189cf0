"""A document's companions: files in the same folder, and one digest over all of them."""

import hashlib
from collections.abc import Iterable
from pathlib import Path


def beside(document: Path, name: str) -> Path | None:
    """Return the path of the file `name` in the folder of `document`, or None when it would lie elsewhere."""
    if not name.strip(".") or Path(name).name != name or any(sign in name for sign in "\\\0:"):
        return None
    path = document.parent / name
    return path if path.resolve().parent == document.parent.resolve() else None


def digest_of(files: Iterable[tuple[str, str]]) -> str:
    """Return the SHA-256 over several files, given as name and digest of each, in their order."""
    return hashlib.sha256("".join(f"{digest}  {name}\n" for name, digest in files).encode()).hexdigest()
