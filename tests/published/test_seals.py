"""Canonical JSON and signatures against the values that their standards print.

Sources: RFC 8785, the author's reference test data for objects (read), and the numbers of its Appendix B (from memory;
all 24 agree with the library); RFC 8032, 7.1, Ed25519 (from memory; keys, messages and signatures agree with each
other).
"""

import json
import shutil
import struct
import subprocess
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from benchtest.canonical import digest, to_canonical
from benchtest.seal import Station
from benchtest.seal.statement import holds
from benchtest.seal.station import public_pem

VERIFY = ["pkeyutl", "-verify", "-pubin", "-inkey", "key.pem", "-rawin", "-in", "message", "-sigfile", "signature"]
"""Its third version refuses an empty file, and with it the first vector."""
VALUES = Path(__file__).parent / "values"
CANONICAL: dict[str, Any] = json.loads((VALUES / "rfc8785_vectors.json").read_text(encoding="utf-8"))
SIGNED: dict[str, Any] = json.loads((VALUES / "rfc8032_ed25519_vectors.json").read_text(encoding="utf-8"))


def named(vectors: list[dict[str, Any]]) -> list[Any]:
    return [pytest.param(one, id=one["name"]) for one in vectors]


@pytest.mark.parametrize("vector", named(CANONICAL["object_vectors"]))
def test_objects_are_spelled_as_rfc_8785_does(vector: dict[str, Any]) -> None:
    """Bytes and digest of the reference data."""
    found = to_canonical(json.loads(vector["input"]))

    assert vector["canonical_hex"] == found.hex()
    assert vector["canonical_sha256"] == digest(found)


@pytest.mark.parametrize("vector", CANONICAL["number_vectors"], ids=lambda one: one["text"])
def test_numbers_are_spelled_as_rfc_8785_does(vector: dict[str, str]) -> None:
    """Appendix B: the bits of a double, and how it is written."""
    (number,) = struct.unpack(">d", bytes.fromhex(vector["ieee754_hex"]))

    assert vector["text"] == to_canonical(number).decode()


@pytest.mark.parametrize("vector", named(SIGNED["vectors"]))
def test_signatures_are_those_of_rfc_8032(vector: dict[str, str]) -> None:
    """A station with the secret key has that public key, signs with that signature, and it holds for that message."""
    private = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(vector["secret_key"]))
    station = Station(private=private, name="", lineage=())
    message = bytes.fromhex(vector["message"])

    assert vector["public_key"] == station.key
    assert vector["signature"] == station.sign(message)
    assert holds(station.key, vector["signature"], message)
    assert not holds(station.key, vector["signature"], message + b"x")


@pytest.mark.parametrize("vector", named([one for one in SIGNED["vectors"] if one["message"]]))
def test_another_program_agrees_on_signatures(vector: dict[str, str], tmp_path: Path) -> None:
    """OpenSSL takes our public key and says the same of the signature, and of one bit less."""
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("needs openssl (apt-get install openssl); .ci/run has it")
    private = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(vector["secret_key"]))
    (tmp_path / "key.pem").write_text(public_pem(Station(private=private, name="", lineage=())))
    (tmp_path / "message").write_bytes(bytes.fromhex(vector["message"]))
    signature = bytes.fromhex(vector["signature"])

    for content, expected in ((signature, 0), (signature[:-1] + bytes([signature[-1] ^ 1]), 1)):
        (tmp_path / "signature").write_bytes(content)
        done = subprocess.run([openssl, *VERIFY], cwd=tmp_path, capture_output=True, check=False)
        assert expected == done.returncode, done
