"""When the samples were taken: even within the rounding of the printed digits, or at times of their own.

A printed time is off by up to half its last digit, so evenly spaced samples lie in a band as wide as that digit around
a straight line. Where the digit is coarse beside the step, a lost sample could hide in the band; there the pattern of
rounding must repeat before it is believed. What a header says about the step is taken only when the rows agree.
"""

import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchtest.errors import CaptureError
from benchtest.quantities import show
from benchtest.signals.series import Sampled, Series, Uneven, Values

SPOOL_FROM: Final = 3 * 10**7
"""Samples from which times wait on disk until it is known whether they are needed."""
CHUNK: Final = 2**20
BIGGEST: Final = 7 * 10**8
"""Bytes that samples and their times may take together."""

Floats = NDArray[np.float64]


class Moments:
    """The times of a column, in memory or, for very many, in a temporary file."""

    def __init__(self, expected: int) -> None:
        self.size = 0
        self.first = self.last = 0.0
        self._blocks: list[Floats] = []
        self._spool = tempfile.TemporaryFile() if expected > SPOOL_FROM else None  # noqa: SIM115 - it lives as long as this

    def append(self, block: Floats) -> None:
        """Take the times of the next rows."""
        if not block.size:
            return
        self.first = self.first if self.size else float(block[0])
        self.last = float(block[-1])
        self.size += block.size
        if self._spool is None:
            self._blocks.append(block)
        else:
            self._spool.write(np.ascontiguousarray(block).data)

    def close(self) -> None:
        """Give the temporary file back."""
        if self._spool is not None:
            self._spool.close()

    def blocks(self) -> Iterator[Floats]:
        """Yield all times in order."""
        if self._spool is None:
            yield from self._blocks
            return
        self._spool.seek(0)
        while chunk := self._spool.read(8 * CHUNK):
            yield np.frombuffer(chunk)

    def whole(self) -> Floats:
        """Return all times as one array."""
        times = np.empty(self.size)
        place = 0
        for block in self.blocks():
            times[place : place + block.size] = block
            place += block.size
        return times


@dataclass(frozen=True, kw_only=True, slots=True)
class Stride:
    """How the times go on."""

    band: float
    """Seconds between the latest and the earliest deviation from a straight line."""
    shortest: float
    longest: float
    backward: int | None
    """Sample that is not later than the one before it; None when all are."""
    lost: int
    """Places where more than one and a half usual steps lie between samples."""
    lost_at: int
    """Sample before the first of them."""
    kinds: int
    """How often the rarer of two roundings of the step occurs; 0 when all steps are alike."""


def stride(moments: Moments, step: float, quantum: float) -> Stride:
    """Return how the times deviate from even ones `step` apart, and the extremes of what lies between them."""
    low, high, shortest, longest, count, lost, lost_at = np.inf, -np.inf, np.inf, -np.inf, 0, 0, 0
    backward: int | None = None
    kinds: Counter[float] = Counter()
    before, usual = moments.first, 0.0
    for block in moments.blocks():
        off = block - moments.first - step * np.arange(count, count + block.size)
        low, high = min(low, float(off.min())), max(high, float(off.max()))
        steps = np.diff(block, prepend=before)[0 if count else 1 :]
        first = count or 1
        if steps.size:
            usual = usual or float(np.median(steps))
            shortest, longest = min(shortest, float(steps.min())), max(longest, float(steps.max()))
            if backward is None and shortest <= 0:
                backward = first + int(np.argmax(steps <= 0))
            wide = np.flatnonzero(steps > 1.5 * usual)
            lost_at = first + int(wide[0]) - 1 if wide.size and not lost else lost_at
            lost += wide.size
            if quantum > step / 4 > 0:
                kinds.update(_counted(np.rint(steps / quantum)))
        before = float(block[-1])
        count += block.size
    rarer = min(kinds.values()) if len(kinds) > 1 else 0
    return Stride(
        band=high - low, shortest=shortest, longest=longest, backward=backward, lost=lost, lost_at=lost_at, kinds=rarer
    )


def _counted(steps: Floats) -> dict[float, int]:
    """Return how often each step occurs; most columns have one, which is seen without sorting."""
    if steps.min() == steps.max():
        return {float(steps[0]): steps.size}
    kinds, counts = np.unique(steps, return_counts=True)
    return dict(zip(kinds.tolist(), counts.tolist(), strict=True))


