"""One run from opened documents to a finished folder: journal while it goes on, run file and papers afterwards.

The rig with its judge, and then the papers, are loaded when it is their turn: a refused document waits for neither.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchtest import __version__
from benchtest.cautions import CAUTIONS
from benchtest.cli.consent import calibration, refuse_unacknowledged
from benchtest.cli.documents import Prepared
from benchtest.cli.screen import Screen
from benchtest.clock import RealClock, wall_time
from benchtest.errors import BenchtestError, NotKept
from benchtest.procedure import Step
from benchtest.readings import Evidence, Origin, Recorded
from benchtest.records.folder import RUN_FORMAT, create_folder, write_run
from benchtest.records.journal import Journal
from benchtest.results import Instrument, Job, Outcome, Override, Result, Run, SafeState
from benchtest.rig import Virtual, open_rig

if TYPE_CHECKING:
    from benchtest.perform import Performed


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """What the person asked for."""

    job: Job
    ports: dict[str, str]
    virtual: Virtual
    root: Path
    """Folder of all runs."""
    acknowledged: str = ""
    """Who acknowledged the cautions; empty when nobody did."""
    override: tuple[str, str] | None = None
    """Who answers for an overdue calibration, and why."""


@dataclass(slots=True)
class _Keeper:
    """Writes everything down as it happens."""

    folder: Path
    journal: Journal
    screen: Screen
    recordings: dict[str, str]
    at: float = 0.0

    def begins(self, step: Step, at: float) -> None:
        self.at = at
        self.journal.append("step begins", at=at, step=step.id)
        self.screen.begins(step)

    def seen(self, name: str, evidence: Evidence) -> None:
        from benchtest.records.evidence import save_recorded

        if isinstance(evidence, Recorded):
            path, digest = save_recorded(self.folder, name, evidence)
            self.recordings[path] = digest
            self.journal.append("recorded", at=self.at, evidence=name, file=path, digest=digest)
        else:
            self.journal.append("read", at=self.at, evidence=name, found=repr(evidence))

    def judged(self, step: Step, results: tuple[Result, ...], at: float) -> None:
        self.at = at
        words = {result.check.id: [result.verdict.value, result.value, result.uncertainty] for result in results}
        self.journal.append("step judged", at=at, step=step.id, results=words)
        self.screen.judged(step, results)

    def ended(self, outcome: Outcome, reason: str, safe: SafeState) -> None:
        facts: dict[str, Any] = {"reached": safe.reached, "verified": safe.verified, "note": safe.note}
        self.journal.append("ended", at=self.at, outcome=outcome.value, reason=reason, safe=facts)


@dataclass(frozen=True, kw_only=True, slots=True)
class Held:
    """A finished run, where it lies, and how long its parts took here."""

    run: Run
    folder: Path
    performing: float
    """Seconds of this computer for performing and judging."""
    papers: float
    """Seconds of this computer for run file, JUnit file and certificate."""


def hold(prepared: Prepared, asked: Asked, screen: Screen, stopped: Callable[[], str]) -> Held:
    """Put one board through its procedure and return the finished run and its folder.

    `stopped` says why the run shall stop, or nothing.
    Raises RigError when the bench could not even be opened; the folder then holds the journal that says so. Raises
    NotKept when the disk takes no more; the bench is off then. Raises PlanError when an instrument is overdue and
    nobody answers for it, and click's UsageError when the bench is real and nobody has acknowledged its cautions.
    """
    with _kept_below(asked.root):
        return _hold(prepared, asked, screen, stopped)


@contextmanager
def _kept_below(root: Path) -> Iterator[None]:
    try:
        yield
    except BenchtestError:
        raise  # a silent adapter is an OSError too
    except OSError as problem:
        reason = f"{problem.filename or root}: {problem.strerror or problem}, so the run cannot be kept"
        raise NotKept(f"{reason} (try making room there, or another folder with --runs)") from problem


def _hold(prepared: Prepared, asked: Asked, screen: Screen, stopped: Callable[[], str]) -> Held:
    started, clock = wall_time(), RealClock()
    overrides = calibration(prepared.fixture.fixture, started.date(), asked.override)
    folder = create_folder(asked.root, started=started, part=prepared.procedure.part, serial=asked.job.serial)
    with Journal.open(folder / "journal.jsonl") as journal:
        keeper = _Keeper(folder, journal, screen, {})
        journal.append("begins", at=0.0, **_beginning(prepared, asked, started))
        _note_consent(journal, asked, overrides)
        before = clock.now()
        performed, identities = _on_the_rig(prepared, asked, keeper, stopped)
        performing = clock.now() - before
        from benchtest.records.evidence import save_scalars

        path, digest = save_scalars(folder, performed.readings)
        keeper.recordings[path] = digest
        run = _run(prepared, asked, started, folder, performed, keeper, identities)
        run = replace(run, acknowledged=asked.acknowledged, overrides=overrides)
    before = clock.now()
    from benchtest.certificate import write_certificate
    from benchtest.records.junit import write_junit

    write_run(folder, run)
    write_junit(folder, run)
    write_certificate(run, performed.readings, folder)
    return Held(run=run, folder=folder, performing=performing, papers=clock.now() - before)


def _note_consent(journal: Journal, asked: Asked, overrides: tuple[Override, ...]) -> None:
    """Write down who acknowledged the cautions and who answers for what, before anything is opened."""
    if asked.acknowledged:
        keys = [caution.key for caution in CAUTIONS]
        journal.append("cautions acknowledged", at=0.0, by=asked.acknowledged, cautions=keys)
    for one in overrides:
        journal.append("calibration overridden", at=0.0, by=one.by, reason=one.reason, of=list(one.of))


def _beginning(prepared: Prepared, asked: Asked, started: datetime) -> dict[str, Any]:
    return {
        "started": started.isoformat(),
        "software": __version__,
        "profile": prepared.profile.digest,
        "fixture": prepared.fixture.digest,
        "serial": asked.job.serial,
        "seed": asked.virtual.seed,
        "faults": [fault.text for fault in asked.virtual.faults],
    }


def _on_the_rig(
    prepared: Prepared, asked: Asked, keeper: _Keeper, stopped: Callable[[], str]
) -> "tuple[Performed, dict[str, str]]":
    from benchtest.perform import Watcher, perform

    watcher = Watcher(begins=keeper.begins, seen=keeper.seen, judged=keeper.judged, ended=keeper.ended)
    rig = open_rig(
        prepared.procedure,
        prepared.fitted,
        fixture=prepared.fixture.fixture,
        harness=prepared.harness,
        ports=asked.ports,
        virtual=asked.virtual,
    )
    performed: Performed | None = None
    try:
        with rig as opened:
            identities = dict(opened.identities)
            if opened.origin is Origin.MEASURED and not asked.acknowledged:
                keeper.journal.append("cautions not acknowledged", at=keeper.at)
                refuse_unacknowledged(prepared.fixture.fixture)
            performed = perform(prepared.procedure, replace(opened, stopped=stopped), watcher)
    except BenchtestError as problem:
        keeper.journal.append("bench not opened or not closed", at=keeper.at, problem=str(problem))
        if performed is None:
            raise  # a lost adapter cannot be closed either; what was performed until then is kept
    return performed, identities


def _run(
    prepared: Prepared,
    asked: Asked,
    started: datetime,
    folder: Path,
    performed: "Performed",
    keeper: _Keeper,
    identities: dict[str, str],
) -> Run:
    fixture = prepared.fixture.fixture
    simulated = performed.readings.origin is Origin.SIMULATED
    short = folder.name.rpartition("-")[2]
    return Run(
        format=RUN_FORMAT,
        id=short,
        number=f"{started:%Y%m%d}-{short.upper()}",
        software=f"benchtest {__version__}",
        started=started.isoformat(timespec="seconds"),
        ended=wall_time().isoformat(timespec="seconds"),
        job=asked.job,
        profile=prepared.profile.path.name,
        profile_digest=prepared.profile.digest,
        fixture=prepared.fixture.path.name,
        fixture_digest=prepared.fixture.digest,
        bench=fixture.bench.name,
        place=fixture.bench.place,
        ambient=fixture.bench.ambient,
        instruments=tuple(
            Instrument(
                name=one.name, serial=one.serial, certificate=one.certificate, calibrated=one.calibrated, due=one.due
            )
            for one in fixture.instruments.values()
        ),
        identities=identities,
        seed=asked.virtual.seed if simulated else None,
        faults=tuple(fault.text for fault in asked.virtual.faults),
        procedure=prepared.procedure,
        results=performed.results,
        outcome=performed.outcome,
        reason=performed.reason,
        safe=performed.safe,
        origin=performed.readings.origin,
        recordings=keeper.recordings,
        journal_head=keeper.journal.head,
    )
