"""A station: the private key that seals papers here, made on first use, and its public past.

The key lies in a folder of the user (`BENCHTEST_STATION` names another), as PKCS #8 in PEM, readable by nobody else.
It is written beside its place and then linked there, so that it is whole or not there, and the first of two programs
wins. Renewal writes the new key aside, then the list that knows both, then puts the key in its place: wherever that
stops, the next one who opens the station ends it.
"""

import hmac
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import Final

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)

from benchtest.canonical import wrong
from benchtest.clock import wall_time
from benchtest.errors import NotKept
from benchtest.seal.statement import fingerprint
from benchtest.seal.trusted import (
    FORMAT,
    Entry,
    Stations,
    Succession,
    merged,
    read_stations,
    readable_by_others,
    stations_file,
    succession_message,
    write_stations,
)

PLACE: Final = "BENCHTEST_STATION"
"""Environment variable that names the station's folder."""
KEY_FILE: Final = "station.key"
NEXT_FILE: Final = "station.key.next"
_LARGEST: Final = 4096


@dataclass(frozen=True, kw_only=True, slots=True)
class Station:
    """Who seals here."""

    private: Ed25519PrivateKey = field(repr=False)
    name: str
    lineage: tuple[Succession, ...]
    """How its keys follow one another, the newest first; empty while it has its first key."""

    @property
    def key(self) -> str:
        """The public key."""
        return _public(self.private)

    def sign(self, message: bytes) -> str:
        """Return the signature over a message; the same message always has the same one."""
        return self.private.sign(message).hex()

    def salt(self, about: str) -> str:
        """Return 16 bytes that nobody else can foretell, and that are always the same for one thing."""
        secret = self.private.private_bytes(Encoding.Raw, PrivateFormat.Raw, NoEncryption())
        return hmac.digest(secret, f"benchtest salt: {about}".encode(), "sha256")[:16].hex()


def station_folder() -> Path:
    """Return where this user's station lies."""
    named = os.environ.get(PLACE)
    if named:
        return Path(named)
    own: Path = import_module("platformdirs").user_data_path("benchtest")
    return own / "station"


def open_station(folder: Path | None = None) -> Station:
    """Return this user's station; its key is made when there is none.

    Raises DocumentError when the key cannot be used as it is, NotKept when it cannot be made.
    """
    folder = folder or station_folder()
    path = folder / KEY_FILE
    if not path.exists() or (folder / NEXT_FILE).exists():
        with _writing(folder):
            _end_renewal(folder)
            if not path.exists():
                _write_secret(path, Ed25519PrivateKey.generate())
    private = read_key(path)
    stations = read_stations(stations_file(folder))
    own = stations.entry(_public(private))
    if own is None:
        with _writing(folder):
            own = _entry(_public(private), None)
            stations = merged(read_stations(stations_file(folder)), [own])
            write_stations(stations_file(folder), stations)
    return Station(private=private, name=own.name, lineage=_lineage(own, stations))


def renew(folder: Path | None = None, *, name: str | None = None) -> Station:
    """Give the station a new key, which the old one vouches for; the old private key is gone afterwards.

    Raises DocumentError and NotKept as `open_station` does.
    """
    folder = folder or station_folder()
    old = open_station(folder)
    with _writing(folder):
        private = Ed25519PrivateKey.generate()
        day = wall_time().date().isoformat()
        message = succession_message(old.key, _public(private), day)
        succession = Succession(
            old=old.key, new=_public(private), day=day, by_old=old.sign(message), by_new=private.sign(message).hex()
        )
        _write_secret(folder / NEXT_FILE, private)
        stations = read_stations(stations_file(folder))
        before = stations.entry(old.key) or _entry(old.key, None)
        after = _entry(succession.new, succession, name or before.name)
        both = [before.model_copy(update={"until": day}), after]
        write_stations(stations_file(folder), merged(stations, both))
        _end_renewal(folder)
    return open_station(folder)


def read_key(path: Path) -> Ed25519PrivateKey:
    """Return the private key in a file. Raises DocumentError when it is none, or when others can read it."""
    hint = "put it back from a copy, or move it away and a new key is made, which others must be told to trust"
    try:
        if readable_by_others(path):
            raise wrong(path, "others can read this private key", hint=f"chmod 600 {path}; renew it if they did")
        with path.open("rb") as file:
            content = file.read(_LARGEST)
        found = load_pem_private_key(content, password=None)
    except OSError as cause:
        raise wrong(path, f"cannot be read: {cause.strerror}") from cause
    except (ValueError, TypeError, UnsupportedAlgorithm) as cause:
        raise wrong(path, "is not a private key in PEM without a password", hint=hint) from cause
    if not isinstance(found, Ed25519PrivateKey):
        raise wrong(path, "is not an Ed25519 key", hint=hint)
    return found


def _public(private: Ed25519PrivateKey) -> str:
    return private.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw).hex()


def _entry(key: str, succession: Succession | None, name: str = "") -> Entry:
    name = name or f"station {fingerprint(key)[:9]}"
    return Entry(name=name, key=key, since=wall_time().date().isoformat(), succession=succession)


def _lineage(own: Entry, stations: Stations) -> tuple[Succession, ...]:
    found = list[Succession]()
    here: Entry | None = own
    while here is not None and here.succession is not None and here.succession not in found:
        found.append(here.succession)
        here = stations.entry(here.succession.old)
    return tuple(found)


@contextmanager
def _writing(folder: Path) -> Iterator[None]:
    """Be the only program that changes this station; say what to do when it cannot be written."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with import_module("filelock").FileLock(folder / "station.lock", timeout=30):
            yield
    except OSError as problem:
        reason = f"{problem.filename or folder}: {problem.strerror or problem}, so the station's key cannot be kept"
        raise NotKept(f"{reason} (try making room there, or another folder with {PLACE}=FOLDER)") from problem


def _end_renewal(folder: Path) -> None:
    """End or undo a renewal that was cut off: the list decides, for it was written after the key."""
    aside = folder / NEXT_FILE
    if not aside.exists():
        return
    if read_stations(stations_file(folder)).entry(_public(read_key(aside))) is None:
        aside.unlink()
    else:
        aside.replace(folder / KEY_FILE)


def _write_secret(path: Path, private: Ed25519PrivateKey) -> None:
    """Put a private key in its place, readable by its owner only from its first byte on."""
    content = private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    draft = path.with_name(f".{path.name}.{os.urandom(4).hex()}")
    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    finally:
        with suppress(FileNotFoundError):
            draft.unlink()


def trust(entries: Iterable[Entry], folder: Path | None = None) -> None:
    """Put entries into this user's list of trusted stations; one that has the key already is replaced."""
    folder = folder or station_folder()
    with _writing(folder):
        path = stations_file(folder)
        before = read_stations(path)
        write_stations(path, merged(before, (_with_succession(one, before.entry(one.key)) for one in entries)))


def _with_succession(entry: Entry, before: Entry | None) -> Entry:
    """Return an entry that still says how its key was vouched for."""
    known = entry.succession or (before.succession if before is not None else None)
    return entry.model_copy(update={"succession": known})


def public_pem(station: Station) -> str:
    """Return the public key as other programs read it (RFC 8410, in PEM)."""
    return station.private.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo).decode()


def own_stations(station: Station, stations: Stations) -> Stations:
    """Return the list of a station's own keys alone, to give to others."""
    keys = [station.key, *(step.old for step in station.lineage)]
    entries = [entry for key in keys if (entry := stations.entry(key)) is not None]
    return Stations(format=FORMAT, stations=tuple(entries))
