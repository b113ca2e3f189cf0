"""From a finished run to a plain document: every string as it will be read, shared by PDF, HTML and JSON.

The paper says what was looked at and what came of it, and nothing more. It is a certificate only when the run passed
and no single result contradicts that; everything else is a report of findings.

Source: ISO/IEC 17025:2017, 7.8.2.1, 7.8.3.1 and 7.8.6 as a list of what a report of tests shows (no accreditation is
implied); ILAC-G8:09/2019, 4.2, for the decision rule and its words; cautions are common practice, no source.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from benchtest.cautions import ON_PAPER
from benchtest.certificate import wording
from benchtest.certificate.plots import Figure, draw_figures
from benchtest.certificate.rule import rule_sentences
from benchtest.metrology.figures import chance, figures, permitted, plain, unusual
from benchtest.procedure import Check, Interval
from benchtest.readings import Origin, Readings
from benchtest.results import Outcome, Override, Result, Run, Verdict

FORMAT: Final = "benchtest-certificate/1"
MARK: Final[Mapping[Verdict, str]] = {
    Verdict.PASS: "✓",
    Verdict.CONDITIONAL_PASS: "◐",
    Verdict.CONDITIONAL_FAIL: "◓",
    Verdict.FAIL: "✗",
    Verdict.NOT_TESTED: "○",
}
"""A shape beside each word, so that neither colour nor sharp eyes are needed."""
_OUTCOME_MARK: Final[Mapping[Outcome, str]] = {
    Outcome.PASS: "✓",
    Outcome.FAIL: "✗",
    Outcome.INCONCLUSIVE: "?",
    Outcome.BENCH_FAULT: "!",
    Outcome.ABORTED: "■",
}
_LEAST_REAL_LAST: Final = tuple(Origin)
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


@dataclass(frozen=True, kw_only=True, slots=True)
class Section:
    """The results of one step."""

    title: str
    summary: str
    rows: tuple[Row, ...]
    reached: bool
    """Something of the step was tested; the pages name a step of which nothing was once, without its rows."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Equipment:
    """One instrument that took part."""

    name: str
    serial: str
    certificate: str
    calibrated: str
    due: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Document:
    """The whole paper, already worded."""

    format: str
    title: str
    number: str
    date: str
    """Day of issue, ISO 8601."""
    passed: bool
    outcome: str
    outcome_mark: str
    reason: str
    counts: str
    watermark: str
    """One word for across every page; empty when every reading was measured here."""
    origin: str
    """Sentence that goes with the word."""
    overrides: tuple[str, ...]
    """What a named person answers for; printed where nobody can miss it."""
    item: tuple[Fact, ...]
    job: tuple[Fact, ...]
    method: tuple[Fact, ...]
    not_passed: tuple[Row, ...]
    """Where to look, failures first."""
    not_tested: tuple[Row, ...]
    left_out: tuple[Row, ...]
    """Those of `not_tested` in steps of which something else was tested."""
    not_reached: tuple[Fact, ...]
    """The steps of which nothing was tested, with the number of their checks."""
    not_reached_why: str
    sections: tuple[Section, ...]
    figures: tuple[Figure, ...]
    legend: str
    """How to read the figures."""
    equipment: tuple[Equipment, ...]
    rule: tuple[str, ...]
    traces: tuple[Fact, ...]
    claimed: tuple[str, ...]
    not_claimed: tuple[str, ...]
    cautions: tuple[str, ...]
    statement: str


