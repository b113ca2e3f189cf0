"""From a profile's file, and the DBC file beside it, to a checked profile."""

import hashlib
from dataclasses import dataclass
from pathlib import Path

from benchtest.documents import Loaded, Review, digest_of, load
from benchtest.profile.cross_check import cross_check
from benchtest.profile.document import Profile
from benchtest.profile.link import CanLink, Vocabulary
from benchtest.profile.serial_check import check_serial
from benchtest.profile.serial_link import BytesLink, TextLink
from benchtest.profile.signal_database import SignalDatabase, check_messages, read_database


@dataclass(frozen=True, kw_only=True, slots=True)
class LoadedProfile:
    """A profile whose every reference leads somewhere."""

    profile: Profile
    path: Path
    digest: str
    """SHA-256 over the files; `sha256sum profile.yaml profile.dbc | sha256sum`, run beside them, gives the same."""
    database: str | None
    """Text of the DBC file; None when the board has no CAN link."""
    document: Loaded[Profile]

    def place(self, *keys: str | int) -> str:
        """Return `file:line` of a key path, or of its nearest parent."""
        return self.document.place(*keys)


def load_profile(path: Path) -> LoadedProfile:
    """Return the profile at `path`.

    Raises DocumentError with every problem of the profile and its signal database.
    """
    found: list[SignalDatabase] = []

    def check(profile: Profile, review: Review) -> None:
        said: Vocabulary | None = None
        match profile.link:
            case CanLink() as link:
                database = read_database(link, review)
                if database is not None:
                    said = database.signals
                    check_messages(link, said, link.database, review)
                    found.append(database)
            case BytesLink() | TextLink() as link:
                said = link.said
                check_messages(link, review.names("link", "messages"), "the link", review)
                check_serial(link, review)
        cross_check(profile, review, said)

    document = load(path, Profile, check=check)
    profile = document.value
    files = [(path.name, document.digest)]
    if isinstance(profile.link, CanLink):
        files += [(profile.link.database, hashlib.sha256(database.content).hexdigest()) for database in found]
    database_text = found[0].text if found else None
    return LoadedProfile(profile=profile, path=path, digest=digest_of(files), database=database_text, document=document)
