"""One run from opened documents to a finished folder: journal while it goes on, run file and papers afterwards.

The rig with its judge, and then the papers, are loaded when it is their turn: a refused document waits for neither.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from benchtest import __version__
from benchtest.cli.consent import calibration, note_consent, refuse_unacknowledged
from benchtest.cli.documents import Prepared
from benchtest.cli.keeper import Heard, Keeper, now
from benchtest.cli.screen import Screen
from benchtest.clock import RealClock, wall_time
from benchtest.errors import BenchtestError, NotKept, PlanError
from benchtest.procedure import Procedure
from benchtest.readings import Origin
from benchtest.records.address import Address
from benchtest.records.folder import RUN_FORMAT, create_folder, write_procedure, write_run
from benchtest.records.journal import Journal, cut_torn_line
from benchtest.results import Instrument, Job, Outcome, Run, SafeState
from benchtest.rig import Company, Rig, Virtual, open_rig

LOST: Final = "what is answered cannot be kept"

if TYPE_CHECKING:
    from benchtest.cli.paper import Stationery
    from benchtest.records.database.keeping import Kept
    from benchtest.records.interrupted import Interrupted
    from benchtest.self_check import Judged


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """What the person asked for."""

    job: Job
    ports: dict[str, str]
    virtual: Virtual
    root: Path
    """Folder of all runs."""
    paper: "Stationery"
    """Whose papers, in which language, after which run."""
    company: Company | None = None
    taken_up: "Interrupted | None" = None
    """The paused run that goes on."""
    original: Run | None = None
    """The recorded run that is replayed, when it has a run file."""
    acknowledged: str = ""
    """Who acknowledged the cautions; empty when nobody did."""
    override: tuple[str, str] | None = None
    """Who answers for an overdue calibration, and why."""
    records: Address = field(default_factory=Address.nowhere)
    """Where the finished run is recorded."""
    customer: str = ""
    """Whose board it is, for the papers alone: of a run of the depot it is in no evidence, so that it can be erased."""
    in_depot: bool = False
    """Whether the run is linked to its work order when it is finished."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Held:
    """A finished run, where it lies, and how long its parts took here."""

    run: Run
    folder: Path
    estimate: float
    """Seconds of bench time by the plan."""
    performing: float
    """Seconds of this computer for performing and judging."""
    papers: float
    """Seconds of this computer for run file, JUnit file and certificate."""
    kept: "Kept | None"
    """Where it is in the records, or why not; None where none are kept."""
    recording: float
    """Seconds of this computer for that."""


def hold(prepared: Prepared, asked: Asked, screen: Screen, stopped: Callable[[], str]) -> Held:
    """Put one board through its procedure and return the finished run and its folder.

    `stopped` says why the run shall stop, or nothing.
    A paused run goes on in its own folder and journal.
    Raises RigError when the bench could not even be opened; the folder then holds the journal that says so. Raises
    NotKept when the disk takes no more, with the safe state where the bench was in use. Raises PlanError when an
    instrument is overdue and nobody answers for it, and click's UsageError when the bench is real and nobody has
    acknowledged its cautions.
    """
    with _kept_below(asked.root) as left:
        return _hold(prepared, asked, screen, stopped, left)


@contextmanager
def _kept_below(root: Path) -> Iterator[list[SafeState]]:
    """Yield where to note how the bench was left, which is told with what cannot be kept."""
    left: list[SafeState] = []
    try:
        yield left
    except BenchtestError:
        raise  # a silent adapter is an OSError too
    except OSError as problem:
        reason = f"{problem.filename or root}: {problem.strerror or problem}, so the run cannot be kept"
        safe = "".join(f"\nsafe state: {one.note}" for one in left[-1:])
        raise NotKept(f"{reason} (try making room there, or another folder with --runs){safe}") from problem


