"""`benchtest run`: a board goes on the bench and comes off with a certificate."""

import json
import shlex
import sys
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any, TypeVar

import click

from benchtest.cautions import before_power
from benchtest.cli.case import link_run, serial_of, with_case
from benchtest.cli.consent import ask_for_name, can_ask, expects_virtual, read_override
from benchtest.cli.documents import Prepared, fitting_options, partial_option, prepare
from benchtest.cli.earlier import take_up, with_recorded_run
from benchtest.cli.paper import clean_day, job_options, site_options, stationery
from benchtest.cli.records_options import address, records_option, runs_option, tell_kept
from benchtest.cli.screen import screen
from benchtest.cli.session import Asked, Held, hold
from benchtest.cli.terminal import Terminal
from benchtest.cli.words import OUTCOME, duration, line, say, spelled, tell
from benchtest.faults import Defect, Fault, Mishap, Trip, parse, parse_defect, parse_trip
from benchtest.fixture.wiring import cautions, every_channel, people
from benchtest.metrology.figures import percent
from benchtest.procedure import Absent
from benchtest.readings import Origin
from benchtest.records.labels import clean_serial, clean_text
from benchtest.results import EXIT_CODE, Job, Outcome, Result, Run, Verdict
from benchtest.rig import Company, Virtual
from benchtest.rig.stop import stopped_by_signals

Given = TypeVar("Given")


@click.command()
@click.argument("profile", type=click.Path(path_type=Path), metavar="PROFILE", required=False)
@click.option("--fixture", type=click.Path(path_type=Path), metavar="FILE", help="The bench: a fixture file.")
@click.option("--serial", metavar="SN", help="Serial number on the board's label.")
@fitting_options
@partial_option
@click.option("--revision", default="", metavar="REV", help="Hardware revision on the board's label.")
@click.option("--technician", default="", metavar="NAME", help="Who tests.")
@click.option("--work-order", default="", metavar="NO", help="Work order of the depot.")
@click.option("--customer", default="", metavar="NAME", help="Whose board it is.")
@click.option("--phase", type=click.Choice(["as found", "as left"]), default=None, help="Before or after a repair.")
@job_options
@site_options
@click.option(
    "--port",
    "ports",
    multiple=True,
    metavar="ADAPTER=PORT",
    help="Where an adapter is, or which run folder is replayed; may be repeated.",
)
@click.option("--fault", "faults", multiple=True, metavar="TEXT", help="Fault of a simulated board; may be repeated.")
@click.option("--trip", "trips", multiple=True, metavar="TEXT", help="A simulated guard that trips: 'lid after 2 s'.")
@click.option(
    "--bench-fault", "defects", multiple=True, metavar="TEXT", help="A simulated bench's own: 'drive 103 stays open'."
)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Which simulated board of many.")
@click.option("--acknowledge", default="", metavar="NAME", help="Who knows the cautions of this real bench.")
@click.option(
    "--override-calibration", metavar="'NAME, REASON'", help="Who answers for an overdue calibration, and why."
)
@runs_option
@records_option
@click.option("--resume", type=click.Path(path_type=Path), metavar="RUN", help="Go on with a paused run by hand.")
@click.option("--json", "as_json", is_flag=True, help="Print nothing but a summary in JSON.")
def run(
    profile: Path | None,
    fixture: Path | None,
    serial: str | None,
    variant: str | None,
    options: tuple[str, ...],
    partial: bool,
    root: Path,
    records: str,
    seed: int,
    as_json: bool,
    ports: tuple[str, ...],
    faults: tuple[str, ...],
    resume: Path | None,
    trips: tuple[str, ...],
    defects: tuple[str, ...],
    acknowledge: str,
    override_calibration: str | None,
    site: Path | None,
    language: str | None,
    after: Path | None,
    **person: str | None,
) -> int:
    """Put the board with serial number SN through PROFILE and write its certificate into a new folder below --runs."""
    if resume is not None:
        given: dict[str, object] = {
            "--fixture": fixture,
            "--serial": serial,
            "--after": after,
            "--site": site,
            "--language": language,
        }
        prepared, asked = _taken_up(resume, profile, ports, given=given)
    else:
        serial = serial or serial_of(address(records, root, site), root, person["work_order"] or "")
        if not serial and person["work_order"]:
            unknown = f"no board is known here under work order {person['work_order']!r}"
            raise click.UsageError(f"Missing option '--serial', for {unknown} ('benchtest depot list' shows all)")
        job = _job(_needed(serial, "'--serial'"), person, after)
        documents = _needed(profile, "'PROFILE'"), _needed(fixture, "'--fixture'")
        prepared = prepare(*documents, variant, options, partial=partial)
        _check_revision(prepared, job)
        mishaps: tuple[Mishap, ...] = (*_trips(prepared, trips), *_defects(prepared, defects))
        virtual = Virtual(seed=seed, faults=_faults(prepared, faults), mishaps=mishaps)
        paper = stationery(site, language, after=after, job=job, procedure=prepared.procedure)
        asked = Asked(job=job, ports=_ports(prepared, ports), virtual=virtual, root=root, paper=paper)
    asked = replace(asked, acknowledged=clean_text(acknowledge), override=read_override(override_calibration))
    asked = with_case(prepared, replace(asked, records=address(records, asked.root, site)))
    prepared, asked = with_recorded_run(prepared, asked)
    _refuse_unspellable(asked.root, prepared.profile.path, prepared.fixture.path)
    by_person = bool(people(prepared.fixture.fixture, prepared.harness))
    if not as_json:
        _greet(prepared, by_person=by_person)
    asked = _with_consent(prepared, asked, may_ask=not as_json and not by_person and can_ask())
    with (
        stopped_by_signals() as stop,
        screen(prepared.procedure, before=prepared.before, quiet=as_json, by_person=by_person) as shown,
    ):
        if by_person:
            asked = replace(asked, company=Company(asker=Terminal(stop, err=as_json)))
        held = hold(prepared, asked, shown, stop)
    if as_json:
        tell(json.dumps(_summary(held), ensure_ascii=False))
    else:
        _tell(held.run, held.folder, by_person=by_person)
        _tell_suspects(prepared, held.run, held.folder)
    if held.kept is not None:
        tell_kept(held.kept)
    if asked.in_depot:
        link_run(held, asked, err=as_json)
    return EXIT_CODE[held.run.outcome]


