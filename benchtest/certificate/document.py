"""From a finished run to a plain document: every string as it will be read, shared by PDF, HTML and JSON.

The paper says what was looked at and what came of it, and nothing more. It is a certificate only when the run passed
and no single result contradicts that; everything else is a report of findings.

Source: ISO/IEC 17025:2017, 7.8.2.1, 7.8.3.1 and 7.8.6 as a list of what a report of tests shows (no accreditation is
implied); ILAC-G8:09/2019, 4.2, for the decision rule and its words; cautions are common practice, no source.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from benchtest.cautions import ON_PAPER
from benchtest.certificate.bench import Bench, bench_of
from benchtest.certificate.history import (
    Comparison,
    attempts_of,
    attempts_said,
    comparison_of,
    outcome_word,
)
from benchtest.certificate.identity import Equipment, equipment_of, item_of, job_of, method_of, traces_of
from benchtest.certificate.lines import Fact, Row, counts, number, row, short
from benchtest.certificate.plots import Figure, draw_figures
from benchtest.certificate.rule import rule_sentences
from benchtest.language import Language, english
from benchtest.metrology.figures import percent
from benchtest.procedure import Check
from benchtest.readings import Origin, Readings
from benchtest.results import Outcome, Override, Result, Run, Suspected, Verdict

FORMAT: Final = "benchtest-certificate/1"
MARK_OF: Final[Mapping[Outcome, str]] = {
    Outcome.PASS: "✓",
    Outcome.FAIL: "✗",
    Outcome.INCONCLUSIVE: "?",
    Outcome.BENCH_FAULT: "!",
    Outcome.ABORTED: "■",
}
_LEAST_REAL_LAST: Final = tuple(Origin)
_CLAIMED: Final = ("claimed_2", "claimed_3")
_NOT_CLAIMED: Final = ("unclaimed_1", "unclaimed_2", "unclaimed_3")
_LABELS: Final = ("head_", "caption_", "col_", "see_", "seal_", "in_words", "signature", "page_of", "nothing_")
"""Beginnings of the keys whose texts the pages put in themselves."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Letterhead:
    """Whose paper it is."""

    name: str
    address: tuple[str, ...]
    logo: str
    """File in the run folder; empty where there is none."""
    logo_digest: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Section:
    """The results of one step."""

    title: str
    summary: str
    rows: tuple[Row, ...]
    reached: bool
    """Something of the step was tested; the pages name a step of which nothing was once, without its rows."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Document:
    """The whole paper, already worded."""

    format: str
    language: str
    """BCP 47."""
    labels: Mapping[str, str]
    """Headings and the like, by their keys in the catalogue."""
    letterhead: Letterhead | None
    title: str
    number: str
    date: str
    """Day of issue, ISO 8601."""
    issued: str
    """Number and day of issue, as they are read."""
    passed: bool
    outcome: str
    outcome_mark: str
    not_a_certificate: str
    """For the band at the head of every page of a report; empty on a certificate."""
    reason: str
    counts: str
    watermark: str
    """One word for across every page; empty when every reading was measured here."""
    origin: str
    """Sentence that goes with the word."""
    overrides: tuple[str, ...]
    """What a named person answers for; printed where nobody can miss it."""
    not_released: str
    """Sentence where the method asks for a second person and nobody has released the board."""
    item: tuple[Fact, ...]
    job: tuple[Fact, ...]
    method: tuple[Fact, ...]
    not_passed: tuple[Row, ...]
    """Where to look, failures first."""
    suspects: tuple[Fact, ...]
    """What is probably wrong: probability, and what it means."""
    suspects_are: str
    """What the suspects are worth."""
    next_checks: tuple[str, ...]
    """What to measure next, then what to expect for each suspect."""
    next_are: str
    not_tested: tuple[Row, ...]
    left_out: tuple[Row, ...]
    """Those of `not_tested` in steps of which something else was tested."""
    not_reached: tuple[Fact, ...]
    """The steps of which nothing was tested, with the number of their checks."""
    not_reached_why: str
    steps_left_out: str
    """The sentence about them."""
    comparison: Comparison | None
    """As found and as left."""
    no_comparison: str
    """Sentence where a board as left names no run as found."""
    attempts: tuple[Fact, ...]
    attempts_said: tuple[str, ...]
    sections: tuple[Section, ...]
    figures: tuple[Figure, ...]
    legend: str
    """How to read the figures."""
    equipment: tuple[Equipment, ...]
    bench: Bench | None
    """What the bench found of itself; None where it did not look."""
    rule: tuple[str, ...]
    traces: tuple[Fact, ...]
    claimed: tuple[str, ...]
    not_claimed: tuple[str, ...]
    terms: tuple[str, ...]
    """The depot's own wording."""
    terms_of: str
    """Their heading."""
    cautions: tuple[str, ...]
    statement: str
    end: str
    """End mark."""
    replaces: str = ""
    """Number of the paper that this one replaces, and why; empty when it is the first."""


