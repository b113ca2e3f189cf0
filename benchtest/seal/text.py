"""A statement and its signature as one line of text, for a QR code and a scanner that types.

Only the 45 characters of QR's alphanumeric mode are used (ISO/IEC 18004, from memory): digits, capitals and a few
signs, so that the code stays small and neither shift key nor character set can spoil it. Bytes are base32 (RFC 4648)
without padding; in texts everything else is written as %XX of its UTF-8 (as in RFC 3986).
"""

import base64
import binascii
import re
from typing import Final

from benchtest.seal.statement import Statement

MARK: Final = "BT1"
"""Begins every such line; the figure is the version of its layout."""
_PLAIN: Final = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ$*+-.:")
_PART: Final = re.compile(r"(?:[0-9A-Z$*+\-.:]|%[0-9A-F]{2})*")
_PARTS: Final = ("number", "outcome", "serial number", "day of issue", "digest", "key", "signature")


def to_text(statement: Statement, signature: str) -> str:
    """Return the line."""
    said = (statement.number, statement.outcome.upper(), statement.serial, statement.issued)
    proof = (statement.digest, statement.key, signature)
    return "/".join([MARK, *map(_written, said), *map(_packed, proof)])


def from_text(line: str) -> tuple[Statement, str]:
    """Return the statement and its signature. Raises ValueError that says which part of the line is wrong."""
    mark, *parts = line.split("/")
    if mark != MARK or len(parts) != len(_PARTS):
        raise ValueError(f"expected {MARK} and {len(_PARTS)} parts, each after a '/', found {len(parts)} parts")
    number, outcome, serial, issued = (_read(part, name) for part, name in zip(parts[:4], _PARTS, strict=False))
    digest, key, signature = (_unpacked(*one) for one in zip(parts[4:], _PARTS[4:], (32, 32, 64), strict=True))
    statement = Statement(number=number, outcome=outcome.lower(), serial=serial, issued=issued, digest=digest, key=key)
    if to_text(statement, signature) != line:
        raise ValueError("it is spelled in another way than a station writes it")
    return statement, signature


def _written(text: str) -> str:
    return "".join(chr(byte) if chr(byte) in _PLAIN else f"%{byte:02X}" for byte in text.encode())


def _read(part: str, name: str) -> str:
    if not _PART.fullmatch(part):
        raise ValueError(f"{name}: {part[:40]!r} holds a character that no station writes")
    raw = re.sub(rb"%(..)", lambda found: bytes.fromhex(found[1].decode()), part.encode())
    try:
        return raw.decode()
    except UnicodeDecodeError as cause:
        raise ValueError(f"{name}: {part[:40]!r} is not UTF-8 text") from cause


def _packed(spelled: str) -> str:
    return base64.b32encode(bytes.fromhex(spelled)).decode().rstrip("=")


def _unpacked(part: str, name: str, length: int) -> str:
    try:
        raw = base64.b32decode(part + "=" * (-len(part) % 8))
    except (binascii.Error, ValueError) as cause:
        raise ValueError(f"{name}: it is not base32") from cause
    if len(raw) != length:
        raise ValueError(f"{name}: expected {length} bytes, found {len(raw)}")
    return raw.hex()