def describe(run: Run, readings: Readings) -> Document:
    """Return the document of a finished run."""
    outcome, reason = _outcome(run)
    passed = outcome is Outcome.PASS
    origin = max((run.origin, *(result.origin for result in run.results)), key=_LEAST_REAL_LAST.index)
    results = {result.check.id: result for result in run.results}
    sections = _sections(run, results)
    unreached = [section for section in sections if not section.reached]
    return Document(
        format=FORMAT,
        title="Test certificate" if passed else "Report of findings",
        number=_short(run.number),
        date=run.ended[:10],
        passed=passed,
        outcome=str(outcome).upper(),
        outcome_mark=_OUTCOME_MARK[outcome],
        reason=_short(reason),
        counts=_counts(_verdict(results, check) for step in run.procedure.steps for check in step.checks),
        watermark="" if origin in {Origin.MEASURED, Origin.BY_HAND} else str(origin).upper(),
        origin=wording.ORIGIN[origin],
        overrides=tuple(_short(line) for each in run.overrides for line in _overridden(each)),
        item=_item(run),
        job=_job(run),
        method=_method(run),
        not_passed=_not_passed(run.results),
        not_tested=tuple(row for section in sections for row in _untested(section)),
        left_out=tuple(row for section in sections if section.reached for row in _untested(section)),
        not_reached=tuple(Fact(label=each.title, value=_number(len(each.rows), "check")) for each in unreached),
        not_reached_why="; ".join(dict.fromkeys(row.note for each in unreached for row in each.rows)),
        sections=sections,
        figures=draw_figures(run, readings),
        legend=wording.LEGEND,
        equipment=_equipment(run),
        rule=tuple(_short(line) for line in rule_sentences(run.procedure)),
        traces=_traces(run),
        claimed=wording.CLAIMED,
        not_claimed=wording.NOT_CLAIMED,
        cautions=ON_PAPER,
        statement=wording.STATEMENT,
    )


def _overridden(override: Override) -> tuple[str, ...]:
    """Return who answers for what, and why: first the person and the reason, then each thing."""
    return (f"CALIBRATION OVERRIDDEN by {override.by}: {override.reason}", *override.of)


def _outcome(run: Run) -> tuple[Outcome, str]:
    """Return the outcome of the run, or inconclusive when its results contradict a pass."""
    allowed = {Verdict.PASS, Verdict.NOT_TESTED}
    if run.procedure.decision.accept_conditional:
        allowed.add(Verdict.CONDITIONAL_PASS)
    against = [result.check.title for result in run.results if result.verdict not in allowed]
    if run.outcome is Outcome.PASS and (against or not run.results):
        about = f"{against[0]} did not pass" if against else "nothing was looked at"
        return Outcome.INCONCLUSIVE, f"the run calls itself passed, but {about}"
    unjudged = run.outcome in {Outcome.BENCH_FAULT, Outcome.ABORTED} and "not judged" not in run.reason
    return run.outcome, f"{run.reason}; the board is not judged" if unjudged else run.reason


def _facts(pairs: Mapping[str, str], *, keep_empty: bool = False) -> tuple[Fact, ...]:
    return tuple(Fact(label=k, value=_short(v) or "not stated") for k, v in pairs.items() if v or keep_empty)


def _item(run: Run) -> tuple[Fact, ...]:
    procedure = run.procedure
    return _facts(
        {
            "Board": procedure.board,
            "Part": procedure.part,
            "Serial number": run.job.serial,
            "Revision": run.job.revision or "not stated",
            "Variant": procedure.variant or "",
            "Options": ", ".join(procedure.options),
            "Not fitted": ", ".join(procedure.not_fitted),
            "Condition": run.job.phase,
        }
    )


def _job(run: Run) -> tuple[Fact, ...]:
    return _facts(
        {
            "Customer": run.job.customer,
            "Work order": run.job.work_order,
            "Tested by": run.job.technician,
            "Begun": _moment(run.started),
            "Ended": _moment(run.ended),
            "Bench": run.bench,
            "Place": run.place,
        },
        keep_empty=True,
    )


def _method(run: Run) -> tuple[Fact, ...]:
    return _facts(
        {
            "Method": f"profile {run.profile}",
            "SHA-256 of the profile": run.profile_digest,
            "Bench description": run.fixture,
            "SHA-256 of the bench description": run.fixture_digest,
            "Ambient": f"{plain(run.ambient, '°C')}, as declared for the bench, not measured",
            "Software": run.software,
            "Contact test": (
                f"{plain(run.procedure.contact_test.voltage, 'V')} "
                f"behind {plain(run.procedure.contact_test.series, 'Ω')}"
            ),
        }
    )


