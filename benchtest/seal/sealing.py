"""A paper's parts, their digests, and the seal over all of them.

Parts are the top-level values of a paper, and of lists and mappings their elements, so that a check can name the one
that was changed. Each digest is salted: a part can be taken out of a copy later (a customer's name), and nobody can
guess it back from its digest. The salt comes from the station's private key, so that the same paper always has the same
bytes.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from benchtest.canonical import digest, to_canonical
from benchtest.seal.statement import Statement, cut
from benchtest.seal.station import Station
from benchtest.seal.text import to_text
from benchtest.seal.trusted import as_fields

SEAL: Final = "seal"
STATION: Final = "station"
_NAME: Final = re.compile(r"[a-z][a-z0-9_]*")


@dataclass(frozen=True, kw_only=True, slots=True)
class Sealed:
    """A paper as it is kept and attached, and what a QR code carries of it."""

    content: bytes
    """Canonical JSON."""
    text: str
    statement: Statement


def seal(paper: Mapping[str, Any], *, number: str, outcome: str, serial: str, issued: str, station: Station) -> Sealed:
    """Return a paper, made of JSON types, with the station's seal. Same paper, same station, same bytes."""
    known_by = {"name": station.name, "key": station.key, "lineage": as_fields(station.lineage)}
    paper = {**paper, STATION: known_by}
    parts = parts_of(paper)
    salts = {path: station.salt(f"{number} {path}") for path in parts}
    digests = {path: digest_of(value, salts[path]) for path, value in parts.items()}
    statement = Statement(
        number=cut(number),
        outcome=outcome,
        serial=cut(serial),
        issued=issued,
        digest=digest(to_canonical(digests)),
        key=station.key,
    )
    signature = station.sign(statement.spelled())
    fields = {"statement": statement.as_fields(), "signature": signature, "parts": digests, "salts": salts}
    content = to_canonical({**paper, SEAL: fields})
    return Sealed(content=content, text=to_text(statement, signature), statement=statement)


def parts_of(paper: Mapping[str, Any]) -> dict[str, Any]:
    """Return the parts of a paper by path, such as `sections[3]`, places counted from 1.

    Raises ValueError for a name that could be taken for a path.
    """
    parts: dict[str, Any] = {}
    for key, value in paper.items():
        match _plain(key), value:
            case name, dict() if value:
                parts |= {f"{name}.{_plain(inner)}": part for inner, part in value.items()}
            case name, (list() | tuple()) if value:
                parts |= {f"{name}[{place}]": part for place, part in enumerate(value, 1)}
            case name, _:
                parts[name] = value
    return parts


def digest_of(part: Any, salt: str) -> str:
    """Return the digest of a part."""
    return digest(to_canonical([salt, part]))


def _plain(name: str) -> str:
    if not _NAME.fullmatch(name):
        raise ValueError(f"{name!r} is not a name of a part")
    return name