def _needed(given: Given | None, name: str) -> Given:
    """Return what was given; what is missing is wrong usage, unless a paused run goes on and knows it itself."""
    if given is None:
        kind = "option" if name.startswith("'--") else "argument"
        raise click.MissingParameter(param_hint=name, param_type=kind)
    return given


def _taken_up(
    folder: Path, profile: Path | None, ports: tuple[str, ...], *, given: dict[str, object]
) -> tuple[Prepared, Asked]:
    """Return everything as it was asked for when the run began; ports may have changed since."""
    extra = ["PROFILE"] if profile is not None else []
    extra += [name for name, value in given.items() if value is not None]
    if extra:
        raise click.UsageError(f"--resume goes on with what the run began with (leave out {', '.join(extra)})")
    prepared, asked = take_up(folder)
    return prepared, replace(asked, ports={**asked.ports, **_ports(prepared, ports)})


def _check_revision(prepared: Prepared, job: Job) -> None:
    revisions = prepared.profile.profile.board.revisions
    if job.revision and job.revision not in revisions:
        raise click.UsageError(f"revision {job.revision!r} is not in this profile (it is for: {', '.join(revisions)})")


def _refuse_unspellable(*paths: Path) -> None:
    """Raise wrong usage for a path that neither journal nor records can hold, before the bench is opened."""
    for path in paths:
        whole = str(path.resolve())
        try:
            whole.encode()
        except UnicodeEncodeError:
            hint = "a name in it is not text in UTF-8, so that it cannot be written down (rename it)"
            raise click.UsageError(f"{whole!r}: {hint}") from None


def _job(serial: str, person: dict[str, str | None], after: Path | None) -> Job:
    try:
        clean = clean_serial(serial)
    except ValueError as problem:
        raise click.UsageError(str(problem)) from None
    job = Job(serial=clean, **{name: clean_text(text or "") for name, text in person.items()})
    if after is not None and job.phase == "as found":
        raise click.UsageError("--after names the run as found, so this one is as left (leave out --phase)")
    return replace(job, received=clean_day(job.received), phase=job.phase or ("as left" if after else ""))


def _ports(prepared: Prepared, ports: tuple[str, ...]) -> dict[str, str]:
    given: dict[str, str] = {}
    adapters = prepared.fixture.fixture.adapters
    for text in ports:
        name, equals, port = text.partition("=")
        if not equals or not port or name not in adapters:
            raise click.UsageError(
                f"--port {text!r} is not ADAPTER=PORT (adapters of this fixture: {', '.join(adapters)})"
            )
        if adapters[name].driver == "simulated":
            raise click.UsageError(
                f"--port {text!r}: {name} is simulated and has no port (try the fixture of a real bench)"
            )
        given[name] = port
    return given


def _faults(prepared: Prepared, texts: tuple[str, ...]) -> tuple[Fault, ...]:
    if texts and not _simulated(prepared):
        raise click.UsageError("--fault is for a fixture with driver 'simulated' (give it to `benchtest simulate`)")
    try:
        return tuple(parse(text, prepared.fitted) for text in texts)
    except ValueError as problem:
        raise click.UsageError(str(problem)) from None


def _trips(prepared: Prepared, texts: tuple[str, ...]) -> tuple[Trip, ...]:
    if texts and not _simulated(prepared):
        raise click.UsageError("--trip is for a fixture with driver 'simulated' (give it to `benchtest simulate`)")
    try:
        return tuple(parse_trip(text, prepared.fixture.fixture.guards) for text in texts)
    except ValueError as problem:
        raise click.UsageError(str(problem)) from None


