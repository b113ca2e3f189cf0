"""How often a diagnosis is right, on boards that it was not made from.

    python -m tests.diagnose.accuracy --write docs/diagnosis.md

Boards have other seeds, and so other severities, than those of the library. Faults that look the same to the procedure
count as one. Takes some minutes on two cores.
"""

import argparse
import random
import sys
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from benchtest.diagnose.library import Library
from benchtest.diagnose.suspects import Diagnosis, diagnose
from benchtest.faults import possible
from benchtest.studies.signatures import learned
from benchtest.studies.trial import Subject, Trial, Tried, seed_of
from benchtest.studies.trials import all_trials, carry_out, to_learn_from
from tests.studies.studied import greenhouse, words

ASKED_ABOUT: Final = 7
"""Base of the seeds of the boards that are diagnosed; the library's have another."""
OF_A_KIND: Final = 6
"""Boards of each kind that are held out."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Figures:
    """What came of it."""

    boards: int
    first: float
    three: float
    calibration: tuple[tuple[float, float, int], ...]
    """Mean stated probability, share that was right, number of boards; of the first suspect."""
    unknown: int
    alike: int
    """Boards with a held-out fault that look just like a board with a known one; not counted."""
    none: float
    pairs: int
    both: float


def measured(subject: Subject, *, pairs: int) -> Figures:
    """Return how often the diagnosis of a subject is right."""
    tried = carry_out(subject, to_learn_from(subject))
    known = learned(subject, tried)
    asked = all_trials(subject, good=0, boards=1, base=ASKED_ABOUT)
    failed = [one for one in carry_out(subject, asked) if one.outcome == "fail"]
    found = [(one, diagnose(words(one, known), known)) for one in failed]
    held, alike = _held_out(subject, failed, tried, known)
    both = [_both(one, known) for one in carry_out(subject, _pairs(subject, pairs)) if one.outcome == "fail"]
    return Figures(
        boards=len(found),
        first=_share(_named(one, diagnosis, 1) for one, diagnosis in found),
        three=_share(_named(one, diagnosis, 3) for one, diagnosis in found),
        calibration=_calibration(found),
        unknown=len(held),
        alike=alike,
        none=_share(held),
        pairs=len(both),
        both=_share(both),
    )


def _share(held: "Sequence[bool] | Iterator[bool]") -> float:
    some = list(held)
    return sum(some) / len(some)


def _named(one: Tried, diagnosis: Diagnosis, among: int) -> bool:
    """Return whether every fault of a board is among the first suspects."""
    named = {fault.fault for suspect in diagnosis.suspects[:among] for fault in suspect.faults}
    return set(one.trial.faults) <= named


def _both(one: Tried, known: Library) -> bool:
    return _named(one, diagnose(words(one, known), known), 4)


def _calibration(found: Sequence[tuple[Tried, Diagnosis]]) -> tuple[tuple[float, float, int], ...]:
    rows: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for one, diagnosis in found:
        stated = diagnosis.suspects[0].probability
        rows[min(9, int(stated * 10))].append((stated, _named(one, diagnosis, 1)))
    return tuple(
        (sum(stated for stated, _ in row) / len(row), sum(right for _, right in row) / len(row), len(row))
        for _, row in sorted(rows.items())
    )


def _held_out(
    subject: Subject, failed: Sequence[Tried], tried: Sequence[Tried], known: Library
) -> tuple[list[bool], int]:
    """Leave one kind of fault out of the library after the other; return whether none of the rest was named first."""
    kind_of = {fault.text: fault.kind.value for fault in possible(subject.fitted)}
    by_kind: dict[str, list[Tried]] = defaultdict(list)
    for one in failed:
        by_kind[kind_of[one.trial.faults[0]]].append(one)
    named, alike = [], 0
    for kind, boards in by_kind.items():
        rest = known.without([kind])
        looks = {_look(one) for one in tried if one.trial.faults and kind_of[one.trial.faults[0]] != kind}
        for one in boards[:OF_A_KIND]:
            if _look(one) in looks:
                alike += 1
            else:
                named.append(not diagnose(words(one, known), rest).suspects[0].known)
    return named, alike


def _look(one: Tried) -> object:
    """Return what a board shows, as far as it can be told from another: which checks were off, which not reached."""
    return frozenset(one.symptoms), one.untested


def _pairs(subject: Subject, count: int) -> list[Trial]:
    """Return boards with two faults of different parts."""
    chance, known = random.Random(ASKED_ABOUT), possible(subject.fitted)
    trials: list[Trial] = []
    while len(trials) < count:
        one, other = chance.sample(known, 2)
        if not set(one.parts) & set(other.parts):
            faults = (one.text, other.text)
            trials.append(Trial(faults=faults, seed=seed_of(faults, 0, ASKED_ABOUT)))
    return trials


PAGE = """# How often the diagnosis is right

On simulated greenhouse boards (two bays, dosing) that the library was not made from: other seeds, and so other
severities and other parts. Faults that look the same to the procedure count as one suspect. Made by
`python -m tests.diagnose.accuracy --write docs/diagnosis.md`.

| what | boards | share |
|---|---|---|
| right suspect first | {f.boards} | {f.first:.1%} |
| right suspect among the first three | {f.boards} | {f.three:.1%} |
| two faults, both among the first four | {f.pairs} | {f.both:.1%} |
| kind left out of the library, *none of these* first | {f.unknown} | {f.none:.1%} |

Of the boards with a kind that was left out, {f.alike} more look just like a board with another, known fault; nobody
could tell them apart, and they are not counted.

What is stated against what is true, of the first suspect:

| stated probability | right | boards |
|---|---|---|
{rows}

A stated probability is that of a fault of the library on a board of the model; it ranks where to look first and is no
certainty about a real board.
"""


def page(figures: Figures) -> str:
    """Return the page about it."""
    rows = "\n".join(f"| {stated:.0%} | {right:.0%} | {count} |" for stated, right, count in figures.calibration)
    return PAGE.format(f=figures, rows=rows)


def main(arguments: Sequence[str]) -> int:
    """Measure and print; write the page where asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", type=Path, help="page to write")
    said = parser.parse_args(arguments)
    text = page(measured(greenhouse(), pairs=200))
    sys.stdout.write(text)
    if said.write is not None:
        said.write.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
