"""The small captures that a reader measures: as a scope, a logger and a telephone would have written them.

    python -m tests.docs.captures

writes the files of `docs/captures/`. All of it is invented: contact K3 of the greenhouse board with three bounces, its
coil, its supply, the film of its status lamp that shows 3, its link with one heartbeat missing, a contact of 38 mΩ.
"""

import csv
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Final

import av
import can
import numpy as np
from numpy.typing import NDArray

from tests.docs.keys import DOCS

Values = NDArray[np.float64]

CAPTURES: Final = DOCS / "captures"
RATE: Final = 20e3
"""Samples per second of the scope."""
ON, OFF, END = 0.010, 0.050, 0.070
"""Seconds: the coil is switched on and off, and the record ends."""
MADE: Final = ((0.0164, 0.0167), (0.0169, 0.0172), (0.0173, 0.0175), (0.01755, 0.0541))
START: Final = 1_900_000_000
"""When the link's log begins, in seconds since 1970."""
FRAMES: Final = 25
"""A second."""
SHOWN: Final = 3
"""Flashes of the lamp."""


def moments(end: float, rate: float = RATE) -> Values:
    """Return the moments of a record from zero."""
    return np.arange(round(end * rate)) / rate


def noise(size: int, deviation: float, seed: int) -> Values:
    """Return what a converter adds."""
    return np.random.default_rng(seed).normal(0, deviation, size)


def table(path: Path, columns: Mapping[str, tuple[Values, str]]) -> None:
    """Write columns with their formats, as a scope exports them."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(columns)
        shown = [[format(value, style) for value in values] for values, style in columns.values()]
        writer.writerows(zip(*shown, strict=True))


def contact(path: Path) -> None:
    """Volts across K3, and the order to its coil."""
    t = moments(END)
    made = np.any([(t >= begin) & (t < end) for begin, end in MADE], axis=0)
    volts = np.where(made, 0.02, 12.0) + noise(t.size, 0.01, 1)
    order = np.where((t >= ON) & (t < OFF), 24, 0)
    table(path, {"time (s)": (t, ".5f"), "K3 (V)": (volts, ".3f"), "coil (V)": (order, "d")})


def coil(path: Path) -> None:
    """A coil of 600 Ω: its current dips while the armature moves; switched off, a diode holds it at −0.7 V."""
    t = moments(END)
    since, off = t - ON, t - OFF
    rising = 0.04 * (1 - np.exp(-since.clip(0) / 4e-3))
    moving = 0.008 * np.exp(-(((since - 6.4e-3) / 0.7e-3) ** 2))
    falling = 0.04 * np.exp(-off.clip(0) / 5e-3)
    amps = np.select([since < 0, off < 0], [0 * t, rising - moving], falling) + noise(t.size, 5e-5, 2)
    volts = np.select([since < 0, off < 0, falling > 1e-3], [0 * t, 24 + 0 * t, -0.7 + 0 * t], 0 * t)
    volts += noise(t.size, 0.005, 3)
    table(path, {"time (s)": (t, ".5f"), "CH1 (V)": (volts, ".3f"), "CH2 (mA)": (amps * 1e3, ".3f")})


def supply(path: Path) -> None:
    """24 V with the ripple of a rectified 50 Hz, and one sag of 8 ms."""
    t = moments(0.2, 10e3)
    volts = 23.9 + 0.25 * np.sin(2 * np.pi * 100 * t) + noise(t.size, 0.005, 4)
    volts[(t >= 0.12) & (t < 0.128)] -= 3.5
    table(path, {"time (s)": (t, ".4f"), "main (V)": (volts, ".3f")})


def resistance(path: Path) -> None:
    """A contact of 38 mΩ at 100 mA one way and the other, with 60 µV of a thermal e.m.f. on the sense wires."""
    t = moments(1.0, 500)
    amps = np.repeat([0.0, 0.1, 0.0, -0.1, 0.0], t.size // 5)
    volts = 38e-3 * amps + 60e-6 + noise(t.size, 5e-6, 5)
    columns = {"time (s)": (t, ".3f"), "sense (mV)": (volts * 1e3, ".4f"), "source (A)": (amps, ".2f")}
    table(path, columns)


def link(path: Path) -> None:
    """Ten seconds of messages of board and controller, somewhat late each; one heartbeat of the board is missing."""
    late = np.random.default_rng(6).uniform(0, 1e-3, 200)
    board = [(0.25 * n, 0x310, [n, 3]) for n in range(40) if n != 17]
    status = [(0.5 * n + 0.03, 0x320, [0] * 6) for n in range(20)]
    controller = [(0.2 * n + 0.012, 0x101, [n, 1]) for n in range(50)]
    with can.CanutilsLogWriter(str(path)) as writer:
        for (at, identifier, data), more in zip(sorted(board + status + controller), late, strict=False):
            when = START + at + more
            frame = can.Message(timestamp=when, arbitration_id=identifier, data=data, is_extended_id=False)
            writer.on_message_received(frame)


def lamp(path: Path) -> None:
    """A film of a lamp on a grey board: three flashes of 200 ms and a pause, four times, with a telephone's noise."""
    code = ([1] * 5 + [0] * 5) * SHOWN + [0] * 25
    with av.open(str(path), "w") as container:
        stream = container.add_stream("h264", rate=FRAMES, options={"threads": "1", "crf": "28"})
        assert isinstance(stream, av.VideoStream)
        stream.width, stream.height, stream.pix_fmt = 160, 120, "yuv420p"
        stream.time_base = stream.codec_context.time_base = Fraction(1, FRAMES)
        for place, lit in enumerate(code * 4):
            picture = np.full((120, 160), 70) + np.random.default_rng(place).integers(-2, 3, (120, 160))
            picture[50:66, 96:112] += 150 * lit
            shot = np.stack([picture.astype(np.uint8)] * 3, -1)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(shot, format="rgb24")))
        container.mux(stream.encode(None))


MADE_BY: Final = {
    "contact.csv": contact,
    "coil.csv": coil,
    "supply.csv": supply,
    "lamp.mp4": lamp,
    "link.log": link,
    "resistance.csv": resistance,
}


def make(folder: Path) -> None:
    """Write all captures into a folder."""
    folder.mkdir(exist_ok=True)
    for name, write in MADE_BY.items():
        write(folder / name)


if __name__ == "__main__":
    make(CAPTURES)
