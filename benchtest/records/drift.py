"""The chart of a known-good board on its bench: whether some of its readings have moved, and who has answered for it.

The fixture names the readings that are charted. Centre and limits come from the first runs; every later one is held
against them by named rules. A signal stays, whatever follows, until a person clears it by name and with a reason; after
that the patterns begin anew with the runs that follow, against the old limits, or against new ones where the clearance
says that the bench or the board is another one from then on.

Clearances are lines of JSON beside the run folders, only ever added to.
"""

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

import numpy as np

from benchtest.errors import DocumentError, Problem
from benchtest.fixture.self_check import Reference
from benchtest.metrology.control_chart import Signal, individuals, signals
from benchtest.results import Result, Run

CLEARANCES: Final = "drift-cleared.jsonl"
BASELINE: Final = 20
"""Runs that the limits come from."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Clearance:
    """What a named person answers for."""

    part: str
    serial: str
    bench: str
    at: str
    """RFC 3339."""
    by: str
    reason: str
    of: tuple[str, ...]
    """The signals, in words."""
    anew: bool
    """Whether the runs that follow get limits of their own."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Charted:
    """One charted reading of the known-good board."""

    check: str
    title: str
    runs: int
    """Runs on the chart since its limits began."""
    signal: Signal | None
    """The first that nobody has cleared."""
    at: str
    """When the run of the signal began."""
    missing: str
    """Why there are no limits yet; empty where there are."""

    @property
    def sentence(self) -> str:
        """Say what has moved."""
        return "" if self.signal is None else f"{self.title}: {self.signal.rule}, on {self.at[:10]}"


def charted(reference: Reference, runs: Sequence[Run], clearances: Sequence[Clearance]) -> tuple[Charted, ...]:
    """Return the charts of the readings that the fixture names; `runs` passed, oldest first."""
    return tuple(_chart(reference, name, runs, clearances) for name in reference.charted)


def _chart(reference: Reference, name: str, runs: Sequence[Run], clearances: Sequence[Clearance]) -> Charted:
    anew = max((one.at for one in clearances if one.anew), key=datetime.fromisoformat, default="")
    counted = [(run, one) for run in _after(runs, anew) if (one := _reading(run, name)) is not None]
    title = counted[-1][1].check.title if counted else name
    values = np.array([float(one.value) for _, one in counted if isinstance(one.value, float | int)], np.float64)
    signal, missing = None, ""
    if values.size <= BASELINE:
        missing = f"{values.size} runs of {BASELINE + 1} that a chart needs"
    else:
        last = max((one.at for one in clearances), key=datetime.fromisoformat, default="")
        first = values.size - len(_after([run for run, _ in counted], last))
        try:
            signal = _first_signal(values, first, reference)
        except ValueError as cause:
            missing = str(cause)
    at = counted[signal.at][0].started if signal is not None else ""
    return Charted(check=name, title=title, runs=values.size, signal=signal, at=at, missing=missing)


def _first_signal(
    values: "np.ndarray[tuple[int], np.dtype[np.float64]]", first: int, reference: Reference
) -> Signal | None:
    """Return the first signal after the baseline whose pattern needs no run before `first`."""
    chart = individuals(values, BASELINE)
    for signal in signals(chart.since(first), reference.rules):
        if signal.at + first >= BASELINE:
            return Signal(rule=signal.rule, at=signal.at + first)
    return None


def _after(runs: Sequence[Run], moment: str) -> list[Run]:
    if not moment:
        return list(runs)
    since = datetime.fromisoformat(moment)
    return [run for run in runs if datetime.fromisoformat(run.started) > since]


def _reading(run: Run, name: str) -> Result | None:
    """Return a reading that is a finite number."""
    for one in run.results:
        if one.check.id == name and isinstance(one.value, float | int) and math.isfinite(one.value):
            return one
    return None


# ---------------------------------------------------------------- clearances


def clear(root: Path, clearance: Clearance) -> None:
    """Add a clearance to those below the folder of runs."""
    root.mkdir(parents=True, exist_ok=True)
    with (root / CLEARANCES).open("a", encoding="utf-8") as file:
        file.write(json.dumps(asdict(clearance), ensure_ascii=False, sort_keys=True) + "\n")


def clearances(root: Path, reference: Reference, bench: str) -> tuple[Clearance, ...]:
    """Return what was cleared for a board on a bench. Raises DocumentError for a line that is none."""
    found = _read(root / CLEARANCES)
    return tuple(one for one in found if (one.part, one.serial, one.bench) == (reference.part, reference.serial, bench))


def _read(path: Path) -> Iterator[Clearance]:
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except FileNotFoundError:
        return
    for number, line in enumerate(text.splitlines(), 1):
        try:
            yield _clearance(json.loads(line))
        except (ValueError, TypeError, KeyError) as cause:
            raise DocumentError(
                [
                    Problem(
                        file=path,
                        line=number,
                        column=1,
                        where="",
                        message="is not a clearance of drift",
                        hint="mend the line, or delete it and clear again",
                    )
                ]
            ) from cause


def _clearance(said: Mapping[str, object]) -> Clearance:
    words = {name: said[name] for name in ("part", "serial", "bench", "at", "by", "reason")}
    of, anew = said["of"], said["anew"]
    if not (all(isinstance(one, str) for one in words.values()) and isinstance(of, list) and isinstance(anew, bool)):
        raise ValueError("another shape")
    datetime.fromisoformat(str(words["at"]))
    return Clearance(**{name: str(one) for name, one in words.items()}, of=tuple(map(str, of)), anew=anew)
