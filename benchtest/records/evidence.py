"""The evidence of a run on disk: recordings as NumPy archives without pickles, everything else in one JSON file.

Same evidence, same bytes. What is read is checked against its digest in the run first.
"""

import io
import zipfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

import numpy as np
from pydantic import TypeAdapter

from benchtest.canonical import digest, from_canonical, read_whole, to_canonical, write_whole, wrong
from benchtest.instruments import Message, Order, Recording
from benchtest.readings import (
    Compared,
    Evidence,
    Exchanged,
    Left,
    LoopedBack,
    Readings,
    Recorded,
    Skipped,
    Supplied,
    Told,
    Value,
)
from benchtest.results import Run

SCALARS: Final = "evidence.json"


def save_recorded(folder: Path, name: str, recorded: Recorded) -> tuple[str, str]:
    """Write one recording and return its path in the folder and its digest. Same recording, same bytes."""
    recording = recorded.recording
    facts = {
        "name": name,
        "rate": recording.rate,
        "channels": recording.channels,
        "scale": recording.scale,
        "offset": recording.offset,
        "done": _orders().dump_python(recording.done, mode="json"),
        "overrun": recording.overrun,
        "messages": [_message(message) for message in recorded.messages],
        "said": recorded.said,
        "start_uncertainty": recorded.start_uncertainty,
    }
    archive = io.BytesIO()
    np.savez(archive, codes=recording.codes, facts=np.frombuffer(to_canonical(facts), dtype=np.uint8))
    relative = f"recordings/{quote(name, safe='')}.npz"
    return relative, write_whole(folder / relative, archive.getvalue())


def save_scalars(folder: Path, readings: Readings) -> tuple[str, str]:
    """Write all evidence that is not a recording; return the path in the folder and the digest."""
    content = {name: as_fields(evidence) for name, evidence in readings.evidence.items()}
    known = {name: fields for name, fields in content.items() if fields is not None}
    return SCALARS, write_whole(folder / SCALARS, to_canonical(known))


def as_fields(evidence: Evidence) -> dict[str, object] | None:
    """Return evidence as JSON has it; None for a recording, which has a file of its own."""
    match evidence:
        case Value():
            return {"kind": "value", "value": evidence.value}
        case Supplied():
            supplied = {"volts": evidence.volts, "amps": evidence.amps, "limiting": evidence.limiting}
            return {"kind": "supplied", **supplied}
        case Left():
            return {"kind": "left", "channels": evidence.channels}
        case Told():
            return {"kind": "told", "word": evidence.word}
        case Skipped():
            return {"kind": "skipped", "reason": evidence.reason}
        case Exchanged():
            return {"kind": "exchanged", "seconds": dict(evidence.seconds), "step": evidence.step}
        case Compared():
            moments = {"asked": evidence.asked, "answered": evidence.answered, "adapter": evidence.adapter}
            return {"kind": "compared", **moments}
        case LoopedBack():
            return {"kind": "looped back", "out": evidence.out, "back": evidence.back}
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


def load_recorded(folder: Path, relative: str, expected: str) -> Recorded:
    """Return one recording of a run folder; raises DocumentError when it is not what its digest says."""
    return _load_recorded(folder / relative, _content(folder, relative, expected))[1]


def _content(folder: Path, relative: str, expected: str) -> bytes:
    path = folder / relative
    if not path.resolve().is_relative_to(folder.resolve()):
        raise wrong(path, "is outside the run folder")
    content = read_whole(path)
    if digest(content) != expected:
        raise wrong(path, "was changed after the run", hint="its digest in run.json is another; look for a copy")
    return content


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
            done=_orders().validate_python(facts["done"]),
            overrun=facts["overrun"],
        )
        return facts["name"], Recorded(
            recording=recording,
            messages=_messages().validate_python(facts["messages"]),
            said=tuple(facts["said"]),
            start_uncertainty=facts["start_uncertainty"],
        )
    except (ValueError, KeyError, zipfile.BadZipFile) as cause:
        raise wrong(path, "is not a recording of this program") from cause


def _load_scalars(path: Path, content: bytes) -> dict[str, Evidence]:
    try:
        found = from_canonical(content)
        return {name: from_fields(fields) for name, fields in found.items()}
    except (ValueError, KeyError, TypeError) as cause:
        raise wrong(path, "is not an evidence file of this program") from cause


def from_fields(fields: Mapping[str, Any]) -> Evidence:
    """Return the evidence that `as_fields` wrote. Raises ValueError or KeyError when it is none."""
    match fields["kind"]:
        case "value":
            return Value(value=fields["value"])
        case "supplied":
            return Supplied(volts=fields["volts"], amps=fields["amps"], limiting=fields["limiting"])
        case "left":
            return Left(channels=tuple(fields["channels"]))
        case "told":
            return Told(word=fields["word"])
        case "skipped":
            return Skipped(reason=fields["reason"])
        case "exchanged":
            seconds = {name: tuple(taken) for name, taken in fields["seconds"].items()}
            return Exchanged(seconds=seconds, step=fields["step"])
        case "compared":
            asked, answered, adapter = (tuple(fields[key]) for key in ("asked", "answered", "adapter"))
            return Compared(asked=asked, answered=answered, adapter=adapter)
        case "looped back":
            return LoopedBack(out=fields["out"], back=fields["back"])
        case kind:
            raise ValueError(f"{kind!r} is not a kind of evidence")


@cache
def _orders() -> TypeAdapter[tuple[Order, ...]]:
    return TypeAdapter(tuple[Order, ...])


def _message(message: Message) -> dict[str, object]:
    return {**message._asdict(), "signals": dict(message.signals)}


@cache
def _messages() -> TypeAdapter[tuple[Message, ...]]:
    return TypeAdapter(tuple[Message, ...])
