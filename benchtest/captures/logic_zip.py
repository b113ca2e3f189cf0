"""Zipped logic captures: a `metadata` entry like an INI file, and raw samples in entries numbered one after another.

The metadata gives the rate, the number of probes, their names, the bytes of a sample and the name of the samples;
`name-1-1`, `name-1-2` and so on are joined, or `name-1` alone, or the number left out. Entries are streamed and never
unpacked to disk, so what their paths say does not matter. An archive whose sizes cannot be true is refused.
"""

import configparser
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from benchtest.captures.capture import Capture, Channel, Options, Recorded
from benchtest.captures.logic import BLOCK, SIZES, read_bit
from benchtest.captures.units import read_rate
from benchtest.errors import CaptureError

LONGEST_METADATA: Final = 2**20
DENSEST: Final = 1040
"""Bytes that one byte of deflate can stand for, a little above the 1032 of zlib's technical notes."""
MOST: Final = 2**36
"""Bytes of samples that a capture may hold."""
TORN: Final = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError)


@dataclass(frozen=True, kw_only=True, slots=True)
class Session:
    """What the metadata says."""

    rate: float
    size: int
    """Bytes of one sample."""
    names: dict[int, str]
    """Names of the probes, from 1."""
    entries: tuple[str, ...]
    """Entries of samples in their order."""


def open_logic_zip(path: Path, start: bytes, options: Options) -> Capture:
    """Return the probes of a zipped logic capture; raise CaptureError when it is torn or lies about its sizes."""
    del start
    try:
        with zipfile.ZipFile(path) as archive:
            session = _session(path, archive, options)
    except TORN as cause:
        raise CaptureError(path, f"no whole archive: {cause}", hint="the file is torn: copy it again") from None
    channels = tuple(Channel(number=number, name=name, unit="") for number, name in sorted(session.names.items()))

    def read(channel: Channel) -> Recorded:
        blocks = _blocks(path, session)
        return read_bit(path, lambda: blocks, size=session.size, rate=session.rate, channel=channel)

    return Capture(path=path, kind_of_file="zipped logic capture", channels=channels, reader=read)


def _session(path: Path, archive: zipfile.ZipFile, options: Options) -> Session:
    names = {entry.filename: entry for entry in archive.infolist()}
    section = _section(path, _metadata(path, archive, names))
    rate = read_rate(section.get("samplerate", section.get("sample rate", ""))) or options.rate
    if rate is None or not 0 < rate < float("inf"):
        raise CaptureError(path, "no sample rate in the metadata", hint="say the samples per second with 'rate'")
    size, probes = _number(path, section, "unitsize", 1), _number(path, section, "total probes", 0)
    if size not in SIZES or not 0 <= probes <= 8 * size:
        raise CaptureError(
            path, f"{probes} probes in samples of {size} bytes", expected="1, 2, 4 or 8 bytes that hold them"
        )
    entries = _entries(section.get("capturefile", "logic-1"), names)
    if not entries:
        raise CaptureError(path, f"no samples '{section.get('capturefile', 'logic-1')}'", expected="entries named so")
    _check_sizes(path, [names[entry] for entry in entries])
    return Session(rate=rate, size=size, names=_probes(section, probes or 8 * size), entries=entries)


def _metadata(path: Path, archive: zipfile.ZipFile, names: dict[str, zipfile.ZipInfo]) -> bytes:
    if "metadata" not in names:
        if names and all(name.endswith(".npy") for name in names):
            found = "arrays of numpy in a file of another name"
            raise CaptureError(path, found, hint="say --file-kind npz, or name it .npz")
        listed = ", ".join(list(names)[:8]) or "nothing"
        raise CaptureError(path, f"an archive of {listed}", expected="an entry 'metadata' and logic samples")
    size = names["metadata"].file_size
    if size > LONGEST_METADATA:
        raise CaptureError(path, f"metadata of {size} bytes", expected=f"at most {LONGEST_METADATA}")
    return archive.read("metadata")


def _section(path: Path, content: bytes) -> "configparser.SectionProxy":
    parser = configparser.ConfigParser(interpolation=None, strict=False, delimiters=("=",))
    try:
        parser.read_string(content.decode("utf-8", "replace"))
    except configparser.Error as cause:
        raise CaptureError(
            path, f"garbled metadata: {str(cause).splitlines()[0]}", expected="lines of key=value"
        ) from None
    for name in parser.sections():
        if {"samplerate", "sample rate", "capturefile", "total probes"} & set(parser[name]):
            return parser[name]
    raise CaptureError(path, "metadata without a device", expected="a section with 'samplerate' and 'capturefile'")


def _number(path: Path, section: "configparser.SectionProxy", key: str, default: int) -> int:
    text = section.get(key, str(default))
    if not re.fullmatch(r"[0-9]{1,6}", text.strip()):
        raise CaptureError(path, f"metadata says {key}={text!r}", expected="a whole number")
    return int(text)


def _probes(section: "configparser.SectionProxy", probes: int) -> dict[int, str]:
    named = {
        int(match[1]): value
        for key, value in section.items()
        if (match := re.fullmatch(r"probe ?([0-9]{1,3})", key)) and 1 <= int(match[1]) <= probes
    }
    return named or {number: f"bit {number - 1}" for number in range(1, probes + 1)}


def _entries(name: str, names: dict[str, zipfile.ZipInfo]) -> tuple[str, ...]:
    numbered = [
        (int(match[1]), entry) for entry in names if (match := re.fullmatch(re.escape(name) + r"-([0-9]{1,6})", entry))
    ]
    return tuple(entry for _, entry in sorted(numbered)) or ((name,) if name in names else ())


def _check_sizes(path: Path, entries: list[zipfile.ZipInfo]) -> None:
    expanded = sum(entry.file_size for entry in entries)
    packed = sum(entry.compress_size for entry in entries)
    there = path.stat().st_size
    if (
        expanded > MOST
        or packed > there
        or any(entry.file_size > DENSEST * (entry.compress_size + 1) for entry in entries)
    ):
        raise CaptureError(
            path,
            f"entries that grow from {packed} to {expanded} bytes in a file of {there}",
            expected="a capture that was really recorded",
        )


def _blocks(path: Path, session: Session) -> Iterator[bytes]:
    """Yield the samples of all entries in their order; an archive that is torn ends in a CaptureError."""
    for name in session.entries:
        try:
            with zipfile.ZipFile(path) as archive, archive.open(name) as file:
                while block := file.read(BLOCK):
                    yield block
        except TORN as cause:
            raise CaptureError(
                path, f"{cause}", place=f"entry '{name}'", hint="the file is torn: copy it again"
            ) from None