def _hold(prepared: Prepared, asked: Asked, screen: Screen, stopped: Callable[[], str], left: list[SafeState]) -> Held:
    from benchtest.approval import permit
    from benchtest.records.attempts import out_of_order
    from benchtest.seal import open_station

    clock = RealClock()
    approved = permit(prepared.profile, asked.paper.site)
    station = open_station()  # before anything is energised: a result that cannot be sealed is not worth a run
    proven, sentence = _proven(prepared, asked)
    unproven = "" if proven else sentence
    overrides = calibration(prepared.fixture.fixture, wall_time().date(), asked.override, unproven=unproven)
    started, folder = _folder(prepared, asked)
    cut = cut_torn_line(folder / "journal.jsonl") if asked.taken_up else 0
    with Journal.open(folder / "journal.jsonl") as journal:
        keeper = Keeper(folder, journal, screen, left=left)
        if asked.taken_up:
            keeper.recordings |= asked.taken_up.recordings
            keeper.people += asked.taken_up.people
        _begin(prepared, asked, started, keeper)
        torn = f"the last line of the journal was torn ({cut} bytes) and was cut off" if cut else ""
        for text in filter(None, [torn, out_of_order(asked.paper.before, started)]):
            keeper.remarked(text, 0.0)
        note_consent(journal, asked.acknowledged, overrides)
        if approved:
            journal.append("profile approved", at=0.0, by=list(approved))
        before = clock.now()
        done, identities = _on_the_rig(prepared, asked, keeper, stopped)
        performing = clock.now() - before
        from benchtest.records.evidence import save_scalars

        readings = done.performed.readings
        path, digest = save_scalars(folder, readings)
        keeper.recordings[path] = digest
        run = _run(prepared, asked, started, folder, done, keeper, identities)
        run = replace(run, acknowledged=asked.acknowledged, overrides=overrides, approved=approved)
        if run.bench_check is not None and sentence:
            run = replace(run, bench_check=replace(run.bench_check, reference=sentence))
    before = clock.now()
    if run.outcome is Outcome.FAIL:
        from benchtest.cli.case import own_repairs
        from benchtest.studies.known import suspects_of

        own = partial(own_repairs, asked.records, prepared.procedure.part)
        suspects, next_checks = suspects_of(prepared, run.results, own)
        run = replace(run, suspects=suspects, next_checks=next_checks)
    from benchtest.certificate import write_certificate
    from benchtest.records.junit import write_junit

    for stale in folder.glob("report.*") if asked.taken_up else ():
        stale.unlink()  # of the pause; this run's own papers follow
    write_run(folder, run)
    write_junit(folder, run)
    write_certificate(_on_paper(run, asked), readings, folder, station)
    written = clock.now()
    kept = _recorded(run, folder, asked.records)
    return Held(
        run=run,
        folder=folder,
        estimate=prepared.duration,
        performing=performing,
        papers=written - before,
        kept=kept,
        recording=clock.now() - written,
    )


def _on_paper(run: Run, asked: Asked) -> Run:
    """Return a run as its papers show it: with the customer whom the depot knows."""
    return replace(run, job=replace(run.job, customer=asked.customer)) if asked.customer else run


def _recorded(run: Run, folder: Path, records: Address) -> "Kept | None":
    """Store the finished run in the records, where some are kept."""
    if records.file is None:
        return None
    from benchtest.records.database.keeping import keep

    return keep(run, folder, records)


def _proven(prepared: Prepared, asked: Asked) -> tuple[bool, str]:
    """Return whether the bench's known-good board lets it judge this one, and what that board says of it."""
    fixture = prepared.fixture.fixture
    reference, replays = fixture.reference, asked.company is not None and asked.company.recalled is not None
    if reference is None or replays:
        return True, ""
    if (prepared.procedure.part, asked.job.serial) == (reference.part, reference.serial):
        return True, "this is the bench's known-good board"
    from benchtest.records.reference import standing

    found = standing(reference, bench=fixture.bench.name, root=asked.root, now=wall_time())
    if found.signals:
        hint = "put the board on, find the cause; who answers for it clears it: rig reference … --clear 'NAME, reason'"
        raise PlanError([f"{found.sentence} ({hint})"])
    return found.fit, found.sentence


def _folder(prepared: Prepared, asked: Asked) -> tuple[datetime, Path]:
    """Return when the run began and where it lies."""
    if asked.taken_up is not None:
        return datetime.fromisoformat(asked.taken_up.begun["started"]), asked.taken_up.folder
    started = wall_time()
    part, serial = prepared.procedure.part, asked.job.serial
    return started, create_folder(asked.root, started=started, part=part, serial=serial)


def _begin(prepared: Prepared, asked: Asked, started: datetime, keeper: Keeper) -> None:
    """Write the first line of the run, or of its going on."""
    if asked.taken_up is not None:
        keeper.journal.append("resumes", at=0.0, time=now(), software=__version__, ports=asked.ports)
        return
    procedure = write_procedure(keeper.folder, prepared.procedure)
    facts = _beginning(prepared, asked, started)
    keeper.journal.append("begins", at=0.0, procedure=procedure, **facts)


def _beginning(prepared: Prepared, asked: Asked, started: datetime) -> dict[str, Any]:
    return {
        "started": started.isoformat(),
        "software": __version__,
        "profile": prepared.profile.digest,
        "fixture": prepared.fixture.digest,
        "serial": asked.job.serial,
        "seed": asked.virtual.seed,
        "faults": [fault.text for fault in asked.virtual.faults],
        "mishaps": [mishap.text for mishap in asked.virtual.mishaps],
        "job": asdict(asked.job),
        "profile_file": str(prepared.profile.path.resolve()),
        "fixture_file": str(prepared.fixture.path.resolve()),
        "variant": prepared.procedure.variant,
        "options": list(prepared.procedure.options),
        "ports": asked.ports,
        **asked.paper.begun,
    }


