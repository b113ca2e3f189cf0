"""Who, what, where and with what: the labelled lines of a paper, in the order in which they are read.

Source: ISO/IEC 17025:2017, 7.8.2.1, for what is named; what the run does not know is called not stated.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from benchtest.certificate.lines import Fact, as_read, facts, number, short
from benchtest.language import Language
from benchtest.metrology.figures import plain
from benchtest.results import Result, Run, Verdict


@dataclass(frozen=True, kw_only=True, slots=True)
class Equipment:
    """One instrument that took part."""

    name: str
    serial: str
    certificate: str
    calibrated: str
    due: str


JOB_LINES: Final = (
    "customer",
    "work_order",
    "received",
    "begun",
    "ended",
    "issued",
    "tested_by",
    "released_by",
    "bench",
    "place",
)
"""What is told of the job, in the order of its lines."""


def item_of(run: Run, words: Language) -> tuple[Fact, ...]:
    """Return what was tested, and how it came."""
    procedure, job = run.procedure, run.job
    phase = {"as found": "phase_as_found", "as left": "phase_as_left"}.get(job.phase)
    return facts(
        words,
        {
            "board": procedure.board,
            "part": procedure.part,
            "serial": job.serial,
            "revision": job.revision or words.say("not_stated"),
            "variant": procedure.variant or "",
            "options": ", ".join(procedure.options),
            "not_fitted": ", ".join(procedure.not_fitted),
            "straps": job.straps or words.say("not_stated"),
            "straps_measured": straps(run, words),
            "phase": words.say(phase) if phase else job.phase,
            "condition": job.condition or words.say("not_stated"),
        },
    )


def straps(run: Run, words: Language) -> str:
    """Return what was measured of the bridges of jumper plugs; empty where the profile wants none."""
    looked = [one for one in run.results if one.check.id.rpartition(".")[2].startswith("bridge-")]
    return "; ".join(_strap(one, words) for one in looked)


def _strap(one: Result, words: Language) -> str:
    where = one.check.title.replace(" bridge ", " ")
    match one.verdict:
        case Verdict.PASS:
            return words.say("strap_joined", where=where)
        case Verdict.NOT_TESTED:
            return words.say("strap_not_tested", where=where)
        case _:
            return words.say("strap_not_joined", where=where, found=as_read(one, words))


def job_of(run: Run, words: Language, *, issued: str) -> tuple[Fact, ...]:
    """Return for whom, by whom, when and where."""
    job = run.job
    told = (
        job.customer,
        job.work_order,
        words.day(job.received),
        words.moment(run.started),
        words.moment(run.ended),
        words.day(issued),
        job.technician,
        job.released_by or words.say("nobody_yet"),
        run.bench,
        run.place,
    )
    return facts(words, dict(zip(JOB_LINES, told, strict=True)), keep_empty=True)


def job_line(place: int, labels: Sequence[str], words: Language) -> str:
    """Return what the line about the job at a place, from 1, is called that a copy does not have.

    `labels` are those of all its lines, empty where one is missing. Returns nothing where the lines beside it are not
    called so in this language, or are not as many: what stood there cannot be known then.
    """
    called = [words.say(key) for key in JOB_LINES]
    same = len(labels) == len(called) and all(one in {"", name} for one, name in zip(labels, called, strict=True))
    return called[place - 1] if same and 0 < place <= len(called) else ""


def method_of(run: Run, words: Language) -> tuple[Fact, ...]:
    """Return by what it was tested."""
    test = run.procedure.contact_test
    volts, ohms = words.number(plain(test.voltage, "V")), words.number(plain(test.series, "Ω"))
    return facts(
        words,
        {
            "method": words.say("method_is", file=run.profile),
            "method_version": run.profile_version or words.say("not_stated"),
            "method_digest": run.profile_digest,
            "method_approved": "; ".join(run.approved),
            "fixture": run.fixture,
            "fixture_digest": run.fixture_digest,
            "ambient": words.say("ambient_is", ambient=words.number(plain(run.ambient, "°C"))),
            "software": run.software,
            "contact_test": words.say("contact_test_is", voltage=volts, series=ohms),
        },
    )


def traces_of(run: Run, words: Language) -> tuple[Fact, ...]:
    """Return what identifies the bench and the evidence."""
    safe = run.safe
    reached = words.say("all_off" if safe.reached else "not_off")
    verified = words.say("read_back" if safe.verified else "not_read_back")
    adapters = tuple(
        Fact(label=words.say("adapter", name=short(name, words)), value=short(answer, words))
        for name, answer in run.identities.items()
    )
    rest = {
        "bench_left": "; ".join(filter(None, [reached, verified, words.phrase(safe.note)])),
        "run": run.id,
        "journal_head": run.journal_head,
        "evidence": words.say("evidence_is", files=number(len(run.recordings), words, "one_file", "files")),
        "acknowledged": run.acknowledged,
        "remarks": words.phrase("; ".join(run.remarks)),
        "seed": "" if run.seed is None else str(run.seed),
        "faults": ", ".join(run.faults),
        "mishaps": ", ".join(run.mishaps),
    }
    return (*adapters, *facts(words, rest))


def equipment_of(run: Run, words: Language) -> tuple[Equipment, ...]:
    """Return the instruments with their calibration; what was overdue says so."""
    return tuple(
        Equipment(
            name=short(each.name, words),
            serial=short(each.serial, words),
            certificate=short(each.certificate, words),
            calibrated=short(words.day(each.calibrated), words),
            due=_due(each.due, run, words),
        )
        for each in run.instruments
    )


def _due(due: str, run: Run, words: Language) -> str:
    shown = short(words.day(due), words)
    return words.say("overdue", due=shown) if due < run.started[:10] else shown