def _traces(run: Run) -> tuple[Fact, ...]:
    safe = run.safe
    reached = "everything ordered off" if safe.reached else "NOT CONFIRMED: not everything could be ordered off"
    verified = "read back, nothing left on" if safe.verified else "NOT VERIFIED by reading back"
    facts = {f"Adapter {name}": answer for name, answer in run.identities.items()}
    facts |= {
        "Bench as left": "; ".join(filter(None, [reached, verified, safe.note])),
        "Run": run.id,
        "Journal head": run.journal_head,
        "Evidence": f"{_number(len(run.recordings), 'file')} in the run folder, each with its SHA-256 in run.json",
        "Cautions acknowledged by": run.acknowledged,
        "Remarks on the bench": "; ".join(run.remarks),
        "Seed of the simulation": "" if run.seed is None else str(run.seed),
        "Simulated faults": ", ".join(run.faults),
    }
    return _facts(facts)


def _equipment(run: Run) -> tuple[Equipment, ...]:
    return tuple(
        Equipment(
            name=_short(each.name),
            serial=_short(each.serial),
            certificate=_short(each.certificate),
            calibrated=_short(each.calibrated),
            due=_short(each.due) + (" – OVERDUE on the day of test" if each.due < run.started[:10] else ""),
        )
        for each in run.instruments
    )


# ---------------------------------------------------------------- results


def _sections(run: Run, results: Mapping[str, Result]) -> tuple[Section, ...]:
    return tuple(
        Section(
            title=_short(step.title),
            summary=_counts(_verdict(results, check) for check in step.checks),
            rows=tuple(_row(check, results.get(check.id)) for check in step.checks),
            reached=any(_verdict(results, check) is not Verdict.NOT_TESTED for check in step.checks),
        )
        for step in run.procedure.steps
        if step.checks
    )


def _not_passed(results: Sequence[Result]) -> tuple[Row, ...]:
    order = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.CONDITIONAL_PASS)
    return tuple(_row(r.check, r) for verdict in order for r in results if r.verdict is verdict)


def _untested(section: Section) -> list[Row]:
    return [row for row in section.rows if row.verdict == Verdict.NOT_TESTED]


def _number(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _verdict(results: Mapping[str, Result], check: Check) -> Verdict:
    return results[check.id].verdict if check.id in results else Verdict.NOT_TESTED


def _row(check: Check, result: Result | None) -> Row:
    verdict = result.verdict if result else Verdict.NOT_TESTED
    limits = check.permitted
    if isinstance(limits, Interval):
        limits = permitted(limits.low, limits.high, check.unit)
    return Row(
        mark=MARK[verdict],
        verdict=str(verdict),
        check=_short(check.title),
        value=_short(_found(result) if result else "–"),
        permitted=_short(limits),
        probe=_short(check.probe),
        note=_short(_note(result) if result else "never reached"),
    )


def _found(result: Result) -> str:
    """Return value and U; k beside them where it is not 2, as the statement of the rule promises."""
    return figures(result.value, result.uncertainty, result.check.unit, coverage=unusual(result.coverage))


def _note(result: Result) -> str:
    """Return the note; of a number that did not simply pass, also how likely it is that the item conforms."""
    likely = result.risk is not None and result.verdict is not Verdict.PASS
    said = f"conforms with a probability of {chance(result.risk.conformity)}" if likely and result.risk else ""
    return "; ".join(filter(None, [result.note, said]))


def _counts(verdicts: Iterable[Verdict]) -> str:
    counter = Counter(verdicts)
    return ", ".join(f"{counter[verdict]} {verdict}" for verdict in Verdict if counter[verdict]) or "no checks"


def _moment(text: str) -> str:
    """Return RFC 3339 as people read it, to the second, with its offset."""
    return datetime.fromisoformat(text).isoformat(sep=" ", timespec="seconds")


def _short(text: str) -> str:
    if len(text) <= LONGEST:
        return text
    return f"{text[:LONGEST]}… ({len(text)} characters, all of them in run.json)"
