"""The lines of the paper: labelled facts, and results as they are printed.

Every string is as it will be read; what is too long for a page is cut, and stands whole in the run file.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from benchtest.metrology.figures import chance, figures, permitted, unusual
from benchtest.procedure import Check, Interval
from benchtest.results import Result, Verdict

MARK: Final[Mapping[Verdict, str]] = {
    Verdict.PASS: "✓",
    Verdict.CONDITIONAL_PASS: "◐",
    Verdict.CONDITIONAL_FAIL: "◓",
    Verdict.FAIL: "✗",
    Verdict.NOT_TESTED: "○",
}
"""A shape beside each word, so that neither colour nor sharp eyes are needed."""
LONGEST: Final = 240
"""Characters of one text on the page; the run file keeps all of them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Fact:
    """One labelled line."""

    label: str
    value: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One result as it is printed."""

    mark: str
    verdict: str
    check: str
    value: str
    """With expanded uncertainty and unit."""
    permitted: str
    probe: str
    note: str
    requirement: tuple[str, ...] = ()
    """What it is evidence of."""


def facts(pairs: Mapping[str, str], *, keep_empty: bool = False) -> tuple[Fact, ...]:
    return tuple(Fact(label=k, value=short(v) or "not stated") for k, v in pairs.items() if v or keep_empty)


def row(check: Check, result: Result | None) -> Row:
    verdict = result.verdict if result else Verdict.NOT_TESTED
    limits = check.permitted
    if isinstance(limits, Interval):
        limits = permitted(limits.low, limits.high, check.unit)
    return Row(
        mark=MARK[verdict],
        verdict=str(verdict),
        check=short(check.title),
        value=short(_found(result) if result else "–"),
        permitted=short(limits),
        probe=short(check.probe),
        note=short(_note(result) if result else "never reached"),
        requirement=check.requirement,
    )


def _found(result: Result) -> str:
    """Return value and U; k beside them where it is not 2, as the statement of the rule promises."""
    return figures(result.value, result.uncertainty, result.check.unit, coverage=unusual(result.coverage))


def _note(result: Result) -> str:
    """Return the note; of a number that did not simply pass, also how likely it is that the item conforms."""
    likely = result.risk is not None and result.verdict is not Verdict.PASS
    said = f"conforms with a probability of {chance(result.risk.conformity)}" if likely and result.risk else ""
    return "; ".join(filter(None, [result.note, said]))


def counts(verdicts: Iterable[Verdict]) -> str:
    counter = Counter(verdicts)
    return ", ".join(f"{counter[verdict]} {verdict}" for verdict in Verdict if counter[verdict]) or "no checks"


def number(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def short(text: str) -> str:
    if len(text) <= LONGEST:
        return text
    return f"{text[:LONGEST]}… ({len(text)} characters, all of them in run.json)"
