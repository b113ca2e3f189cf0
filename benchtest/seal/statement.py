"""What a station signs: seven facts of one paper, as canonical JSON (RFC 8785), by Ed25519 (RFC 8032).

The digest stands for the whole paper, the other facts are what a reader compares with the page in hand. They all fit
into a QR code, so that the statement can be checked without the paper's data. Bytes are written as lower-case
hexadecimal, which has one spelling.
"""

import re
from dataclasses import asdict, dataclass
from typing import Any, Final, Self

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from benchtest.canonical import digest, to_canonical

FORMAT: Final = "benchtest-seal/1"
LONGEST: Final = 64
"""Characters of a number or a serial number in a statement; that of a board has no more."""
_BYTES: Final = re.compile(r"(?:[0-9a-f]{2})+")


@dataclass(frozen=True, kw_only=True, slots=True)
class Statement:
    """What is said of a paper, and by whom."""

    number: str
    outcome: str
    """Of the run, such as `pass`; what happened, where the paper is a note on another."""
    serial: str
    """Of the board."""
    issued: str
    """Day of issue, ISO 8601."""
    digest: str
    """SHA-256 that stands for all parts of the paper."""
    key: str
    """Public key of the station."""

    def spelled(self) -> bytes:
        """Return the bytes that are signed."""
        return to_canonical(self.as_fields())

    def as_fields(self) -> dict[str, Any]:
        return {"format": FORMAT, **asdict(self)}

    @classmethod
    def of(cls, fields: object) -> Self:
        """Return the statement of JSON fields. Raises ValueError that names the field."""
        names = cls.__slots__
        if not isinstance(fields, dict) or set(fields) != {"format", *names}:
            raise ValueError("statement: it has not exactly its keys")
        if fields["format"] != FORMAT:
            raise ValueError(f"statement.format: {fields['format']!r} is not known here, only {FORMAT!r}")
        wrong = next((name for name in names if not isinstance(fields[name], str)), None)
        wrong = wrong or next((name for name in ("digest", "key") if not is_hex(fields[name], 32)), None)
        if wrong is not None:
            raise ValueError(f"statement.{wrong}: it is not spelled as a statement spells it")
        return cls(**{name: fields[name] for name in names})


def cut(text: str) -> str:
    """Return a text that a statement can take."""
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"


def is_hex(text: object, length: int) -> bool:
    """Return whether a text spells so many bytes in the one way that is allowed."""
    return isinstance(text, str) and len(text) == 2 * length and bool(_BYTES.fullmatch(text))


def holds(key: str, signature: str, message: bytes) -> bool:
    """Return whether a signature over a message is by the owner of a public key."""
    if not (is_hex(key, 32) and is_hex(signature, 64)):
        return False
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(bytes.fromhex(signature), message)
    except (InvalidSignature, ValueError):
        return False
    return True


def fingerprint(key: str) -> str:
    """Return what people compare of a public key: 64 bits of its SHA-256, in groups."""
    short = digest(bytes.fromhex(key))[:16]
    return "-".join(short[place : place + 4] for place in range(0, 16, 4))
