"""Cases as tests need them: begun, and gone on with."""

from datetime import UTC, datetime
from typing import Any

from benchtest.depot import entries
from benchtest.depot.case import Case, followed
from benchtest.depot.entries import BEGINNING, Entry, Fact, Intake, Repaired
from benchtest.results import Outcome

AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def judged(phase: Any, outcome: Outcome = Outcome.PASS) -> entries.Tested:
    digest = "ab" * 32
    return entries.Tested(
        phase=phase, run="N", folder="f", run_digest=digest, profile="p.yaml", profile_digest=digest,
        outcome=outcome, origin="measured",
    )  # fmt: skip


def begun(**intake: Any) -> Case:
    fact = Intake(part="GZ-2140", serial="S1", **intake)
    entry = Entry(work_order="W", number=1, at=AT.isoformat(), by="Ann", fact=fact, previous=BEGINNING)
    return followed(None, entry)


def then(case: Case, *facts: tuple[Fact, str] | Fact) -> Case:
    """Return a case after more facts, each said by somebody; by Bo where nobody is named."""
    for one in facts:
        fact, by = one if isinstance(one, tuple) else (one, "Bo")
        number = len(case.entries) + 1
        entry = Entry(work_order="W", number=number, at=AT.isoformat(), by=by, fact=fact, previous=case.head)
        case = followed(case, entry)
    return case


FOUND = judged("as found", Outcome.FAIL)
LEFT = judged("as left")
NEW_K3 = Repaired(what="replaced", part="K3", replaced=True, cost=4000, minutes=15)
