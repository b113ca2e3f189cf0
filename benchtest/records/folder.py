"""The folder of a run: `runs/<time>-<part>-<serial>-<id>/` with `run.json`, and `recordings/` for the evidence.

Everything is canonical JSON, whole or not there. Nothing that a person or a document said becomes part of a path before
it is spelled in plain letters.
"""

import os
import re
from dataclasses import asdict
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Final

from pydantic import TypeAdapter, ValidationError

from benchtest.canonical import digest, from_canonical, read_whole, to_canonical, write_whole, wrong
from benchtest.procedure import Procedure
from benchtest.records.labels import LONGEST_SERIAL, clean_serial
from benchtest.results import Run

RUN_FORMAT: Final = "benchtest-run/1"
DEPOT: Final = "depot"
"""Beside the runs: the folder of the depot's cases."""
PROCEDURE: Final = "procedure.json"
_PLAIN = re.compile(r"[^A-Za-z0-9.-]+")


def create_folder(root: Path, *, started: datetime, part: str, serial: str) -> Path:
    """Make the folder of a new run below `root` and return it. Raises ValueError for a serial number that cannot be."""
    words = [_plain(part), _plain(clean_serial(serial)), os.urandom(4).hex()]
    folder = root / "-".join([started.strftime("%Y%m%dT%H%M%S"), *words])
    (folder / "recordings").mkdir(parents=True)
    return folder


def folders_of(root: Path, *, part: str, serial: str) -> list[Path]:
    """Return the folders of finished runs below `root` that may be of one board, by their names, oldest first."""
    return sorted(path.parent for path in root.glob(f"*-{_plain(part)}-{_plain(serial)}-*/run.json"))


def all_folders_of(root: Path, *, part: str, serial: str) -> list[Path]:
    """Return the same with the runs that never came to an end."""
    found = root.glob(f"*-{_plain(part)}-{_plain(serial)}-*/journal.jsonl")
    return sorted(path.parent for path in found)


def _plain(text: str) -> str:
    return _PLAIN.sub("_", text)[:LONGEST_SERIAL].strip(".") or "_"


@cache
def _runs() -> TypeAdapter[Run]:
    """Built when first asked for: it takes longer than all of the rest."""
    return TypeAdapter(Run)


def write_run(folder: Path, run: Run) -> Path:
    """Write `run.json` and return its path."""
    path = folder / "run.json"
    write_whole(path, to_canonical(_runs().dump_python(run, mode="json")))
    return path


@cache
def _procedures() -> TypeAdapter[Procedure]:
    return TypeAdapter(Procedure)


def write_procedure(folder: Path, procedure: Procedure) -> str:
    """Write `procedure.json`, so that a run that is cut off still says what was asked; return its digest."""
    return write_whole(folder / PROCEDURE, to_canonical(asdict(procedure)))


def read_procedure(folder: Path, expected: str) -> Procedure:
    """Return the procedure of a run that was cut off. Raises DocumentError when it is not what its digest says."""
    path = folder / PROCEDURE
    content = read_whole(path)
    if digest(content) != expected:
        raise wrong(path, "was changed after the run", hint="its digest in the journal is another; look for a copy")
    try:
        return _procedures().validate_python(from_canonical(content))
    except (ValueError, ValidationError) as cause:
        raise wrong(path, "is not a procedure of this program") from cause


def read_run(folder: Path) -> Run:
    """Return the run of a folder. Raises DocumentError when the file is missing, damaged, or of an unknown format."""
    path = folder / "run.json"
    if not path.exists() and (folder / "journal.jsonl").exists():
        raise wrong(path, "is not there: the run was cut off", hint="'benchtest show' says how far it came")
    content = read_whole(path)
    try:
        found = from_canonical(content)
        form = found["format"]
    except (ValueError, KeyError, TypeError) as cause:
        raise wrong(path, "is not a run file") from cause
    if form != RUN_FORMAT:
        hint = f"this program reads {RUN_FORMAT!r}; a newer one may read yours"
        raise wrong(path, f"format {form!r} is not known", hint=hint)
    try:
        return _runs().validate_python(found)
    except ValidationError as cause:
        first = cause.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        raise wrong(path, f"{where}: {first['msg']}", hint="the file was damaged or changed by hand") from cause
