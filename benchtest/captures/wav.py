"""Sound files: RIFF/WAVE and RF64 with whole numbers of 8 to 32 bits or floats, each channel as a share of full scale.

The chunks are read here, because the standard library knows neither floats nor the extensible form.
Source: Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft, 1991), "Waveform Audio File
Format"; EBU Tech 3306 for RF64; the extensible form from memory.
"""

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
from numpy.typing import NDArray

from benchtest.captures.capture import Capture, Channel, Options, Recorded, room
from benchtest.errors import CaptureError
from benchtest.signals.series import Sampled, Values

PCM: Final = 1
FLOAT: Final = 3
EXTENSIBLE: Final = 0xFFFE
UNKNOWN: Final = 0xFFFFFFFF
"""Size of a chunk that a writer who could not go back leaves."""
BLOCK: Final = 2**20


@dataclass(frozen=True, kw_only=True, slots=True)
class Sound:
    """Where the samples of a file are and how they are written."""

    code: int
    """PCM or FLOAT."""
    channels: int
    rate: int
    """Frames per second."""
    width: int
    """Bytes of one sample."""
    offset: int
    """Bytes before the first sample."""
    frames: int


def open_wav(path: Path, start: bytes, options: Options) -> Capture:
    """Return the channels of a sound file; raise CaptureError for one that is torn or written otherwise."""
    del options
    if start[:4] not in {b"RIFF", b"RF64"} or start[8:12] != b"WAVE":
        raise CaptureError(path, f"begins with {start[:12]!r}", expected="RIFF ... WAVE")
    with path.open("rb") as file:
        sound, notes = _sound(path, file)
    channels = tuple(
        Channel(number=number, name=f"channel {number}", unit="") for number in range(1, sound.channels + 1)
    )
    return Capture(
        path=path,
        kind_of_file="sound",
        channels=channels,
        notes=("values are shares of full scale", *notes),
        reader=lambda channel: _read(path, sound, channel),
    )


def _sound(path: Path, file: BinaryIO) -> tuple[Sound, list[str]]:
    size = file.seek(0, 2)
    file.seek(12)
    form: tuple[int, int, int, int] | None = None
    long_size = 0
    while len(head := file.read(8)) == 8:
        name, length = head[:4], int.from_bytes(head[4:], "little")
        if name == b"data":
            if form is None:
                raise CaptureError(path, "samples before their format", expected="a 'fmt ' chunk first")
            return _placed(path, form, file.tell(), long_size if length == UNKNOWN and long_size else length, size)
        body = file.read(min(length, 64))
        if name == b"fmt ":
            form = _form(path, body)
        elif name == b"ds64" and len(body) >= 16:
            long_size = int.from_bytes(body[8:16], "little")
        file.seek(length - len(body) + length % 2, 1)
    raise CaptureError(path, "no samples", expected="a 'data' chunk", hint="the file is torn: copy it again")


def _form(path: Path, body: bytes) -> tuple[int, int, int, int]:
    """Return code, channels, rate and bytes of a sample."""
    if len(body) < 16:
        raise CaptureError(path, f"a format of {len(body)} bytes", expected="16 or more")
    code, channels, rate, _, align, bits = struct.unpack_from("<HHIIHH", body)
    if code == EXTENSIBLE and len(body) >= 26:
        code = int.from_bytes(body[24:26], "little")
    if code not in {PCM, FLOAT} or bits not in ({8, 16, 24, 32} if code == PCM else {32, 64}):
        found = f"samples of format {code} with {bits} bits"
        raise CaptureError(path, found, expected="whole numbers of 8, 16, 24 or 32 bits, or floats", hint="save it so")
    if not channels or not rate or align != channels * bits // 8:
        raise CaptureError(
            path, f"{channels} channels, {rate} frames/s, {align} bytes a frame", expected="a format that fits"
        )
    return code, channels, rate, bits // 8


def _placed(
    path: Path, form: tuple[int, int, int, int], offset: int, length: int, size: int
) -> tuple[Sound, list[str]]:
    code, channels, rate, width = form
    there = max(0, size - offset)
    told, found = length // (channels * width), min(length, there) // (channels * width)
    notes = []
    if length in {0, UNKNOWN} and there:
        found = there // (channels * width)
        notes.append("the header does not say how long it is: read to the end of the file")
    elif found < told:
        notes.append(f"the file ends early: {found} of {told} frames are there")
    if not found:
        raise CaptureError(path, "no samples in the data chunk", expected="at least one")
    return Sound(code=code, channels=channels, rate=rate, width=width, offset=offset, frames=found), notes


def _read(path: Path, sound: Sound, channel: Channel) -> Recorded:
    values: Values = np.empty(sound.frames, room(path, sound.frames))
    frame = sound.channels * sound.width
    place, at = 0, channel.number - 1
    with path.open("rb") as file:
        file.seek(sound.offset)
        while place < sound.frames:
            block = file.read(min(BLOCK, sound.frames - place) * frame)
            frames = np.frombuffer(block, np.uint8)[: len(block) // frame * frame].reshape(
                -1, sound.channels, sound.width
            )
            if not frames.shape[0]:
                raise CaptureError(path, f"ends at frame {place} of {sound.frames}", hint="something else changed it")
            values[place : place + frames.shape[0]] = _shares(frames[:, at], sound)
            place += frames.shape[0]
    notes = _oddities(values)
    return Recorded(channel=channel, series=Sampled(values=values, rate=float(sound.rate)), notes=tuple(notes))


def _shares(raw: NDArray[np.uint8], sound: Sound) -> NDArray[np.floating]:
    """Return the samples of one channel, bytes in rows, as shares of full scale."""
    if sound.code == FLOAT:
        return np.ascontiguousarray(raw).view("<f4" if sound.width == 4 else "<f8")[:, 0].astype(float)
    if sound.width == 1:
        return (raw[:, 0].astype(float) - 128) / 128
    wide = np.zeros((raw.shape[0], 4), np.uint8)
    wide[:, 4 - sound.width :] = raw
    return wide.view("<i4")[:, 0] / 2.0**31


def _oddities(values: Values) -> list[str]:
    wrong = ~np.isfinite(values)
    count = int(wrong.sum())
    if count:
        values[wrong] = np.nan
        return [f"{count} of {values.size} samples left out as not a number"]
    return []
