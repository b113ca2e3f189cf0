"""From a finished run to a plain document: every string as it will be read, shared by PDF, HTML and JSON.

The paper says what was looked at and what came of it, and nothing more. It is a certificate only when the run passed
and no single result contradicts that; everything else is a report of findings.

Source: ISO/IEC 17025:2017, 7.8.2.1, 7.8.3.1 and 7.8.6 as a list of what a report of tests shows (no accreditation is
implied); ILAC-G8:09/2019, 4.2, for the decision rule and its words; cautions are common practice, no source.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from benchtest.cautions import ON_PAPER
from benchtest.certificate import wording
from benchtest.certificate.bench import Bench, bench_of
from benchtest.certificate.lines import Fact, Row, counts, facts, number, row, short
from benchtest.certificate.plots import Figure, draw_figures
from benchtest.certificate.rule import rule_sentences
from benchtest.metrology.figures import percent, plain
from benchtest.procedure import Check
from benchtest.readings import Origin, Readings
from benchtest.results import Outcome, Override, Result, Run, Suspected, Verdict

FORMAT: Final = "benchtest-certificate/1"
_OUTCOME_MARK: Final[Mapping[Outcome, str]] = {
    Outcome.PASS: "✓",
    Outcome.FAIL: "✗",
    Outcome.INCONCLUSIVE: "?",
    Outcome.BENCH_FAULT: "!",
    Outcome.ABORTED: "■",
}
_LEAST_REAL_LAST: Final = tuple(Origin)


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
    suspects: tuple[Fact, ...]
    """What is probably wrong: probability, and what it means."""
    suspects_are: str
    """What the suspects are worth."""
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
    bench: Bench | None
    """What the bench found of itself; None where it did not look."""
    rule: tuple[str, ...]
    traces: tuple[Fact, ...]
    claimed: tuple[str, ...]
    not_claimed: tuple[str, ...]
    cautions: tuple[str, ...]
    statement: str
    replaces: str = ""
    """Number of the paper that this one replaces, and why; empty when it is the first."""


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
        number=short(run.number),
        date=run.ended[:10],
        passed=passed,
        outcome=str(outcome).upper(),
        outcome_mark=_OUTCOME_MARK[outcome],
        reason=short(reason),
        counts=counts(_verdict(results, check) for step in run.procedure.steps for check in step.checks),
        watermark="" if origin in {Origin.MEASURED, Origin.BY_HAND} else str(origin).upper(),
        origin=wording.ORIGIN[origin],
        overrides=tuple(short(line) for each in run.overrides for line in _overridden(each)),
        item=_item(run),
        job=_job(run),
        method=_method(run),
        not_passed=_not_passed(run.results),
        suspects=tuple(_suspected(one) for one in run.suspects),
        suspects_are=wording.SUSPECTS,
        not_tested=tuple(row for section in sections for row in _untested(section)),
        left_out=tuple(row for section in sections if section.reached for row in _untested(section)),
        not_reached=tuple(Fact(label=each.title, value=number(len(each.rows), "check")) for each in unreached),
        not_reached_why="; ".join(dict.fromkeys(row.note for each in unreached for row in each.rows)),
        sections=sections,
        figures=draw_figures(run, readings),
        legend=wording.LEGEND,
        equipment=_equipment(run),
        bench=bench_of(run),
        rule=tuple(short(line) for line in rule_sentences(run.procedure)),
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


def _item(run: Run) -> tuple[Fact, ...]:
    procedure = run.procedure
    return facts(
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
    return facts(
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
    return facts(
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
    found = {f"Adapter {name}": answer for name, answer in run.identities.items()}
    found |= {
        "Bench as left": "; ".join(filter(None, [reached, verified, safe.note])),
        "Run": run.id,
        "Journal head": run.journal_head,
        "Evidence": f"{number(len(run.recordings), 'file')} in the run folder, each with its SHA-256 in run.json",
        "Cautions acknowledged by": run.acknowledged,
        "Remarks on the bench": "; ".join(run.remarks),
        "Seed of the simulation": "" if run.seed is None else str(run.seed),
        "Simulated faults": ", ".join(run.faults),
        "Simulated faults of the bench": ", ".join(run.mishaps),
    }
    return facts(found)


def _equipment(run: Run) -> tuple[Equipment, ...]:
    return tuple(
        Equipment(
            name=short(each.name),
            serial=short(each.serial),
            certificate=short(each.certificate),
            calibrated=short(each.calibrated),
            due=short(each.due) + (" – OVERDUE on the day of test" if each.due < run.started[:10] else ""),
        )
        for each in run.instruments
    )


# ---------------------------------------------------------------- results


def _sections(run: Run, results: Mapping[str, Result]) -> tuple[Section, ...]:
    return tuple(
        Section(
            title=short(step.title),
            summary=counts(_verdict(results, check) for check in step.checks),
            rows=tuple(row(check, results.get(check.id)) for check in step.checks),
            reached=any(_verdict(results, check) is not Verdict.NOT_TESTED for check in step.checks),
        )
        for step in run.procedure.steps
        if step.checks
    )


def _not_passed(results: Sequence[Result]) -> tuple[Row, ...]:
    order = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL, Verdict.CONDITIONAL_PASS)
    return tuple(row(r.check, r) for verdict in order for r in results if r.verdict is verdict)


def _suspected(one: Suspected) -> Fact:
    said = f"{one.named} To mend it: {one.repair}." if one.faults else f"{one.named}."
    return Fact(label=percent(one.probability), value=short(said))


def _untested(section: Section) -> list[Row]:
    return [row for row in section.rows if row.verdict == Verdict.NOT_TESTED]


def _verdict(results: Mapping[str, Result], check: Check) -> Verdict:
    return results[check.id].verdict if check.id in results else Verdict.NOT_TESTED


def _moment(text: str) -> str:
    """Return RFC 3339 as people read it, to the second, with its offset."""
    return datetime.fromisoformat(text).isoformat(sep=" ", timespec="seconds")
