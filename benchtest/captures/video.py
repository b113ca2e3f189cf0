"""Films of a lamp, as its brightness over time: MP4, MOV, MKV, AVI.

The lamp is the region that a person names, or the one place where pixels change together. Its brightness is the mean
luma of the region, as a share of full scale, at the time stamp that the film gives each frame. A frame is an exposure
of some milliseconds at a camera's own rate: what is shorter than the time between frames may not be seen at all.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from benchtest.captures.capture import Capture, Channel, Options, Recorded
from benchtest.captures.film import Film, open_film
from benchtest.captures.lamp_search import SIDE, Region, find_lamps
from benchtest.captures.moments import Moments, place
from benchtest.errors import CaptureError
from benchtest.quantities import show
from benchtest.signals.series import Series


def open_video(path: Path, start: bytes, options: Options) -> Capture:
    """Return a film with one channel, the lamp; the film is decoded when it is read."""
    del start
    film = open_film(path)
    if options.region is not None:
        _check_region(film, Region(**dict(zip(("left", "top", "width", "height"), options.region, strict=True))))
    return Capture(
        path=path,
        kind_of_file="film",
        channels=(Channel(number=1, name="lamp", unit=""),),
        notes=("values are shares of full brightness",),
        reader=lambda channel: _read(film, options, channel),
    )


def _check_region(film: Film, region: Region) -> None:
    inside = region.left >= 0 and region.top >= 0 and region.width > 0 and region.height > 0
    if not inside or region.left + region.width > film.width or region.top + region.height > film.height:
        raise CaptureError(
            film.path, f"a region of {region}", expected=f"one within {film.width} x {film.height} pixels"
        )


def _read(film: Film, options: Options, channel: Channel) -> Recorded:
    notes = []
    if options.region is not None:
        left, top, width, height = options.region
        region = Region(left=left, top=top, width=width, height=height)
    else:
        region = _found(film)
        notes.append(f"lamp found at {region} (left, top, width, height)")
    course = _brightness(film, region)
    series, more = course.series(film)
    if options.region is not None and 255 * (max(course.values) - min(course.values)) < 1:
        notes.append("nothing in this region changes")
    return Recorded(channel=channel, series=series, notes=(*notes, *more))


def _found(film: Film) -> Region:
    """Return the one lamp of the film in pixels of its full size; refuse when there is none, or more than one."""
    scale = max(1.0, film.width / SIDE, film.height / SIDE)
    width, height = max(1, round(film.width / scale)), max(1, round(film.height / scale))
    lamps = find_lamps(picture for _, picture in film.frames(width=width, height=height))
    regions = [_enlarged(lamp, film, film.width / width, film.height / height) for lamp in lamps]
    if not regions:
        found = "nothing that changes in this film"
        raise CaptureError(film.path, found, expected="a lamp that goes on or off", hint="say where with 'region'")
    if len(regions) > 1:
        listed = "; ".join(map(str, regions[:10])) + (f"; and {len(regions) - 10} more" if len(regions) > 10 else "")
        found = f"{len(regions)} places that change: {listed}"
        raise CaptureError(
            film.path, found, expected="one lamp", hint="say which one with --region left,top,width,height"
        )
    return regions[0]


def _enlarged(lamp: Region, film: Film, across: float, down: float) -> Region:
    left, top = int(lamp.left * across), int(lamp.top * down)
    right = min(film.width, round((lamp.left + lamp.width) * across))
    bottom = min(film.height, round((lamp.top + lamp.height) * down))
    return Region(left=left, top=top, width=max(1, right - left), height=max(1, bottom - top))


@dataclass(kw_only=True, slots=True)
class Course:
    """The brightness of one region, frame after frame."""

    times: list[float] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    unstamped: int = 0
    backward: int = 0
    """Frames whose stamp is not later than the one before: left out."""

    def series(self, film: Film) -> tuple[Series, list[str]]:
        """Return the brightness at the time stamps of the frames, and what to say about them."""
        if not self.times:
            raise CaptureError(film.path, "no frame has a time stamp", hint="convert the film to MP4 or MKV")
        moments = Moments(0)
        moments.append(np.array(self.times))
        series, notes = place(film.path, np.array(self.values), moments, quantum=film.tick, told=None)
        notes.append(f"a frame every {show(series.gap, 's')} at most: what is shorter may be missed")
        if film.duration is not None and film.duration - series.end > max(0.2, 3 * series.gap):
            notes.append(f"the film says it lasts {show(film.duration, 's')}: it ends early, it may be torn")
        for count, what in ((self.unstamped, "without a time stamp"), (self.backward, "whose time stamp goes back")):
            if count:
                notes.append(f"{count} frames {what}, left out")
        return series, notes


def _brightness(film: Film, region: Region) -> Course:
    course = Course()
    rows = slice(region.top, region.top + region.height)
    columns = slice(region.left, region.left + region.width)
    for time, picture in film.frames(width=film.width, height=film.height):
        if time is None:
            course.unstamped += 1
        elif course.times and time <= course.times[-1]:
            course.backward += 1
        else:
            course.times.append(time)
            course.values.append(float(picture[rows, columns].mean()) / 255)
    return course
