"""What was decided: one result per check, one outcome per run."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from benchtest.metrology.budget import Budget
from benchtest.metrology.conformity import Risk
from benchtest.procedure import Check, Procedure, Timing
from benchtest.readings import Origin


class Verdict(StrEnum):
    """Words of ILAC-G8:09/2019 for a non-binary statement, and one for what was not looked at."""

    PASS = "pass"
    CONDITIONAL_PASS = "conditional pass"
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"
    NOT_TESTED = "not tested"


class Outcome(StrEnum):
    """What a run ended as."""

    PASS = "pass"
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"
    BENCH_FAULT = "bench fault"
    ABORTED = "aborted"


EXIT_CODE: Mapping[Outcome, int] = {
    Outcome.PASS: 0,
    Outcome.FAIL: 1,
    Outcome.INCONCLUSIVE: 3,
    Outcome.BENCH_FAULT: 5,
    Outcome.ABORTED: 6,
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Result:
    """One check, looked at."""

    check: Check
    value: float | str | None
    """SI value, or a word; None when nothing was read."""
    uncertainty: float | None
    """Expanded uncertainty U in the check's unit; None for words and counts."""
    coverage: float | None
    """Coverage factor k of U: that of the rule, or larger where the effective degrees of freedom are few."""
    verdict: Verdict
    note: str = ""
    """What a person should know: why not tested, which channel moved, the raw pattern of a code."""
    origin: Origin
    budget: Budget | None = None
    """Where U comes from; None for words and counts, and in run files from before budgets were kept."""
    freedom: float | None = None
    """Effective degrees of freedom, not truncated."""
    risk: Risk | None = None
    """What the verdict risks; None where there is no uncertainty."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SafeState:
    """How the run left the bench."""

    reached: bool
    """Everything was ordered off."""
    verified: bool
    """Reading back found nothing left on."""
    note: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Job:
    """Who asked for what: identity of the board and of the people, as entered."""

    serial: str
    technician: str = ""
    work_order: str = ""
    customer: str = ""
    revision: str = ""
    phase: str = ""
    """As found, as left, or empty."""
    received: str = ""
    """Day on which the board came in, ISO 8601; empty where nobody said."""
    condition: str = ""
    """On receipt, as stated."""
    straps: str = ""
    """Jumper plugs as they are on the board now, as stated."""
    released_by: str = ""
    """Who released the board to leave; empty while nobody has."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Instrument:
    """A measuring instrument that took part, with its calibration."""

    name: str
    serial: str
    certificate: str
    calibrated: str
    due: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Override:
    """What a named person answers for although a rule speaks against it."""

    by: str
    reason: str
    of: tuple[str, ...]
    """Sentences: what was overridden."""


@dataclass(frozen=True, kw_only=True, slots=True)
class BenchCheck:
    """What a bench found when it checked itself before the board had power."""

    outcome: Outcome
    """Pass; else why no board was judged."""
    reason: str
    results: tuple[Result, ...]
    left_out: tuple[str, ...]
    """In words, what of the bench was not looked at."""
    timing: Timing
    """What the board's readings were judged with: as stated, or as measured where that refutes the statement."""
    reference: str = ""
    """In words, how a known-good board last did on this bench; empty where none is tied to it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Suspected:
    """What is probably wrong with a board that failed: where to look first, and no part of the verdict."""

    faults: tuple[str, ...]
    """As they are written, the likeliest first; several that look the same on this bench; none for an unknown one."""
    probability: float
    sentence: str
    """In a technician's words."""
    repair: str
    """What would mend it; empty for an unknown fault."""

    @property
    def named(self) -> str:
        """Its names and what they mean; of an unknown fault the sentence alone."""
        return f"{' or '.join(self.faults)}: {self.sentence}" if self.faults else self.sentence


@dataclass(frozen=True, kw_only=True, slots=True)
class Depot:
    """Whose paper it is, as its site file says."""

    name: str
    address: tuple[str, ...] = ()
    terms: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Attempt:
    """An earlier run of the same board, however it ended."""

    folder: str
    started: str
    """RFC 3339; empty where its journal cannot be read."""
    outcome: str
    """An outcome, `cut off`, or `unreadable`."""
    phase: str = ""
    origin: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Was:
    """What a check gave in an earlier run."""

    title: str
    value: float | str | None
    uncertainty: float | None
    unit: str
    verdict: Verdict


@dataclass(frozen=True, kw_only=True, slots=True)
class Before:
    """The run of the same board as it was found, before its repair."""

    number: str
    id: str
    digest: str
    """SHA-256 of its run file, hexadecimal."""
    ended: str
    outcome: Outcome
    reason: str
    origin: Origin
    job: Job
    variant: str | None
    options: tuple[str, ...]
    results: Mapping[str, Was]
    """By the id of the check."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Run:
    """A finished run, whole: what `run.json` holds. Recordings lie beside it, by name and digest."""

    format: str
    id: str
    number: str
    """Number of the certificate."""
    software: str
    started: str
    """RFC 3339 with offset."""
    ended: str
    job: Job
    profile: str
    """File name."""
    profile_digest: str
    """SHA-256 of the profile as used, hexadecimal."""
    fixture: str
    fixture_digest: str
    bench: str
    place: str
    ambient: float
    """°C as declared by the fixture."""
    instruments: tuple[Instrument, ...]
    identities: Mapping[str, str]
    """Adapter → what it answered when asked who it is."""
    seed: int | None
    faults: tuple[str, ...]
    """Faults of a simulated board."""
    procedure: Procedure
    results: tuple[Result, ...]
    outcome: Outcome
    reason: str
    """One sentence why the outcome is what it is."""
    safe: SafeState
    origin: Origin
    recordings: Mapping[str, str]
    """File in the run folder → SHA-256."""
    journal_head: str
    """Hash of the journal's last line before this file was written."""
    acknowledged: str = ""
    """Who acknowledged the cautions before the bench was energised; empty where nobody had to."""
    overrides: tuple[Override, ...] = ()
    """Overdue calibrations that somebody answers for."""
    bench_check: BenchCheck | None = None
    """None where a person or a record is the bench, and in run files from before benches checked themselves."""
    mishaps: tuple[str, ...] = ()
    """What was wrong with a simulated bench itself."""
    remarks: tuple[str, ...] = ()
    """What the bench had to bear or has recovered from, such as a CAN controller that was opened anew."""
    suspects: tuple[Suspected, ...] = ()
    """Of a board that failed, where its faults had been tried out before on the simulated bench."""
    next_checks: tuple[str, ...] = ()
    """What would tell the suspects apart soonest."""
    approved: tuple[str, ...] = ()
    """Who had approved the profile, where the site keeps a list of approvers: name, day, key."""
    profile_version: str = ""
    """As its author counts; empty where the profile has none."""
    second_person: bool = False
    """The profile asks that another person than the tester releases the board."""
    before: Before | None = None
    """Of a board as left, the run as found."""
    attempts: tuple[Attempt, ...] = ()
    """Earlier runs of this board in the same folder of runs, oldest first."""
    attempts_left_out: int = 0
    """Still earlier ones, which are not listed."""
    depot: Depot | None = None
    language: str = "en"
    """Tag of a shipped language, or the name of the language file in the run folder."""
    stationery: Mapping[str, str] = field(default_factory=dict)
    """Files in the run folder that the papers are made with, logo and language file → SHA-256."""
