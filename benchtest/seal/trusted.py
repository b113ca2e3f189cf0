"""The stations whose papers are believed here: a short YAML list that people can read, write and carry.

A key that is renewed is vouched for by the key before it: both sign the change (a succession), so that whoever trusts
the old one can trust the new one without being told. A key counts for papers issued until its last day.
"""

import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Final, Literal

import yaml
from pydantic import AfterValidator, Field

from benchtest.canonical import to_canonical, write_whole
from benchtest.documents import Review, load
from benchtest.documents.section import Section
from benchtest.seal.statement import fingerprint, holds

FORMAT: Final = "benchtest-stations/1"
SUCCESSION: Final = "benchtest-succession/1"
_HEADER: Final = "# Stations whose sealed papers are believed here; docs/seal.md says how a list is kept.\n"


def is_day(text: str) -> bool:
    """Return whether a text is a day as ISO 8601 writes it."""
    try:
        return bool(re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text)) and bool(date.fromisoformat(text))
    except ValueError:
        return False


def _day(text: str) -> str:
    if not is_day(text):
        raise ValueError("expected a day such as 2026-03-14")
    return text


Day = Annotated[str, AfterValidator(_day)]
Key = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Signature = Annotated[str, Field(pattern=r"^[0-9a-f]{128}$")]


class Succession(Section):
    """A key vouches for the one after it, and the new one agrees."""

    old: Key
    new: Key
    day: Day
    by_old: Signature
    by_new: Signature

    def holds(self) -> bool:
        """Return whether both have signed it."""
        message = succession_message(self.old, self.new, self.day)
        return holds(self.old, self.by_old, message) and holds(self.new, self.by_new, message)


class Entry(Section):
    """One key of a station."""

    name: Annotated[str, Field(min_length=1, max_length=80)]
    """As it is called here."""
    key: Key
    since: Day | None = None
    """First day in use; for people."""
    until: Day | None = None
    """Last day whose papers are believed."""
    succession: Succession | None = None
    """How the key before it vouches for it."""


class Stations(Section):
    """The list."""

    format: Literal["benchtest-stations/1"]
    stations: tuple[Entry, ...] = ()

    def entry(self, key: str) -> Entry | None:
        return next((one for one in self.stations if one.key == key), None)


@dataclass(frozen=True, kw_only=True, slots=True)
class Standing:
    """Whether a key is believed, and why."""

    trusted: bool
    name: str
    """As the list calls the station; empty when it does not know it."""
    why: str


def succession_message(old: str, new: str, day: str) -> bytes:
    """Return the bytes that both keys of a succession sign."""
    return to_canonical({"format": SUCCESSION, "old": old, "new": new, "day": day})


def read_stations(path: Path) -> Stations:
    """Return the list in a file; an empty one when there is no such file. Raises DocumentError with every problem."""
    if not path.exists():
        return Stations(format=FORMAT)
    return load(path, Stations, check=_check).value


def _check(found: Stations, review: Review) -> None:
    seen = set[str]()
    for place, one in enumerate(found.stations):
        if one.key in seen:
            review.say(("stations", place, "key"), "this key stands there twice", "keep one of them")
        seen.add(one.key)
        if one.succession is not None and not (one.succession.new == one.key and one.succession.holds()):
            review.say(("stations", place, "succession"), "its signatures do not hold", "delete it, or ask the station")


def as_text(stations: Stations) -> str:
    """Return the list as it is written."""
    fields = stations.model_dump(mode="json", exclude_none=True)
    text: str = yaml.safe_dump(fields, sort_keys=False, allow_unicode=True, width=160)
    return _HEADER + text


def write_stations(path: Path, stations: Stations) -> None:
    """Write the list, whole or not at all."""
    write_whole(path, as_text(stations).encode())


def merged(stations: Stations, more: Iterable[Entry]) -> Stations:
    """Return a list with more entries; one that has the key already gives way to the new one."""
    entries = {one.key: one for one in (*stations.stations, *more)}
    return Stations(format=FORMAT, stations=tuple(entries.values()))


def standing(key: str, issued: str, lineage: Sequence[Succession], stations: Stations) -> Standing:
    """Return whether papers of a key issued on a day are believed, by the list or by a key that vouches for it."""
    entry = stations.entry(key)
    if entry is not None:
        return _by_list(entry, issued)
    vouched = {one.new: one for one in lineage}
    here, day = key, issued
    while (step := vouched.pop(here, None)) is not None and step.holds():
        here, day = step.old, step.day
        if (known := stations.entry(here)) is not None:
            found = _by_list(known, day)
            why = f"its key was renewed on {day}, and the one before it vouches for it: {found.why}"
            return Standing(trusted=found.trusted, name=found.name, why=why)
    return Standing(trusted=False, name="", why=f"no list here knows the key {fingerprint(key)}")


def _by_list(entry: Entry, day: str) -> Standing:
    if entry.until is not None and day > entry.until:
        why = f"its key was retired on {entry.until}, and this is of {day}"
        return Standing(trusted=False, name=entry.name, why=why)
    early = f", in use since {entry.since} (sealed later than issued)" if entry.since and day < entry.since else ""
    return Standing(trusted=True, name=entry.name, why=f"key {fingerprint(entry.key)} is in the list{early}")


def as_fields(lineage: Iterable[Succession]) -> list[dict[str, Any]]:
    """Return successions as JSON has them."""
    return [one.model_dump(mode="json") for one in lineage]


def stations_file(folder: Path) -> Path:
    """Return where the list lies in a station's folder."""
    return folder / "stations.yaml"


def readable_by_others(path: Path) -> bool:
    """Return whether somebody else than its owner may read a file; a system without such modes knows no others."""
    return os.name == "posix" and bool(path.stat().st_mode & 0o077)