def _defects(prepared: Prepared, texts: tuple[str, ...]) -> tuple[Defect, ...]:
    if texts and not _simulated(prepared):
        where = "is for a fixture with driver 'simulated' (give it to `benchtest simulate`)"
        raise click.UsageError(f"--bench-fault {where}")
    try:
        return tuple(parse_defect(text, every_channel(prepared.fixture.fixture, prepared.harness)) for text in texts)
    except ValueError as problem:
        raise click.UsageError(str(problem)) from None


def _simulated(prepared: Prepared) -> bool:
    return prepared.fixture.fixture.adapters[prepared.harness.adapter].driver == "simulated"


def _greet(prepared: Prepared, *, by_person: bool) -> None:
    procedure = prepared.procedure
    checks = [check for step in procedure.steps for check in step.checks]
    absent = sum(isinstance(check.measurand, Absent) for check in checks)
    choice = f", {procedure.variant}" if procedure.variant else ""
    say(
        f"{procedure.board} {procedure.part}{choice}: {len(procedure.steps)} steps, {len(checks)} readings"
        f"{f' ({absent} not possible on this bench)' if absent else ''}, "
        f"about {duration(prepared.duration)} of bench time"
    )
    driver = prepared.fixture.fixture.adapters[prepared.harness.adapter].driver
    if driver not in {"simulated", "replay"} and not by_person:  # a person is told them, and more, at the first request
        fixture = prepared.fixture.fixture
        for sentence in (*before_power(fixture.guards), *cautions(fixture, prepared.harness)):
            say(f"Caution: {sentence}")


def _with_consent(prepared: Prepared, asked: Asked, *, may_ask: bool) -> Asked:
    """Return what was asked with the name of whoever knows the cautions, where somebody can be asked for it."""
    if expects_virtual(prepared) or asked.acknowledged or not may_ask:
        return asked
    return replace(asked, acknowledged=ask_for_name())


def _not_passed(run: Run) -> list[Result]:
    return [result for result in run.results if result.verdict not in {Verdict.PASS, Verdict.NOT_TESTED}]


def _counts(run: Run) -> dict[str, int]:
    return {verdict.value: sum(result.verdict is verdict for result in run.results) for verdict in Verdict}


def _summary(held: Held) -> dict[str, Any]:
    """Return the outcome for machines; its format keeps its shape."""
    run = held.run
    return {
        "format": "benchtest-summary/1",
        "outcome": run.outcome.value,
        "exit_code": EXIT_CODE[run.outcome],
        "reason": run.reason,
        "number": run.number,
        "serial": run.job.serial,
        "folder": str(held.folder),
        "readings": _counts(run),
        "not_passed": [result.check.id for result in _not_passed(run)],
        "safe": {"reached": run.safe.reached, "verified": run.safe.verified, "note": run.safe.note},
        "remarks": list(run.remarks),
        "origin": run.origin.value,
        "records": asdict(held.kept) if held.kept is not None else None,
        "seconds": {
            "estimate": held.estimate,
            "performing": held.performing,
            "papers": held.papers,
            "recording": held.recording,
        },
    }


def _tell(run: Run, folder: Path, *, by_person: bool) -> None:
    """Print the outcome for people, with the first things to look at."""
    say(f"\n{OUTCOME[run.outcome]}  {run.reason}")
    judged = run.outcome not in {Outcome.BENCH_FAULT, Outcome.ABORTED}
    for result in _not_passed(run)[:5] if judged else ():
        say(f"  {line(result)}")
    say(", ".join(f"{count} {verdict}" for verdict, count in _counts(run).items() if count))
    for remark in run.remarks:
        say(f"remark: {remark}")
    say(f"safe state: {run.safe.note}")
    if run.origin is Origin.SIMULATED:
        say("SIMULATED: no real board was on the bench")
    elif run.origin is Origin.REPLAYED:
        say("REPLAYED: readings of an earlier run, judged again; no board was on the bench")
    say(f"number {run.number}, written to {folder}")
    if by_person and run.outcome in {Outcome.ABORTED, Outcome.BENCH_FAULT}:
        say("go on with:")
        tell(spelled(f"benchtest run --resume {shlex.quote(str(folder))}", sys.stdout))  # one line, to be copied


def _tell_suspects(prepared: Prepared, run: Run, folder: Path) -> None:
    """Say where to look first, where the faults of this board were tried out before; else how to have that, if at all.

    Of a board that a person worked by hand, and of a replayed run, `diagnose` knows nothing.
    """
    if run.outcome is not Outcome.FAIL:
        return
    from benchtest.studies.known import unlike_any

    if unlike_any(prepared):
        return
    for one in run.suspects:
        say(f"{percent(one.probability):>7}  {one.named}")
    say(
        "why, and what to measure next:" if run.suspects else "where to look first (at first it takes a minute or two):"
    )
    tell(spelled(f"benchtest diagnose {shlex.quote(str(folder))}", sys.stdout))
