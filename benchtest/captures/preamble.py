"""What the lines above a table say about all of it: step, rate, first moment, number of samples.

Instruments write `Sample Interval,0.001`, `Sampling rate: 10 kHz`, `# dt = 1e-6`, `Sample Interval,Second:1E-3` and the
like; spelling, spaces and signs between the words are ignored. Keys are common practice, no source.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from benchtest.captures.dialect import Row
from benchtest.captures.units import read_rate, read_seconds, split_name

STEP: Final = frozenset(
    """sampleinterval samplinginterval sampleperiod samplingperiod interval increment xincrement xinc timeincrement dt
    deltat timestep step xstep timeinterval horizontalinterval sampletime""".split()  # noqa: SIM905 - a list of words reads better
)
RATE: Final = frozenset(
    "samplerate samplingrate samplefrequency samplingfrequency rate fs samplespersecond samplerates".split()  # noqa: SIM905
)
START: Final = frozenset("start starttime startoffset xorigin xzero xstart tstart firsttime timeoffset".split())  # noqa: SIM905
COUNT: Final = frozenset(
    "recordlength points samples numberofpoints numberofsamples memorylength datapoints samplecount".split()  # noqa: SIM905
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Preamble:
    """What the lines above a table state; None where they are silent."""

    step: float | None = None
    """Seconds between samples."""
    start: float | None = None
    """Seconds of the first sample."""
    count: int | None = None
    """Number of samples."""
    notes: tuple[str, ...] = ()


def read_preamble(rows: Iterable[Row], decimal: str) -> Preamble:
    """Return what the lines above a table state."""
    step = rate = start = None
    count = None
    for row in rows:
        key, unit, value, beside = _entry(row, decimal)
        if key in STEP and step is None:
            step = read_seconds(value, unit or beside)
        elif key in RATE and rate is None:
            rate = read_rate(value, unit or beside)
        elif key in START and start is None:
            start = read_seconds(value, unit or beside)
        elif key in COUNT and re.fullmatch(r"[0-9]+(\.0*)?([eE]\+?[0-9]{1,2})?", value):
            count = int(float(value))
    notes = []
    step = step if step and step > 0 else None
    if rate and rate > 0:
        if step and abs(step * rate - 1) > 1e-3:
            notes.append(f"the header contradicts itself: {step:g} s between samples, but {rate:g} samples per second")
        step = step or 1 / rate
    return Preamble(step=step, start=start, count=count, notes=tuple(notes))


def is_entry(row: Row, decimal: str) -> bool:
    """Return whether a line is one of those that state something known about the table."""
    return _entry(row, decimal)[0] in STEP | RATE | START | COUNT and len(row.cells) <= 3


def _entry(row: Row, decimal: str) -> tuple[str, str, str, str]:
    """Return key, unit within the key, value, and what stands beside the value."""
    cells = [cell for cell in row.cells if cell]
    if not cells:
        return "", "", "", ""
    if len(cells) == 1:
        cells = [cell.strip() for cell in re.split(r"[,;\t]", cells[0])]
    if len(cells) == 1 or re.match(r"[^:=]*[:=]\s*\S", cells[0]):
        first, _, rest = cells[0].replace("=", ":").partition(":")
        cells = [first.strip(), rest.strip(), *cells[1:]]
    name, unit = split_name(cells[0].rstrip(":= "))
    key = re.sub(r"[^a-z]", "", name.lower())
    value = cells[1].rpartition(":")[2].strip() if len(cells) > 1 else ""
    return key, unit, value.replace(",", ".") if decimal == "," else value, cells[2] if len(cells) > 2 else ""
