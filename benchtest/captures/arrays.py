"""Arrays saved by numpy: `.npz` with one-dimensional arrays, and their `times`, or their `rate` and perhaps `start`.

Nothing in the file is run (`allow_pickle=False`), and the head of an array is looked at before its samples are read,
so that an array that says it is larger than the memory is refused.
"""

import zipfile
import zlib
from pathlib import Path
from typing import Final

import numpy as np
from numpy.lib import format as npy

from benchtest.captures.capture import ROOM, Capture, Channel, Options, Recorded, room
from benchtest.captures.moments import Moments, place
from benchtest.errors import CaptureError
from benchtest.signals.series import Sampled, Series, Values

TIMES: Final = ("times", "time", "t")
RATES: Final = ("rate", "samplerate", "sample_rate", "fs")
STARTS: Final = ("start", "t0")
TORN: Final = (
    zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError, KeyError, TypeError,
    OverflowError, SyntaxError,
)  # fmt: skip
"""What the reading of a torn archive or array ends in."""
Shapes = dict[str, tuple[tuple[int, ...], np.dtype[np.generic]]]


def open_arrays(path: Path, start: bytes, options: Options) -> Capture:
    """Return the arrays of a file as channels; raise CaptureError when they have no time or are of another shape."""
    del start
    try:
        shapes = _shapes(path)
    except TORN as cause:
        raise CaptureError(path, f"no whole file of arrays: {cause}", hint="copy it again") from None
    names = _lines(shapes)
    if not names:
        found = f"no channel among: {', '.join(shapes) or 'nothing'}"
        raise CaptureError(path, found, expected="arrays of numbers of one dimension")
    if options.rate is None and not {*TIMES, *RATES} & shapes.keys():
        expected = "an array 'times', or a number 'rate'"
        raise CaptureError(path, "no time and no rate", expected=expected, hint="say the samples per second: 'rate'")
    others = [name for name in shapes if name not in {*TIMES, *RATES, *STARTS, *names}]
    return Capture(
        path=path,
        kind_of_file="arrays",
        channels=tuple(Channel(number=number, name=name, unit="") for number, name in enumerate(names, 1)),
        notes=tuple(f"'{name}' is no array of numbers of one dimension, left out" for name in others),
        reader=lambda channel: _read(path, shapes, options, channel),
    )


def _lines(shapes: Shapes) -> list[str]:
    """Return the names of the arrays that can be channels."""
    aside = {*TIMES, *RATES, *STARTS}
    numbers = {name for name, (shape, kind) in shapes.items() if len(shape) == 1 and kind.kind in "iufb"}
    return [name for name in shapes if name in numbers - aside]


def _shapes(path: Path) -> Shapes:
    """Return shape and type of every array, from their heads alone."""
    shapes: Shapes = {}
    with zipfile.ZipFile(path) as archive:
        for entry in archive.infolist():
            with archive.open(entry) as file:
                version = npy.read_magic(file)
                read = npy.read_array_header_1_0 if version == (1, 0) else npy.read_array_header_2_0
                shape, _, kind = read(file)
            shapes[entry.filename.removesuffix(".npy")] = (shape, kind)
    return shapes


def _read(path: Path, shapes: Shapes, options: Options, channel: Channel) -> Recorded:
    values = _floats(path, channel.name, shapes)
    if not values.size:
        raise CaptureError(path, f"'{channel.name}' is empty", expected="at least one sample")
    wrong = ~np.isfinite(values)
    notes = [f"{int(wrong.sum())} of {values.size} samples left out as not a number"] if wrong.any() else []
    if wrong.all():
        raise CaptureError(path, f"'{channel.name}' holds no reading at all in {values.size} samples")
    values[wrong] = np.nan
    series, more = _timed(path, shapes, options, values)
    return Recorded(channel=channel, series=series, notes=(*notes, *more))


def _timed(path: Path, shapes: Shapes, options: Options, values: Values) -> tuple[Series, list[str]]:
    name = next((name for name in TIMES if name in shapes), None)
    rate = options.rate or _scalar(path, shapes, RATES)
    if name is None:
        if rate is None or not 0 < rate < np.inf:
            raise CaptureError(path, f"a rate of {rate}", expected="samples per second above zero")
        return Sampled(values=values, rate=rate, start=_scalar(path, shapes, STARTS) or 0.0), []
    times = _floats(path, name, shapes)
    if times.shape != values.shape:
        raise CaptureError(path, f"{values.size} samples at {times.size} times", expected="as many times as samples")
    if not np.isfinite(times).all():
        raise CaptureError(path, "a time that is no number", place=f"sample {int(np.argmin(np.isfinite(times))) + 1}")
    moments = Moments(0)
    moments.append(times.astype(np.float64))
    told = 1 / rate if rate is not None and 0 < rate < np.inf else None
    return place(path, values, moments, quantum=_quantum(path, name, shapes, times), told=told)


def _quantum(path: Path, name: str, shapes: Shapes, times: Values) -> float:
    """Return the step of the number type of the times, which is what they are rounded to."""
    del path
    kind = shapes[name][1]
    if kind.kind != "f":
        return 1.0
    largest = float(np.abs(times).max())
    return float(np.spacing(np.array(largest, kind)))


def _scalar(path: Path, shapes: Shapes, names: tuple[str, ...]) -> float | None:
    name = next((name for name in names if name in shapes), None)
    if name is None:
        return None
    if int(np.prod(shapes[name][0])) != 1:
        raise CaptureError(path, f"'{name}' has the shape {shapes[name][0]}", expected="one number")
    return float(_load(path, name).reshape(())[()])


def _floats(path: Path, name: str, shapes: Shapes) -> Values:
    shape, kind = shapes[name]
    if len(shape) != 1 or kind.kind not in "iufb":
        raise CaptureError(
            path, f"'{name}' has the shape {shape} and the type {kind}", expected="numbers in one dimension"
        )
    if shape[0] * kind.itemsize > ROOM:
        found = f"'{name}' says it takes {shape[0] * kind.itemsize} bytes"
        raise CaptureError(path, found, expected=f"at most {ROOM}", hint="save it in parts and measure each")
    return _load(path, name).astype(room(path, shape[0]), copy=False)


def _load(path: Path, name: str) -> Values:
    try:
        with np.load(path, allow_pickle=False) as arrays:
            return np.asarray(arrays[name])
    except TORN as cause:
        raise CaptureError(path, f"'{name}' cannot be read: {cause}", hint="copy the file again") from None