def _on_the_rig(
    prepared: Prepared, asked: Asked, keeper: Keeper, stopped: Callable[[], str]
) -> "tuple[Judged, dict[str, str]]":
    from benchtest.perform import Watcher
    from benchtest.self_check import perform_when_fit

    watcher = Watcher(
        begins=keeper.begins, seen=keeper.seen, judged=keeper.judged, remarked=keeper.remarked, ended=keeper.ended
    )
    own = Watcher(begins=keeper.bench_begins, seen=keeper.seen, judged=keeper.bench_judged, remarked=keeper.remarked)
    rig = open_rig(
        prepared.procedure,
        prepared.fitted,
        fixture=prepared.fixture.fixture,
        harness=prepared.harness,
        ports=asked.ports,
        virtual=asked.virtual,
        company=_company(asked, keeper),
    )
    kept = asked.taken_up.kept() if asked.taken_up else {}
    done: Judged | None = None
    try:
        with rig as bare:
            identities = dict(bare.identities)
            by_hand = {"person": bare.person.name} if bare.person is not None else {}
            keeper.people += by_hand.values()
            keeper.journal.append("opened", at=bare.clock.now(), origin=bare.origin, identities=identities, **by_hand)
            if bare.origin is Origin.MEASURED and not asked.acknowledged:
                keeper.journal.append("cautions not acknowledged", at=keeper.at)
                refuse_unacknowledged(prepared.fixture.fixture)
            opened = replace(bare, stopped=lambda: stopped() or (LOST if keeper.problem else ""))
            with _left_safe(bare, prepared.procedure, keeper.left):
                done = perform_when_fit(
                    prepared.procedure,
                    prepared.self_check,
                    opened,
                    watcher=watcher,
                    own=own,
                    checked=keeper.checked,
                    kept=kept,
                )
    except BenchtestError as problem:
        keeper.journal.append("bench not opened or not closed", at=keeper.at, problem=str(problem))
        if done is None:
            raise  # a lost adapter cannot be closed either; what was performed until then is kept
    return done, identities


@contextmanager
def _left_safe(rig: Rig, procedure: Procedure, left: list[SafeState]) -> Iterator[None]:
    """Take the bench to safety, and note how it was left, where what happens cannot be written down."""
    try:
        yield
    except BenchtestError:
        raise
    except OSError:
        if not left:
            left.append(rig.make_safe(procedure))
        raise


def _company(asked: Asked, keeper: Keeper) -> Company:
    company = asked.company or Company()
    return company if company.asker is None else replace(company, asker=Heard(company.asker, keeper))


def _run(
    prepared: Prepared,
    asked: Asked,
    started: datetime,
    folder: Path,
    done: "Judged",
    keeper: Keeper,
    identities: dict[str, str],
) -> Run:
    fixture, performed = prepared.fixture.fixture, done.performed
    simulated = performed.readings.origin is Origin.SIMULATED
    short = folder.name.rpartition("-")[2]
    run = Run(
        format=RUN_FORMAT,
        id=short,
        number=f"{started:%Y%m%d}-{short.upper()}",
        software=f"benchtest {__version__}",
        started=started.isoformat(timespec="milliseconds"),
        ended=wall_time().isoformat(timespec="milliseconds"),
        job=_job(asked.job, keeper.people),
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
        mishaps=tuple(mishap.text for mishap in asked.virtual.mishaps),
        procedure=done.procedure,
        results=performed.results,
        outcome=performed.outcome,
        reason=performed.reason,
        safe=performed.safe,
        origin=performed.readings.origin,
        recordings=keeper.recordings,
        journal_head=keeper.journal.head,
        bench_check=done.bench,
        remarks=tuple(keeper.remarks),
    )
    from benchtest.cli.paper import about

    run = replace(run, **about(prepared, asked.job, asked.root, folder), **asked.paper.facts(folder))
    return run if asked.company is None or asked.company.recalled is None else _as_recorded(run, asked)


def _job(job: Job, people: list[str]) -> Job:
    """Return a job with who tested: who was named beforehand, else everybody who worked the bench by hand."""
    return job if job.technician else replace(job, technician=", ".join(dict.fromkeys(people)))


def _as_recorded(run: Run, asked: Asked) -> Run:
    """Return a replayed run with the bench that read it and what it knew of itself; its origin is no better."""
    assert asked.company is not None
    assert asked.company.recalled is not None
    run = replace(run, origin=asked.company.recalled.origin)
    if asked.original is None:
        return run
    then = asked.original
    bench = f"{then.bench}, replayed from run {then.number}"
    return replace(
        run,
        bench=bench,
        place=then.place,
        ambient=then.ambient,
        instruments=then.instruments,
        seed=then.seed,
        faults=then.faults,
        mishaps=then.mishaps,
        bench_check=then.bench_check,
    )