def describe(
    run: Run, readings: Readings, words: Language | None = None, *, issued: str = "", replaces: str = ""
) -> Document:
    """Return the document of a finished run, in English unless `words` are of another language.

    It is issued on the day on which the run ended, unless it is another, and may name a paper that it replaces.
    """
    issued = issued or run.ended[:10]
    words = words or english()
    outcome, reason = _outcome(run, words)
    passed = outcome is Outcome.PASS
    large = outcome_word(outcome, words)
    origin = _origin(run)
    results = {result.check.id: result for result in run.results}
    sections = _sections(run, results, words)
    unreached = [section for section in sections if not section.reached]
    untested = tuple(row for section in sections for row in _untested(section))
    why = "; ".join(dict.fromkeys(row.note for each in unreached for row in each.rows))
    identity = short(run.number, words)
    return Document(
        format=FORMAT,
        language=words.tag,
        labels=_labels(words, passed=passed),
        letterhead=_letterhead(run, words),
        title=words.say("title_pass" if passed else "title_other"),
        number=identity,
        date=issued,
        issued=words.say("number_issued", number=identity, day=words.day(issued)),
        passed=passed,
        outcome=large,
        outcome_mark=MARK_OF[outcome],
        not_a_certificate="" if passed else words.say("not_a_certificate", outcome=large),
        reason=short(reason, words),
        counts=counts((_verdict(results, check) for step in run.procedure.steps for check in step.checks), words),
        watermark="" if origin in {Origin.MEASURED, Origin.BY_HAND} else words.say(f"word_{origin.name.lower()}"),
        origin=words.say(f"origin_{origin.name.lower()}"),
        overrides=tuple(short(line, words) for each in run.overrides for line in _overridden(each, words)),
        not_released=words.say("not_released") if passed and run.second_person and not run.job.released_by else "",
        item=item_of(run, words),
        job=job_of(run, words, issued=issued),
        method=method_of(run, words),
        not_passed=_not_passed(run.results, words),
        suspects=tuple(_suspected(one, words) for one in run.suspects),
        suspects_are=words.say("suspects_are"),
        next_checks=tuple(short(words.phrase(line), words) for line in run.next_checks),
        next_are=words.say("next_are"),
        not_tested=untested,
        left_out=tuple(row for section in sections if section.reached for row in _untested(section)),
        not_reached=tuple(
            Fact(label=each.title, value=number(len(each.rows), words, "one_check", "checks")) for each in unreached
        ),
        not_reached_why=why,
        steps_left_out=words.say("steps_left_out", why=why) if unreached else "",
        comparison=comparison_of(run, words),
        no_comparison=words.say("no_before") if run.job.phase == "as left" and run.before is None else "",
        attempts=attempts_of(run, words),
        attempts_said=attempts_said(run, words),
        sections=sections,
        figures=draw_figures(run, readings, words),
        legend=words.say("legend"),
        equipment=equipment_of(run, words),
        bench=bench_of(run, words),
        rule=rule_sentences(run.procedure, words),
        traces=traces_of(run, words),
        claimed=tuple(words.say(key) for key in ("claimed_partly" if untested else "claimed_1", *_CLAIMED)),
        not_claimed=tuple(words.say(key) for key in _NOT_CLAIMED),
        terms=run.depot.terms if run.depot else (),
        terms_of=words.say("head_terms", depot=run.depot.name) if run.depot and run.depot.terms else "",
        cautions=tuple(words.phrase(caution) for caution in ON_PAPER),
        statement=words.say("statement"),
        end=words.say("end_pass" if passed else "end_other", number=identity),
        replaces=short(replaces, words),
    )


