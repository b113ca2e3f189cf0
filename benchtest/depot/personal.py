"""What is personal of a case, apart from everything else, so that it can be taken out and the rest still holds.

An entry only commits to it: SHA-256 over 32 random bytes and the text. The random bytes lie with the text, so that once
both are deleted nobody can find the text by guessing and comparing. Photos are files of their own, named by digest.
Strategy: commitment by salted hash, common practice; a digest alone of a short text such as a name can be guessed.
"""

import os
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError

from benchtest.canonical import digest, from_canonical, read_whole, to_canonical, write_whole, wrong

FIELDS: Final = ("customer", "contact", "complaint", "photos")
LONGEST: Final = {"customer": 200, "contact": 200, "complaint": 4000}
"""Characters."""
MOST_BYTES: Final = 25_000_000
"""Of one photo."""
MOST_PHOTOS: Final = 20
FILE: Final = "personal.json"
PHOTOS: Final = "photos"
_DIRECTION: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Characters that turn the direction of what follows, and could make a line say what it does not."""
_BEGINNINGS: Final = {b"\xff\xd8\xff": ".jpg", b"\x89PNG\r\n\x1a\n": ".png"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Photo:
    """A picture of the board as it came in; the file lies in the case's folder under its digest."""

    name: str
    """As it was called where it came from."""
    digest: str
    size: int
    """Bytes."""
    ending: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Personal:
    """Who sent the board, and what they said; empty where it was never given or has been taken out."""

    customer: str = ""
    contact: str = ""
    complaint: str = ""
    photos: tuple[Photo, ...] = ()
    salts: Mapping[str, str] = field(default_factory=dict)
    """Field → random bytes of its commitment, hexadecimal."""

    @property
    def given(self) -> tuple[str, ...]:
        """The fields that hold something."""
        return tuple(name for name in FIELDS if getattr(self, name))


NOTHING: Final = Personal()


def words(text: str, name: str) -> str:
    """Return a person's words as they said them, without what could disturb a terminal or turn a line around.

    Raises ValueError when they are longer than the field bears: words are never cut.
    """
    if len(text) > LONGEST[name]:
        raise ValueError(f"{name} of {len(text)} characters (at most {LONGEST[name]}; try the gist of it)")
    plain = unicodedata.normalize("NFC", text)
    kept = "".join("" if c in _DIRECTION else c if c == "\n" or _shows(c) else " " for c in plain)
    lines = (" ".join(line.split()) for line in kept.split("\n"))
    return "\n".join(lines).strip() if name == "complaint" else " ".join(kept.split())


def _shows(character: str) -> bool:
    """Return whether a character is no control character, half a surrogate pair or separator of lines.

    Joiners of scripts and pictograms (category Cf) are part of how words are spelled, and stay.
    """
    return unicodedata.category(character) not in {"Cc", "Cs", "Zl", "Zp"}


def salted(personal: Personal) -> Personal:
    """Return the same with fresh random bytes for every field that holds something."""
    salts = {name: os.urandom(32).hex() for name in personal.given}
    return Personal(**{name: getattr(personal, name) for name in FIELDS}, salts=salts)


def commitments(personal: Personal) -> dict[str, str]:
    """Return what an entry says of each field that holds something."""
    plain = asdict(personal)
    return {name: digest(bytes.fromhex(personal.salts[name]) + to_canonical(plain[name])) for name in personal.given}


def without(personal: Personal, names: Iterable[str]) -> Personal:
    """Return the same without some fields and their salts."""
    gone = set(names)
    kept: dict[str, Any] = {name: getattr(personal, name) for name in FIELDS if name not in gone}
    return Personal(**kept, salts={name: salt for name, salt in personal.salts.items() if name not in gone})


def photo(path: Path) -> tuple[Photo, bytes]:
    """Return a photo and its content. Raises ValueError when it is not there, too large, or no photo."""
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            most = f"at most {MOST_BYTES // 1_000_000} MB; try a smaller copy"
            raise ValueError(f"photo {path}: {size / 1e6:.0f} MB ({most})")
        content = path.read_bytes()
    except OSError as cause:
        raise ValueError(f"photo {path}: cannot be read: {cause.strerror} (try the whole path)") from cause
    ending = next((ending for begin, ending in _BEGINNINGS.items() if content.startswith(begin)), "")
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        ending = ".webp"
    if content[4:8] == b"ftyp":
        ending = ".heic"
    if not ending:
        raise ValueError(f"photo {path}: is no photo, by its first bytes (try JPEG, PNG, WebP or HEIC)")
    return Photo(name=path.name[:120], digest=digest(content), size=len(content), ending=ending), content


def read_personal(folder: Path) -> Personal:
    """Return what is kept in a case's folder; all empty when it was taken out. Raises DocumentError when spoilt."""
    path = folder / FILE
    if not path.exists():
        return Personal()
    try:
        return TypeAdapter(Personal).validate_python(from_canonical(read_whole(path)))
    except (ValueError, ValidationError) as cause:
        raise wrong(path, "is not the personal part of a case") from cause


def write_personal(folder: Path, personal: Personal, pictures: Iterable[tuple[Photo, bytes]] = ()) -> None:
    """Keep what is personal in a case's folder; photos first, so that what is named is there."""
    for about, content in pictures:
        (folder / PHOTOS).mkdir(exist_ok=True)
        write_whole(folder / PHOTOS / f"{about.digest}{about.ending}", content)
    if personal.given:
        write_whole(folder / FILE, to_canonical(asdict(personal)))
    else:
        (folder / FILE).unlink(missing_ok=True)


def erase_personal(folder: Path, names: Iterable[str]) -> None:
    """Take fields out of a case's folder; deleted files may linger on the disk until it writes over them."""
    gone = set(names)
    write_personal(folder, without(read_personal(folder), gone))
    if "photos" in gone and (folder / PHOTOS).is_dir():
        for path in (folder / PHOTOS).iterdir():
            path.unlink()
        (folder / PHOTOS).rmdir()


def differing(folder: Path, sealed: Mapping[str, str]) -> list[str]:
    """Return the fields whose text in a folder is not what the intake committed to, photos and their files included."""
    personal = read_personal(folder)
    found = commitments(personal) if set(personal.given) <= set(personal.salts) else dict.fromkeys(personal.given, "")
    wrong_ones = [name for name, commitment in found.items() if sealed.get(name) != commitment]
    pictures = ((about, folder / PHOTOS / f"{about.digest}{about.ending}") for about in personal.photos)
    if any(not path.is_file() or digest(path.read_bytes()) != about.digest for about, path in pictures):
        wrong_ones.append("photos")
    return list(dict.fromkeys(wrong_ones))
