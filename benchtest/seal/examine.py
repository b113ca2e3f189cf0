"""Whether a sealed paper, or the text of its QR code, is what a station sealed.

The order is from the signature inwards: the statement is signed, the statement's digest holds for the list of parts,
the list for each part; then every byte must be the one that RFC 8785 asks for. So nothing is believed, nor used to say
what was changed, that does not hang on the signature.
"""

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from benchtest.canonical import digest
from benchtest.seal.examined import Examined, State, altered
from benchtest.seal.sealing import SEAL, STATION, parts_of
from benchtest.seal.statement import Statement, holds
from benchtest.seal.strict import Unsound, first_difference, read_strictly, spelled
from benchtest.seal.text import from_text, to_text
from benchtest.seal.trusted import Stations, Succession, standing

WITHHELD: Final = "job["
"""Only what a job says of people may be missing from a copy."""
_MOST_PLACES: Final = 20


def examine_json(content: bytes, stations: Stations) -> Examined:
    """Return what is to be said of a sealed JSON file."""
    return _by_station(_examined(content), stations)


def examine_text(line: str, stations: Stations) -> Examined:
    """Return what is to be said of the text of a QR code; it proves its statement, and no other word of the page."""
    try:
        statement, signature = from_text(line.strip())
    except ValueError as cause:
        return altered(f"the text is not as a station writes it, or not as it was printed: {cause}")
    if not holds(statement.key, signature, statement.spelled()):
        return altered("the signature does not hold for what the text says")
    found = Examined(state=State.UNKNOWN, statement=statement, text=to_text(statement, signature))
    return _by_station(found, stations)


def _examined(content: bytes) -> Examined:
    try:
        paper = read_strictly(content)
    except Unsound as cause:
        return _never_sealed(content) or altered(f"it cannot be read as it was sealed: {cause}")
    if SEAL not in paper:
        return _never_sealed(content) or altered("its seal was taken away", f"{SEAL} (missing)")
    fields = paper.pop(SEAL)
    try:
        statement, parts, salts = _opened(fields)
        found = parts_of(paper)
    except ValueError as cause:
        return altered("its seal is damaged", f"{SEAL}.{cause}")
    wrong, withheld = _compared(found, parts, salts)
    if wrong:
        return altered("parts of it are not as they were sealed", *wrong, statement=statement)
    place = first_difference(content, {**paper, SEAL: fields})
    if place is not None:
        why = "its contents are as sealed, but not its bytes (get the original file)"
        return altered(why, f"byte {place}", statement=statement)
    return replace(_as_sealed(statement, paper, withheld), text=to_text(statement, fields["signature"]))


def _never_sealed(content: bytes) -> Examined | None:
    """Return what is to be said of JSON that names neither seal nor station; None when it does, or is no JSON."""
    try:
        found = json.loads(content)
    except (ValueError, RecursionError):
        return None
    if not isinstance(found, dict) or {SEAL, STATION} & set(found):
        return None
    return Examined(state=State.UNSEALED, why="it carries no seal, so nothing can be said of it")


def _opened(fields: Any) -> tuple[Statement, Mapping[str, str], Mapping[str, str]]:
    """Return what the signature holds for. Raises ValueError with the place in the seal that is wrong."""
    if not isinstance(fields, dict) or set(fields) != {"statement", "signature", "parts", "salts"}:
        raise ValueError("statement: it has not exactly its keys")
    statement = Statement.of(fields["statement"])
    if not holds(statement.key, fields["signature"], statement.spelled()):
        raise ValueError("signature: it does not hold for the statement, so either of them was changed")
    if not all(isinstance(fields[name], dict) for name in ("parts", "salts")):
        raise ValueError("parts: they are not listed by path")
    if digest(spelled(fields["parts"])) != statement.digest:
        raise ValueError("parts: the list is not the one that was signed")
    return statement, fields["parts"], fields["salts"]


def _compared(
    found: Mapping[str, Any], parts: Mapping[str, str], salts: Mapping[str, str]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the paths that are not as sealed, and those that were withheld."""
    withheld = tuple(path for path in parts if _may_be_withheld(path, found, salts))
    wrong = [f"{path} (missing)" for path in parts if path not in found]
    wrong += [f"{path} (added)" for path in found if path not in parts]
    wrong += [f"{SEAL}.salts.{path} (added)" for path in salts if path not in parts]
    listed = [path for path in found if path in parts and path not in withheld]
    wrong += [path for path in listed if not _same(found[path], salts.get(path, ""), parts[path])]
    return tuple(wrong[:_MOST_PLACES]), withheld


def _may_be_withheld(path: str, found: Mapping[str, Any], salts: Mapping[str, str]) -> bool:
    """Return whether nothing stands in the place of a part, and its salt is gone too, so that it cannot be guessed."""
    return path.startswith(WITHHELD) and path not in salts and path in found and found[path] is None


def _same(part: Any, salt: str, expected: str) -> bool:
    try:
        return digest(spelled([salt, part])) == expected
    except ValueError:  # half a surrogate pair
        return False


def _as_sealed(statement: Statement, paper: Mapping[str, Any], withheld: tuple[str, ...]) -> Examined:
    try:
        about: Any = paper[STATION]
        key, name = str(about["key"]), str(about["name"])
        lineage = tuple(Succession.model_validate(one) for one in about["lineage"])
    except (ValueError, KeyError, TypeError):  # a ValidationError of pydantic is a ValueError
        return altered("what it says of its station is not what a station writes", STATION)
    if key != statement.key:
        return altered("it is sealed by another key than that of the station it names", STATION)
    return Examined(
        state=State.UNKNOWN, statement=statement, station=name, withheld=withheld, paper=paper, lineage=lineage
    )


def _by_station(found: Examined, stations: Stations) -> Examined:
    """Return what was found with what the list says of its station."""
    if found.state is not State.UNKNOWN or found.statement is None:
        return found
    known = standing(found.statement.key, found.statement.issued, found.lineage, stations)
    state = State.GENUINE if known.trusted else State.UNKNOWN
    return replace(found, state=state, station=known.name or found.station, why=known.why)
