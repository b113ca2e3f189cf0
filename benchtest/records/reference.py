"""A known-good board that proves a bench: its runs on this bench, and what the last of them says of the bench.

Its history lies in the run folders, where every run of every board lies; a run that cannot be read is told of and left
aside. What has drifted shows against the runs before: the bench has changed, or the board has.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from benchtest.errors import DocumentError
from benchtest.fixture.self_check import Reference
from benchtest.metrology.agreement import NEEDED, score
from benchtest.records.drift import Charted, Clearance, charted, clearances
from benchtest.records.folder import folders_of, read_run
from benchtest.results import Outcome, Result, Run

LOOK_BACK: Final = 20
"""Runs before the last one that it is compared with."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Compared:
    """One reading of the last run against the runs before it."""

    result: Result
    earlier: tuple[float, ...]
    """Oldest first, SI."""
    score: float
    """E_n; it agrees from -1 to 1."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Standing:
    """What the known-good board says of its bench."""

    fit: bool
    sentence: str
    runs: tuple[Run, ...]
    """Oldest first."""
    unreadable: tuple[str, ...]
    compared: tuple[Compared, ...]
    """Of the last run, the worst first; empty until there are enough runs before it."""
    charts: tuple[Charted, ...] = ()
    """Of the readings that the fixture names."""
    cleared: tuple[Clearance, ...] = ()
    """Signals that somebody has answered for."""

    @property
    def signals(self) -> tuple[str, ...]:
        """What has moved and was not cleared, in words."""
        return tuple(one.sentence for one in self.charts if one.signal is not None)


def standing(reference: Reference, *, bench: str, root: Path, now: datetime) -> Standing:
    """Return how the known-good board last did on the bench of that name, by the run folders below `root`."""
    runs, unreadable = _history(reference, bench, root)
    compared = _compared(runs)
    cleared = clearances(root, reference, bench)
    charts = charted(reference, _passed(runs), cleared)
    fit, said = _said(reference, runs, compared, now)
    if moved := [one.sentence for one in charts if one.signal is not None]:
        fit, said = False, f"its chart shows drift that nobody has cleared ({'; '.join(moved)})"
    return Standing(
        fit=fit,
        sentence=f"known-good board {reference.part} {reference.serial}: {said}",
        runs=runs,
        unreadable=unreadable,
        compared=compared,
        charts=charts,
        cleared=cleared,
    )


def _history(reference: Reference, bench: str, root: Path) -> tuple[tuple[Run, ...], tuple[str, ...]]:
    runs, unreadable = list[Run](), list[str]()
    for folder in folders_of(root, part=reference.part, serial=reference.serial):
        try:
            run = read_run(folder)
        except DocumentError as problem:
            unreadable.append(str(problem))
        else:
            if (run.procedure.part, run.job.serial, run.bench) == (reference.part, reference.serial, bench):
                runs.append(run)
    return tuple(sorted(runs, key=lambda run: datetime.fromisoformat(run.started))), tuple(unreadable)


def _said(reference: Reference, runs: Sequence[Run], compared: Sequence[Compared], now: datetime) -> tuple[bool, str]:
    if not runs:
        return False, "it has not run on this bench yet"
    last = runs[-1]
    days = (now - datetime.fromisoformat(last.started)).days
    ran = f"it last ran on {last.started[:10]}"
    if last.outcome is not Outcome.PASS:
        return False, f"{ran} and did not pass: {last.reason}"
    if days > reference.days:
        return False, f"{ran}, {days} days ago, and is to run every {reference.days}"
    if compared and not abs(compared[0].score) <= 1:
        drifted = [one for one in compared if not abs(one.score) <= 1]
        worst = f"{compared[0].result.check.title}, E_n {compared[0].score:+.2f}"
        return False, f"{ran}; {len(drifted)} of {len(compared)} readings have drifted ({worst} at worst)"
    if not compared:
        return True, f"{ran} and passed; drift shows when there are {NEEDED} runs before the last"
    return True, f"{ran} and passed; {len(compared)} readings agree with the {_before(runs)} runs before it"


def _before(runs: Sequence[Run]) -> int:
    return min(len(_passed(runs[:-1])), LOOK_BACK)


def _passed(runs: Iterable[Run]) -> list[Run]:
    return [run for run in runs if run.outcome is Outcome.PASS]


def _compared(runs: Sequence[Run]) -> tuple[Compared, ...]:
    """Compare the last run with those before it that passed; a reading counts that all of them have."""
    before = _passed(runs[:-1])[-LOOK_BACK:]
    if len(before) < NEEDED:
        return ()
    found = [_figures(run) for run in before]
    last = _figures(runs[-1])
    same = [name for name in last if all(name in one and math.isfinite(_number(one[name])) for one in found)]
    compared = (_one(last[name], [figures[name] for figures in found], of=len(same)) for name in same)
    return tuple(sorted(compared, key=lambda one: -math.inf if math.isnan(one.score) else -abs(one.score)))


def _one(last: Result, before: Sequence[Result], *, of: int) -> Compared:
    values = [_number(one) for one in (*before, last)]
    uncertainties = [one.uncertainty or 0.0 for one in before]
    number = score(values[-1], last.uncertainty or 0.0, values[:-1], uncertainties, of=of)
    return Compared(result=last, earlier=tuple(values[:-1]), score=number)


def _number(result: Result) -> float:
    return float(result.value) if isinstance(result.value, float | int) else math.nan


def _figures(run: Run) -> dict[str, Result]:
    """Return the readings of a run that are numbers with an uncertainty, by the ids of their checks."""
    return {
        one.check.id: one
        for one in run.results
        if isinstance(one.value, float | int) and not isinstance(one.value, bool) and one.uncertainty is not None
    }
