"""The folder of a run: `runs/<time>-<part>-<serial>-<id>/` with `run.json` and `recordings/`.

Everything is canonical JSON or a NumPy archive without pickles, whole or not there, and checked against its digest when
it is read. Nothing that a person or a document said becomes part of a path before it is spelled in plain letters.
"""

import io
import os
import re
import unicodedata
import zipfile
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

import numpy as np
from pydantic import TypeAdapter, ValidationError

from benchtest.instruments import Message, Order, Recording
from benchtest.readings import Evidence, Left, Readings, Recorded, Supplied, Value
from benchtest.records.canonical import digest, from_canonical, to_canonical, write_whole, wrong
from benchtest.results import Run

RUN_FORMAT: Final = "benchtest-run/1"
SCALARS: Final = "evidence.json"
LONGEST_SERIAL: Final = 64
_PLAIN = re.compile(r"[^A-Za-z0-9.-]+")


def clean_serial(text: str) -> str:
    """Return a serial number without the blanks around it.

    Raises ValueError that says what to try when it is empty, longer than 64 characters, or holds characters of paths,
    control characters or invisible ones.
    """
    serial = text.strip()
    if not serial or set(serial) == {"."}:
        raise ValueError(f"{text!r} is not a serial number (try what the label on the board says)")
    if len(serial) > LONGEST_SERIAL:
        raise ValueError(f"serial number of {len(serial)} characters (at most {LONGEST_SERIAL}; try the label only)")
    strange = next((c for c in serial if c in "/\\" or _unprintable(c)), None)
    if strange is not None:
        raise ValueError(f"serial number {serial!r} holds {strange!r} (try letters, digits, '-' and '.')")
    return serial


def clean_text(text: str, *, longest: int = 200) -> str:
    """Return free text of a person on one line: control characters become blanks, too long is cut with `…`."""
    line = " ".join("".join(" " if _unprintable(c) else c for c in text).split())
    return line if len(line) <= longest else line[: longest - 1] + "…"


def _unprintable(character: str) -> bool:
    """Control, formatting (such as direction marks), half a surrogate pair, or a line or paragraph separator."""
    return unicodedata.category(character) in {"Cc", "Cf", "Cs", "Zl", "Zp"}


def create_folder(root: Path, *, started: datetime, part: str, serial: str) -> Path:
    """Make the folder of a new run below `root` and return it. Raises ValueError for a serial number that cannot be."""
    words = [_plain(part), _plain(clean_serial(serial)), os.urandom(4).hex()]
    folder = root / "-".join([started.strftime("%Y%m%dT%H%M%S"), *words])
    (folder / "recordings").mkdir(parents=True)
    return folder


def _plain(text: str) -> str:
    return _PLAIN.sub("_", text)[:LONGEST_SERIAL].strip(".") or "_"


# ---------------------------------------------------------------- evidence


def save_recorded(folder: Path, name: str, recorded: Recorded) -> tuple[str, str]:
    """Write one recording and return its path in the folder and its digest. Same recording, same bytes."""
    recording = recorded.recording
    facts = {
        "name": name,
        "rate": recording.rate,
        "channels": recording.channels,
        "scale": recording.scale,
        "offset": recording.offset,
        "done": _orders.dump_python(recording.done, mode="json"),
        "overrun": recording.overrun,
        "messages": _messages.dump_python(recorded.messages, mode="json"),
        "said": recorded.said,
        "start_uncertainty": recorded.start_uncertainty,
    }
    archive = io.BytesIO()
    np.savez(archive, codes=recording.codes, facts=np.frombuffer(to_canonical(facts), dtype=np.uint8))
    relative = f"recordings/{quote(name, safe='')}.npz"
    return relative, write_whole(folder / relative, archive.getvalue())


def save_scalars(folder: Path, readings: Readings) -> tuple[str, str]:
    """Write all evidence that is not a recording; return the path in the folder and the digest."""
    content = {name: _scalar(evidence) for name, evidence in readings.evidence.items()}
    known = {name: fields for name, fields in content.items() if fields is not None}
    return SCALARS, write_whole(folder / SCALARS, to_canonical(known))


