"""The library of a diagnosis, learned from trials: what every fault of a board looks like to its procedure."""

import statistics
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

from benchtest.diagnose.library import Library, Signature
from benchtest.faults import Fault, possible, priors
from benchtest.studies.trial import Subject, Tried

Value = float | str | None


def learned(subject: Subject, tried: Sequence[Tried]) -> Library:
    """Return the library of a subject from trials of good boards and of single faults; others are passed over."""
    checks = tuple(check for step in subject.procedure.steps for check in step.checks)
    boards: dict[str, list[Tried]] = defaultdict(list)
    for one in tried:
        if len(one.trial.faults) == 1:
            boards[one.trial.faults[0]].append(one)
    known = possible(subject.fitted)
    prior = priors(known)
    signatures = tuple(
        _signature(fault, boards[fault.text], prior[fault.text]) for fault in known if boards[fault.text]
    )
    good = [one.values for one in tried if not one.trial.faults and one.outcome == "pass"]
    return Library(checks=checks, procedure=subject.procedure, signatures=signatures, usual=_typical(good))


def _signature(fault: Fault, boards: Sequence[Tried], prior: float) -> Signature:
    words: dict[str, Counter[str]] = defaultdict(Counter)
    untested: Counter[str] = Counter()
    for one in boards:
        untested.update(one.untested)
        for check, word in one.symptoms.items():
            words[check][word] += 1
    return Signature(
        fault=fault.text,
        sentence=fault.sentence,
        repair=fault.repair,
        kind=fault.kind.value,
        subject=fault.subject,
        prior=prior,
        boards=len(boards),
        words={check: dict(counts) for check, counts in words.items()},
        reached={check: len(boards) - count for check, count in untested.items()},
        values=_typical([_off(one) for one in boards]),
    )


def _off(one: Tried) -> Mapping[str, Value]:
    return {check: value for check, value in one.values.items() if check in one.symptoms}


def _typical(boards: Sequence[Mapping[str, Value]]) -> dict[str, Value]:
    """Return the middle of the numbers of each check, or the word that comes most often."""
    values: dict[str, list[Value]] = defaultdict(list)
    for one in boards:
        for check, value in one.items():
            values[check].append(value)
    return {check: _middle(some) for check, some in values.items()}


def _middle(some: Sequence[Value]) -> Value:
    numbers = [float(value) for value in some if isinstance(value, (int, float))]
    return statistics.median_low(numbers) if numbers else Counter(some).most_common(1)[0][0]