def straight(moments: Moments) -> tuple[float, float]:
    """Return start and step of the straight line through the times, by least squares; 13 digits of the step."""
    if moments.size == 2:
        return moments.first, moments.last - moments.first
    middle = (moments.size - 1) / 2
    count, total, product = 0, 0.0, 0.0
    for block in moments.blocks():
        late = block - moments.first
        total += float(late.sum())
        product += float(((np.arange(count, count + block.size) - middle) * late).sum())
        count += block.size
    step = float(f"{12 * product / (count * (float(count) ** 2 - 1)):.13g}")
    return moments.first + total / count - step * middle, step


def place(
    path: Path, values: Values, moments: Moments, *, quantum: float, told: float | None
) -> tuple[Series, list[str]]:
    """Return the samples at their times, and what to say about them.

    `quantum` is the rounding step of the printed times, `told` the step that the header states; both in seconds.
    Raises CaptureError for times that go back.
    """
    if moments.size == 1:
        if told:
            return Sampled(values=values, rate=1 / told, start=moments.first), ["one sample"]
        return Uneven(values=values, times=moments.whole()), ["one sample: no step between samples is known"]
    start, slope = moments.first, float(f"{(moments.last - moments.first) / (moments.size - 1):.13g}")
    seen = stride(moments, slope, quantum)
    if seen.band > quantum or seen.kinds:  # coarse or uneven: the ends alone do not tell the line
        start, slope = straight(moments)
        seen = stride(moments, slope, quantum)
    width = 1.001 * quantum + 16 * float(np.spacing(max(abs(moments.first), abs(moments.last))))
    notes: list[str] = []
    if told is not None and slope > 0:
        if stride(moments, told, quantum).band <= width:
            return Sampled(values=values, rate=1 / told, start=moments.first), notes
        notes.append(_disagreement(told, slope))
    if _is_even(seen, moments, slope, quantum, width):
        if seen.kinds:
            share = f"{quantum / (moments.last - moments.first):.2%}"
            notes.append(f"times are printed coarsely: taken as even, {show(slope, 's')} apart to within {share}")
        return Sampled(values=values, rate=1 / slope, start=start if seen.kinds else moments.first), notes
    _refuse_backward(path, moments, seen)
    return Uneven(values=values, times=_kept(path, values, moments)), [*notes, _unevenness(seen)]


def _is_even(seen: Stride, moments: Moments, slope: float, quantum: float, width: float) -> bool:
    """Return whether rounding alone explains the times: even ones give steps that differ by one digit at most.

    With a digit that is coarse beside the step, the pattern must repeat, over so many digits that the step is known.
    """
    off = quantum * min(
        0.35, 2 / moments.size**0.5
    )  # the line through rounded times is off by its own share of the rounding
    if slope <= 0 or seen.band > width + off or seen.longest - seen.shortest > width:
        return False
    return seen.kinds == 0 or (seen.kinds >= 3 and moments.last - moments.first >= 300 * quantum)


def _disagreement(told: float, slope: float) -> str:
    return (
        f"the header says {show(told, 's', digits=9)} between samples, the rows say {show(slope, 's', digits=9)} "
        "on average: the rows are believed"
    )


def _unevenness(seen: Stride) -> str:
    text = f"time is uneven: steps from {show(seen.shortest, 's')} to {show(seen.longest, 's')}"
    if seen.lost:
        gaps = "1 gap" if seen.lost == 1 else f"{seen.lost} gaps"
        text += f"; {gaps} where samples may be missing, first after row {seen.lost_at + 1}"
    return text


def _refuse_backward(path: Path, moments: Moments, seen: Stride) -> None:
    if seen.backward is None:
        return
    times = moments.whole()
    before, after = times[seen.backward - 1], times[seen.backward]
    raise CaptureError(
        path,
        f"time does not go forward: {after:.12g} s after {before:.12g} s",
        place=f"data row {seen.backward + 1}",
        expected="a later time in every row",
        hint="choose another column with 'time', say the true 'rate' when the times are coarse, or cut the file there",
    )


def _kept(path: Path, values: Values, moments: Moments) -> Floats:
    if values.nbytes + 8 * moments.size > BIGGEST:
        found = f"{moments.size} samples at uneven times are more than fit"
        raise CaptureError(path, found, hint="cut the file into parts and measure each")
    return moments.whole()