def _scalar(evidence: Evidence) -> dict[str, object] | None:
    match evidence:
        case Value():
            return {"kind": "value", "value": evidence.value}
        case Supplied():
            supplied = {"volts": evidence.volts, "amps": evidence.amps, "limiting": evidence.limiting}
            return {"kind": "supplied", **supplied}
        case Left():
            return {"kind": "left", "channels": evidence.channels}
        case Recorded():
            return None


def load_readings(folder: Path, run: Run) -> Readings:
    """Return the evidence of a run; raises DocumentError when a file is not what its digest in the run says."""
    evidence: dict[str, Evidence] = {}
    for relative, expected in run.recordings.items():
        content = _content(folder, relative, expected)
        if relative == SCALARS:
            evidence |= _load_scalars(folder / relative, content)
        else:
            name, recorded = _load_recorded(folder / relative, content)
            evidence[name] = recorded
    return Readings(origin=run.origin, evidence=evidence)


def _content(folder: Path, relative: str, expected: str) -> bytes:
    path = folder / relative
    if not path.resolve().is_relative_to(folder.resolve()):
        raise wrong(path, "is outside the run folder")
    content = _read(path)
    if digest(content) != expected:
        raise wrong(path, "was changed after the run", hint="its digest in run.json is another; look for a copy")
    return content


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as cause:
        raise wrong(path, f"cannot be read: {cause.strerror}", hint="is this a run folder?") from cause


def _load_recorded(path: Path, content: bytes) -> tuple[str, Recorded]:
    try:
        with np.load(io.BytesIO(content), allow_pickle=False) as archive:
            facts = from_canonical(archive["facts"].tobytes())
            codes = archive["codes"]
        recording = Recording(
            rate=facts["rate"],
            channels=tuple(facts["channels"]),
            codes=codes,
            scale=tuple(facts["scale"]),
            offset=tuple(facts["offset"]),
            done=_orders.validate_python(facts["done"]),
            overrun=facts["overrun"],
        )
        return facts["name"], Recorded(
            recording=recording,
            messages=_messages.validate_python(facts["messages"]),
            said=tuple(facts["said"]),
            start_uncertainty=facts["start_uncertainty"],
        )
    except (ValueError, KeyError, zipfile.BadZipFile) as cause:
        raise wrong(path, "is not a recording of this program") from cause


def _load_scalars(path: Path, content: bytes) -> dict[str, Evidence]:
    try:
        found = from_canonical(content)
        return {name: _of_kind(fields) for name, fields in found.items()}
    except (ValueError, KeyError, TypeError) as cause:
        raise wrong(path, "is not an evidence file of this program") from cause


def _of_kind(fields: Mapping[str, Any]) -> Evidence:
    match fields["kind"]:
        case "value":
            return Value(value=fields["value"])
        case "supplied":
            return Supplied(volts=fields["volts"], amps=fields["amps"], limiting=fields["limiting"])
        case "left":
            return Left(channels=tuple(fields["channels"]))
        case kind:
            raise ValueError(f"{kind!r} is not a kind of evidence")


_orders: Final = TypeAdapter(tuple[Order, ...])
_messages: Final = TypeAdapter(tuple[Message, ...])

# ---------------------------------------------------------------- the run file


@cache
def _runs() -> TypeAdapter[Run]:
    """Built when first asked for: it takes longer than all of the rest."""
    return TypeAdapter(Run)


def write_run(folder: Path, run: Run) -> Path:
    """Write `run.json` and return its path."""
    path = folder / "run.json"
    write_whole(path, to_canonical(_runs().dump_python(run, mode="json")))
    return path


def read_run(folder: Path) -> Run:
    """Return the run of a folder. Raises DocumentError when the file is missing, damaged, or of an unknown format."""
    path = folder / "run.json"
    content = _read(path)
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
