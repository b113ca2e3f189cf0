"""Frames of a film, streamed: their times and their brightness, never more than one at once.

Needs the extra `video` (PyAV). Brightness is the luma of a frame as PyAV gives it, 0 to 255.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from benchtest.errors import CaptureError

Picture = NDArray[np.uint8]
MOST_PIXELS: Final = 8192 * 8192


@dataclass(frozen=True, kw_only=True, slots=True)
class Film:
    """What the head of a film tells."""

    path: Path
    width: int
    height: int
    tick: float
    """Step of the times of its frames, in seconds."""
    duration: float | None
    """Seconds that its head says; None when it does not."""

    def frames(self, *, width: int, height: int) -> Iterator[tuple[float | None, Picture]]:
        """Yield time in seconds and brightness of every frame, scaled to the size asked for.

        Raises CaptureError for a film that ends before its first frame.
        """
        av = load_av(self.path)
        count = 0
        try:
            with av.open(str(self.path)) as container:
                stream = container.streams.video[0]
                stream.thread_type = "AUTO"
                for frame in container.decode(stream):
                    small = frame.reformat(width=width, height=height, format="gray")
                    yield (None if frame.pts is None else float(frame.pts * stream.time_base)), small.to_ndarray()
                    count += 1
        except av.FFmpegError as cause:
            place = f"after frame {count}"
            raise CaptureError(self.path, f"torn film: {cause}", place=place, hint="copy the file again") from None
        if not count:
            raise CaptureError(self.path, "a film without frames", hint="copy the file again")


def load_av(path: Path) -> ModuleType | Any:
    """Return PyAV; raise CaptureError that names the extra when it is not installed."""
    try:
        import av  # noqa: PLC0415 - an extra, and heavy
    except ImportError:
        hint = "try, in the clone: .venv/bin/uv sync --inexact --no-dev --extra video"
        raise CaptureError(path, "a film, and films need the extra 'video' (PyAV)", hint=hint) from None
    av.logging.set_level(None)
    return av


def open_film(path: Path) -> Film:
    """Return what the head of a film tells."""
    av = load_av(path)
    try:
        with av.open(str(path)) as container:
            if not container.streams.video or container.streams.video[0].codec_context is None:
                raise CaptureError(path, "no picture that can be decoded", expected="a stream of video")
            stream = container.streams.video[0]
            lasts = container.duration
            width, height, tick = stream.codec_context.width, stream.codec_context.height, stream.time_base
    except av.FFmpegError as cause:
        raise CaptureError(
            path, f"no film that can be read: {cause}", hint="the file is torn or of another kind"
        ) from None
    if not 0 < width * height <= MOST_PIXELS or tick is None:
        raise CaptureError(path, f"a picture of {width} x {height} pixels", hint="the file is torn")
    return Film(
        path=path,
        width=width,
        height=height,
        tick=float(tick),
        duration=None if lasts is None else lasts / av.time_base,
    )
