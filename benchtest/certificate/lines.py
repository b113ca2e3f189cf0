"""The lines of the paper: labelled facts, and results as they are printed, in the paper's language.

Every string is as it will be read; what is too long for a page is cut, and stands whole in the run file.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from benchtest.language import Language
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
    """In English, for machines."""
    said: str
    """The verdict as it is read."""
    check: str
    value: str
    """With expanded uncertainty and unit."""
    permitted: str
    probe: str
    note: str
    requirement: tuple[str, ...] = ()
    """What it is evidence of."""


def facts(words: Language, pairs: Mapping[str, str], *, keep_empty: bool = False) -> tuple[Fact, ...]:
    """Return labelled lines; `pairs` has them by the key of the label in the catalogue."""
    kept = (
        (key, short(value, words) or words.say("not_stated")) for key, value in pairs.items() if value or keep_empty
    )
    return tuple(Fact(label=words.say(key), value=value) for key, value in kept)


def row(check: Check, result: Result | None, words: Language) -> Row:
    verdict = result.verdict if result else Verdict.NOT_TESTED
    return Row(
        mark=MARK[verdict],
        verdict=str(verdict),
        said=word_of(verdict, words),
        check=short(words.phrase(check.title), words),
        value=short(as_read(result, words) if result else "–", words),
        permitted=short(allowed(check, words), words),
        probe=short(words.phrase(check.probe), words),
        note=short(_note(result, words) if result else words.say("never_reached"), words),
        requirement=check.requirement,
    )


def word_of(verdict: Verdict, words: Language) -> str:
    return words.say(f"verdict_{verdict.name.lower()}")


def allowed(check: Check, words: Language) -> str:
    """Return what is permitted, as it is read."""
    limits = check.permitted
    if not isinstance(limits, Interval):
        return words.phrase(limits)
    low, to, high = permitted(limits.low, limits.high, check.unit).partition(" to ")
    return words.say("between", low=words.number(low), high=words.number(high)) if to else words.phrase(low)


def as_read(result: Result, words: Language) -> str:
    """Return value and U; k beside them where it is not 2, as the statement of the rule promises."""
    said = figures(result.value, result.uncertainty, result.check.unit, coverage=unusual(result.coverage))
    return words.phrase(said)


def _note(result: Result, words: Language) -> str:
    """Return the note; of a number that did not simply pass, also how likely it is that the item conforms."""
    likely = result.risk is not None and result.verdict is not Verdict.PASS
    share = words.number(chance(result.risk.conformity)) if likely and result.risk else ""
    said = words.say("conforms", share=share) if share else ""
    return "; ".join(filter(None, [words.phrase(result.note), said]))


def counts(verdicts: Iterable[Verdict], words: Language) -> str:
    counter = Counter(verdicts)
    said = (f"{counter[verdict]} {word_of(verdict, words)}" for verdict in Verdict if counter[verdict])
    return ", ".join(said) or words.say("no_checks")


def number(count: int, words: Language, one: str, several: str) -> str:
    return words.say(one if count == 1 else several, count=count)


def short(text: str, words: Language) -> str:
    return text if len(text) <= LONGEST else words.say("cut", text=text[:LONGEST], count=len(text))
