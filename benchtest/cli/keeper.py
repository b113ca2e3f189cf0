"""What happens in a run, written down as it happens: the journal, the recordings, and what the screen is told of it."""

from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from benchtest.cli.screen import Screen
from benchtest.clock import RealClock, wall_time
from benchtest.errors import Aborted
from benchtest.instruments import Asker
from benchtest.procedure import Step
from benchtest.readings import Evidence, Recorded
from benchtest.records.journal import Journal
from benchtest.records.labels import clean_text
from benchtest.results import BenchCheck, Outcome, Result, SafeState


@dataclass(slots=True)
class Keeper:
    """Writes everything down as it happens."""

    folder: Path
    journal: Journal
    screen: Screen
    recordings: dict[str, str] = field(default_factory=dict)
    clock: RealClock = field(default_factory=RealClock)
    at: float = 0.0
    remarks: list[str] = field(default_factory=list)
    people: list[str] = field(default_factory=list)
    """Who has worked the bench by hand."""
    left: list[SafeState] = field(default_factory=list)
    """How the bench was left; empty while it is in use."""
    problem: OSError | None = None
    """Why an answer could not be kept. The person is asked no more than what switches off."""

    def heard(self, request: str, typed: str | None) -> None:
        """Keep what a person was asked and what they typed; None when nobody answered.

        Raises nothing: an answer that the disk does not take must still be heard, above all that everything is off.
        """
        if self.problem is not None:
            return
        try:
            self.journal.append("asked", at=self.clock.now(), request=request, typed=typed, time=now())
        except OSError as problem:
            self.problem = problem

    def begins(self, step: Step, at: float) -> None:
        self.bench_begins(step, at)
        self.screen.begins(step)

    def bench_begins(self, step: Step, at: float) -> None:
        """Note that a step begins, without a word to the person: the bench's own are over soon."""
        self.at = at
        self.journal.append("step begins", at=at, step=step.id)

    def seen(self, name: str, evidence: Evidence) -> None:
        from benchtest.records.evidence import as_fields, save_recorded

        if isinstance(evidence, Recorded):
            path, digest = save_recorded(self.folder, name, evidence)
            self.recordings[path] = digest
            self.journal.append("recorded", at=self.at, evidence=name, file=path, digest=digest)
        else:
            fields = as_fields(evidence)
            self.journal.append("read", at=self.at, evidence=name, found=repr(evidence), fields=fields)

    def judged(self, step: Step, results: tuple[Result, ...], at: float) -> None:
        self.bench_judged(step, results, at)
        self.screen.judged(step, results)

    def bench_judged(self, step: Step, results: tuple[Result, ...], at: float) -> None:
        self.at = at
        words = {result.check.id: [result.verdict.value, result.value, result.uncertainty] for result in results}
        self.journal.append("step judged", at=at, step=step.id, results=words, time=now())

    def checked(self, bench: BenchCheck) -> None:
        """Note what the bench found of itself."""
        facts = {"outcome": bench.outcome.value, "reason": bench.reason, "left_out": list(bench.left_out)}
        self.journal.append("bench checked", at=self.at, **facts, timing=asdict(bench.timing))
        self.screen.checked(bench)

    def remarked(self, text: str, at: float) -> None:
        self.journal.append("remark", at=at, text=text)
        self.remarks.append(text)

    def ended(self, outcome: Outcome, reason: str, safe: SafeState) -> None:
        self.left.append(safe)
        if self.problem is not None:
            raise self.problem
        facts: dict[str, Any] = {"reached": safe.reached, "verified": safe.verified, "note": safe.note}
        self.journal.append("ended", at=self.at, outcome=outcome.value, reason=reason, safe=facts)


@dataclass(frozen=True, slots=True)
class Heard:
    """An asker whose every question and answer goes into the journal."""

    asker: Asker
    keeper: Keeper

    def tell(self, text: str) -> None:
        self.asker.tell(text)

    def ask(self, prompt: str) -> str:
        try:
            typed = self.asker.ask(prompt)
        except Aborted:
            self.keeper.heard(prompt.strip(), None)
            raise
        self.keeper.heard(prompt.strip(), clean_text(typed))
        return typed


def now() -> str:
    """Return the time of day, RFC 3339, to the second."""
    return wall_time().isoformat(timespec="seconds")