def _labels(words: Language, *, passed: bool) -> dict[str, str]:
    """Return what the pages put in themselves; what a certificate has to look at has passed, conditionally."""
    labels = {key: text for key, text in words.texts.items() if key.startswith(_LABELS)}
    if passed:
        labels |= {f"{key}_look": words.say(f"look_conditional_{key}") for key in ("head", "caption")}
    return labels


def _letterhead(run: Run, words: Language) -> Letterhead | None:
    if run.depot is None:
        return None
    logo = next((name for name in run.stationery if name.startswith("logo.")), "")
    return Letterhead(
        name=short(run.depot.name, words),
        address=tuple(short(line, words) for line in run.depot.address),
        logo=logo,
        logo_digest=run.stationery.get(logo, ""),
    )


def _origin(run: Run) -> Origin:
    """Return the least real of everything that the paper rests on, the run as found included."""
    also = (run.before.origin,) if run.before else ()
    origins: tuple[Origin, ...] = (run.origin, *(result.origin for result in run.results), *also)
    return max(origins, key=_LEAST_REAL_LAST.index)


def _overridden(override: Override, words: Language) -> tuple[str, ...]:
    """Return who answers for what, and why: first the person and the reason, then each thing."""
    first = words.say("overridden", by=override.by, reason=override.reason)
    return (first, *(words.phrase(one) for one in override.of))


def _outcome(run: Run, words: Language) -> tuple[Outcome, str]:
    """Return the outcome of the run, or inconclusive when its results contradict a pass."""
    allowed = {Verdict.PASS, Verdict.NOT_TESTED}
    if run.procedure.decision.accept_conditional:
        allowed.add(Verdict.CONDITIONAL_PASS)
    against = [words.phrase(result.check.title) for result in run.results if result.verdict not in allowed]
    if run.outcome is Outcome.PASS and (against or not run.results):
        found = words.say("did_not_pass", check=against[0]) if against else words.say("nothing_looked_at")
        return Outcome.INCONCLUSIVE, words.say("calls_itself_passed", found=found)
    unjudged = run.outcome in {Outcome.BENCH_FAULT, Outcome.ABORTED} and "not judged" not in run.reason
    reason = words.phrase(run.reason)
    return run.outcome, words.say("not_judged", reason=reason) if unjudged else reason


# ---------------------------------------------------------------- results


def _sections(run: Run, results: Mapping[str, Result], words: Language) -> tuple[Section, ...]:
    return tuple(
        Section(
            title=short(words.phrase(step.title), words),
            summary=counts((_verdict(results, check) for check in step.checks), words),
            rows=tuple(row(check, results.get(check.id), words) for check in step.checks),
            reached=any(_verdict(results, check) is not Verdict.NOT_TESTED for check in step.checks),
        )
        for step in run.procedure.steps
        if step.checks
    )


def _not_passed(results: Sequence[Result], words: Language) -> tuple[Row, ...]:
    order = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.CONDITIONAL_PASS)
    return tuple(row(r.check, r, words) for verdict in order for r in results if r.verdict is verdict)


def _suspected(one: Suspected, words: Language) -> Fact:
    sentence = words.phrase(one.sentence)
    if not one.faults:
        return Fact(label=words.number(percent(one.probability)), value=short(f"{sentence}.", words))
    named = f"{words.say('or').join(one.faults)}: {sentence}"
    said = words.say("to_mend", named=named, repair=words.phrase(one.repair))
    return Fact(label=words.number(percent(one.probability)), value=short(said, words))


def _untested(section: Section) -> list[Row]:
    return [row for row in section.rows if row.verdict == Verdict.NOT_TESTED]


def _verdict(results: Mapping[str, Result], check: Check) -> Verdict:
    return results[check.id].verdict if check.id in results else Verdict.NOT_TESTED
