"""`benchtest run`: a board goes on the bench and comes off with a certificate."""

import json
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any, Final

import click

from benchtest.cli.documents import Prepared, fitting_options, fixture_option, prepare, profile_argument
from benchtest.cli.screen import screen
from benchtest.cli.session import Asked, Held, hold
from benchtest.cli.words import OUTCOME, duration, line, say, tell
from benchtest.faults import Fault, parse
from benchtest.fixture.wiring import cautions
from benchtest.readings import Origin
from benchtest.records.labels import clean_serial, clean_text
from benchtest.results import EXIT_CODE, Job, Outcome, Result, Run, Verdict
from benchtest.rig import Virtual

CAUTIONS: Final = (
    "Extra-low voltage only; no mains on this bench. Hands off while the board is powered.",
    "A pass on the bench is not a release to run the machine; local codes and licensed practice apply.",
)


@click.command()
@profile_argument
@fixture_option
@click.option("--serial", required=True, metavar="SN", help="Serial number on the board's label.")
@fitting_options
@click.option("--revision", default="", metavar="REV", help="Hardware revision on the board's label.")
@click.option("--technician", default="", metavar="NAME", help="Who tests.")
@click.option("--work-order", default="", metavar="NO", help="Work order of the depot.")
@click.option("--customer", default="", metavar="NAME", help="Whose board it is.")
@click.option("--phase", type=click.Choice(["as found", "as left"]), default=None, help="Before or after a repair.")
@click.option("--port", "ports", multiple=True, metavar="ADAPTER=PORT", help="Where an adapter is; may be repeated.")
@click.option("--fault", "faults", multiple=True, metavar="TEXT", help="Fault of a simulated board; may be repeated.")
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Which simulated board of many.")
@click.option("--runs", "root", type=click.Path(path_type=Path), default=Path("runs"), show_default=True, metavar="DIR")
@click.option("--json", "as_json", is_flag=True, help="Print nothing but a summary in JSON.")
def run(
    profile: Path,
    fixture: Path,
    serial: str,
    variant: str | None,
    options: tuple[str, ...],
    root: Path,
    seed: int,
    as_json: bool,
    ports: tuple[str, ...],
    faults: tuple[str, ...],
    **person: str | None,
) -> int:
    """Put the board with serial number SN through PROFILE and write its certificate into a new folder below --runs."""
    job = _job(serial, person)
    prepared = prepare(profile, fixture, variant, options)
    if job.revision and job.revision not in prepared.profile.profile.board.revisions:
        known = ", ".join(prepared.profile.profile.board.revisions)
        raise click.UsageError(f"revision {job.revision!r} is not in this profile (it is for: {known})")
    virtual = Virtual(seed=seed, faults=_faults(prepared, faults))
    asked = Asked(job=job, ports=_ports(prepared, ports), virtual=virtual, root=root)
    if not as_json:
        _greet(prepared)
    with _stopped_by_signals() as stop, screen(prepared.procedure, quiet=as_json) as shown:
        held = hold(prepared, asked, shown, stop)
    if as_json:
        tell(json.dumps(_summary(held), ensure_ascii=False))
    else:
        _tell(held.run, held.folder)
    return EXIT_CODE[held.run.outcome]


def _job(serial: str, person: dict[str, str | None]) -> Job:
    try:
        clean = clean_serial(serial)
    except ValueError as problem:
        raise click.UsageError(str(problem)) from None
    return Job(serial=clean, **{name: clean_text(text or "") for name, text in person.items()})


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
    simulated = prepared.fixture.fixture.adapters[prepared.harness.adapter].driver == "simulated"
    if texts and not simulated:
        raise click.UsageError("--fault is for a fixture with driver 'simulated' (give it to `benchtest simulate`)")
    try:
        return tuple(parse(text, prepared.fitted) for text in texts)
    except ValueError as problem:
        raise click.UsageError(str(problem)) from None


def _greet(prepared: Prepared) -> None:
    procedure = prepared.procedure
    readings = sum(len(step.checks) for step in procedure.steps)
    choice = f", {procedure.variant}" if procedure.variant else ""
    say(
        f"{procedure.board} {procedure.part}{choice}: {len(procedure.steps)} steps, {readings} readings, "
        f"about {duration(procedure.duration)} of bench time"
    )
    if prepared.fixture.fixture.adapters[prepared.harness.adapter].driver != "simulated":
        for caution in (*CAUTIONS, *cautions(prepared.fixture.fixture, prepared.harness)):
            say(f"Caution: {caution}")


class _Stop:
    """Whether somebody said stop; only noted, since a signal may come in the middle of a line of the journal."""

    def __init__(self) -> None:
        self.reason = ""

    def note(self, number: int, _frame: FrameType | None) -> None:
        by = "the operator" if number == signal.SIGINT else signal.Signals(number).name
        self.reason = self.reason or f"stopped by {by}"

    def __call__(self) -> str:
        return self.reason


@contextmanager
def _stopped_by_signals() -> Iterator[_Stop]:
    """Note Ctrl-C, SIGTERM and SIGHUP; the rig heeds them at its next wait or move and takes the bench to safety."""
    stop = _Stop()
    names = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = [signal.signal(name, stop.note) for name in names]
    try:
        yield stop
    finally:
        for name, handler in zip(names, before, strict=True):
            signal.signal(name, handler)


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
        "origin": run.origin.value,
        "seconds": {"estimate": run.procedure.duration, "performing": held.performing, "papers": held.papers},
    }


def _tell(run: Run, folder: Path) -> None:
    """Print the outcome for people, with the first things to look at."""
    say(f"\n{OUTCOME[run.outcome]}  {run.reason}")
    judged = run.outcome not in {Outcome.BENCH_FAULT, Outcome.ABORTED}
    for result in _not_passed(run)[:5] if judged else ():
        say(f"  {line(result)}")
    say(", ".join(f"{count} {verdict}" for verdict, count in _counts(run).items() if count))
    say(f"safe state: {run.safe.note}")
    if run.origin is Origin.SIMULATED:
        say("SIMULATED: no real board was on the bench")
    say(f"number {run.number}, written to {folder}")
