"""Readings from the folders of finished runs.

Only numbers count; words, lamps and counts of events that must not happen are not studied. Where boards are wanted that
are known to be good, runs that did not pass are set aside, and it is said how many. The part of a reading's uncertainty
that differs from reading to reading is taken from its budget: repeatability, resolution and sampling; a calibration, a
clock or a test current moves all readings of a bench together.
"""

import math
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Final

import numpy as np

from benchtest.errors import DocumentError, StudyError
from benchtest.procedure import Interval
from benchtest.readings import Origin
from benchtest.records.folder import read_run
from benchtest.results import Outcome, Result, Run
from benchtest.studies.readings import FACTORS, Choice, Factor, Quantity, Readings

SCATTERS: Final = ("repeatability", "resolution", "sampling")
"""Terms of a budget, by the beginnings of their names, that differ from reading to reading."""


def run_folders(path: Path) -> tuple[Path, ...]:
    """Return the run folders at or below a folder, by their names; runs that were cut off have none."""
    if (path / "run.json").is_file():
        return (path,)
    return tuple(sorted(found.parent for found in path.glob("*/run.json")))


def read_runs(folders: Iterable[Path], *, source: str, choice: Choice) -> Readings:
    """Return the readings of runs; what cannot be read is set aside.

    Raises StudyError when none is left, or when they are of several parts and none is chosen.
    """
    rows, unreadable, aside = _Rows(), list[str](), list[str]()
    for folder in folders:
        try:
            run = read_run(folder)
        except DocumentError as problem:
            unreadable.append(str(problem))
            continue
        if reason := _unwanted(run, choice):
            aside.append(reason)
        else:
            rows.add(run)
    if not rows.values:
        left = f"{len(aside)} were set aside, {len(unreadable)} could not be read"
        hint = "runs of boards that passed are wanted" if choice.passed_only else "name a folder of finished runs"
        raise StudyError(f"{source}: no run to study ({left}; {hint})")
    choice.of_parts(sorted(rows.parts), source)
    notes = [f"set aside: {one}" for one in unreadable]
    notes += [f"{count} runs set aside: {reason}" for reason, count in Counter(aside).items()]
    return rows.readings(source, tuple(notes))


def _unwanted(run: Run, choice: Choice) -> str:
    """Return why a run is not studied; nothing when it is."""
    if choice.part and run.procedure.part != choice.part:
        return "another part"
    if choice.passed_only and run.outcome is not Outcome.PASS:
        return "not passed"
    if choice.board not in {None, run.job.serial}:
        return "another board"
    return "another bench" if choice.bench not in {None, run.bench} else ""


@dataclass(slots=True)
class _Rows:
    """Readings as they come, run by run."""

    quantities: dict[str, Quantity] = field(default_factory=dict)
    which: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    expanded: list[float] = field(default_factory=list)
    scatter: list[float] = field(default_factory=list)
    runs: list[int] = field(default_factory=list)
    moments: list[float] = field(default_factory=list)
    """Of each run."""
    factors: dict[str, list[str]] = field(default_factory=lambda: {name: [] for name in FACTORS})
    """Of each run."""
    origins: dict[Origin, int] = field(default_factory=dict)
    profiles: set[str] = field(default_factory=set)
    parts: set[str] = field(default_factory=set)

    def add(self, run: Run) -> None:
        """Take the numbers of a run."""
        number = len(self.moments)
        self.moments.append(datetime.fromisoformat(run.started).timestamp())
        named = (run.job.serial, run.job.technician, run.bench, run.job.phase, run.started[:10])
        for name, said in zip(FACTORS, named, strict=True):
            self.factors[name].append(said)
        self.origins[run.origin] = self.origins.get(run.origin, 0) + 1
        self.profiles.add(run.profile_digest)
        self.parts.add(run.procedure.part)
        places = {name: place for place, name in enumerate(self.quantities)}
        for value, result, quantity in _numbers(run):
            self.quantities[quantity.id] = quantity  # the newest limits count
            self.which.append(places.setdefault(quantity.id, len(places)))
            self.values.append(value)
            self.expanded.append(math.nan if result.uncertainty is None else result.uncertainty)
            self.scatter.append(scatter_of(result))
            self.runs.append(number)

    def readings(self, source: str, notes: tuple[str, ...]) -> Readings:
        """Return all of it in columns."""
        runs = np.array(self.runs, np.intp)
        return Readings(
            source=source,
            quantities=tuple(self.quantities.values()),
            which=np.array(self.which, np.int32),
            values=np.array(self.values, np.float64),
            expanded=np.array(self.expanded, np.float64),
            scatter=np.array(self.scatter, np.float64),
            moments=np.array(self.moments, np.float64)[runs],
            factors={name: _factor(column, runs) for name, column in self.factors.items()},
            notes=(*self._of_runs(), *notes),
        )

    def _of_runs(self) -> Iterator[str]:
        if simulated := self.origins.get(Origin.SIMULATED, 0):
            said = f"SIMULATED: {simulated} of {len(self.moments)} runs; what this says of real boards"
            yield f"{said} is as good as the model"
        if len(self.profiles) > 1:
            yield f"the runs have {len(self.profiles)} profiles; limits are those of the newest run"


def _factor(column: list[str], runs: "np.ndarray[tuple[int], np.dtype[np.intp]]") -> Factor:
    names = {name: number for number, name in enumerate(dict.fromkeys(column))}
    codes = np.array([names[name] for name in column], np.int32)
    return Factor(codes=codes[runs], names=tuple(names))


def _numbers(run: Run) -> Iterator[tuple[float, Result, Quantity]]:
    """Yield the results that are finite numbers with a unit, and the numbers."""
    for result in run.results:
        value, check = result.value, result.check
        if not check.unit or isinstance(value, str | bool | None) or not math.isfinite(value):
            continue
        low, high = -math.inf, math.inf
        if isinstance(check.permitted, Interval):
            low = low if check.permitted.low is None else check.permitted.low
            high = high if check.permitted.high is None else check.permitted.high
        quantity = Quantity(id=check.id, title=check.title, unit=check.unit, low=low, high=high, place=check.place)
        yield float(value), result, quantity


def scatter_of(result: Result) -> float:
    """Return the standard uncertainty of a reading that differs from reading to reading; NaN without a budget."""
    if result.budget is None:
        return math.nan
    return math.hypot(*(one.contribution for one in result.budget.terms if one.name.startswith(SCATTERS)))
