"""Writers of recordings: tables in many dialects, dumps, logic captures and films, as others write them."""

import csv
import io
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from benchtest.captures import Capture, Options, Recorded, open_capture
from benchtest.signals.series import Sampled, Stamped, Uneven

Values = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Dialect:
    """One way in which a logger writes its table."""

    delimiter: str = ","
    decimal: str = "."
    line_end: str = "\n"
    encoding: str = "utf-8"
    digits: int = 6
    """After the decimal mark."""
    quoted: bool = False
    trailing: bool = False
    """A delimiter at the end of every line."""
    units_row: bool = False
    preamble: tuple[str, ...] = ()
    time_unit: str = "s"
    value_unit: str = "V"


def table(dialect: Dialect, times: Iterable[float], values: Iterable[float]) -> bytes:
    """Return the bytes of a table of one channel, written by the csv module."""
    text = io.StringIO(newline="")
    writer = csv.writer(
        text,
        delimiter=dialect.delimiter,
        lineterminator=dialect.line_end,
        quoting=csv.QUOTE_ALL if dialect.quoted else csv.QUOTE_MINIMAL,
    )
    end = [""] if dialect.trailing else []
    for line in dialect.preamble:
        text.write(line + dialect.line_end)
    if dialect.units_row:
        writer.writerow(["Time", "CH1", *end])
        writer.writerow([f"({dialect.time_unit})", f"({dialect.value_unit})", *end])
    else:
        writer.writerow([f"Time ({dialect.time_unit})", f"CH1 ({dialect.value_unit})", *end])
    for time, value in zip(times, values, strict=True):
        cells = [f"{number:.{dialect.digits}f}".replace(".", dialect.decimal) for number in (time, value)]
        writer.writerow([*cells, *end])
    return text.getvalue().encode(dialect.encoding)


def put(folder: Path, content: bytes | str, name: str = "recording.csv") -> Path:
    """Write a file and return its path."""
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def opened(folder: Path, content: bytes | str, name: str = "recording.csv", options: Options | None = None) -> Capture:
    """Return the opened recording of this content."""
    return open_capture(put(folder, content, name), options)


def read(folder: Path, content: bytes | str, channel: str | int = 1, options: Options | None = None) -> Recorded:
    """Return one channel of a table of this content."""
    return opened(folder, content, options=options).read(channel)


def sampled(recorded: Recorded) -> Sampled:
    """Return the series as even samples, which it must be."""
    assert isinstance(recorded.series, Sampled), recorded
    return recorded.series


def uneven(recorded: Recorded) -> Uneven:
    """Return the series as samples at times of their own, which it must be."""
    assert isinstance(recorded.series, Uneven), recorded
    return recorded.series


def stamped(recorded: Recorded) -> Stamped:
    """Return the series as stamped changes, which it must be."""
    assert isinstance(recorded.series, Stamped), recorded
    return recorded.series


def zipped(entries: dict[str, bytes]) -> bytes:
    """Return an archive of these entries."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, body in entries.items():
            archive.writestr(name, body)
    return content.getvalue()


def scene(*, lamp: bool, other: bool = False, seed: int = 0) -> NDArray[np.uint8]:
    """Return a noisy picture of a lamp at 200,100,30,40, and perhaps another at 20,20,30,40."""
    picture = (60 + np.random.default_rng(seed).integers(-6, 7, (240, 320))).astype(np.uint8)
    if lamp:
        picture[100:140, 200:230] = 230
    if other:
        picture[20:60, 20:50] = 220
    return picture


def film(
    path: Path,
    pictures: Sequence[NDArray[np.uint8]],
    *,
    codec: str = "mpeg4",
    milliseconds: Sequence[int] | None = None,
) -> Path:
    """Write a film at 30 frames per second, or with frames at these milliseconds."""
    tick = Fraction(1, 1000)
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=30)
        assert isinstance(stream, av.VideoStream)
        stream.height, stream.width = pictures[0].shape
        stream.pix_fmt = "yuv420p"
        stream.codec_context.bit_rate = 4_000_000
        if milliseconds is not None:
            stream.time_base = stream.codec_context.time_base = tick
        for place, picture in enumerate(pictures):
            frame = av.VideoFrame.from_ndarray(np.stack([picture] * 3, -1), format="rgb24")
            if milliseconds is not None:
                frame.pts, frame.time_base = milliseconds[place], tick
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path
