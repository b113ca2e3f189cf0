"""`benchtest diagnose`: what is probably wrong with a board that failed, and what to measure next."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import click

from benchtest.cli.case import own_repairs
from benchtest.cli.coverage import progress_bar
from benchtest.cli.documents import Prepared, prepare
from benchtest.cli.records_options import address, records_option
from benchtest.cli.words import say
from benchtest.diagnose.library import Library
from benchtest.diagnose.next_check import NextCheck, next_check
from benchtest.diagnose.suspects import Diagnosis, Sign, Suspect, diagnose
from benchtest.diagnose.symptoms import symptoms
from benchtest.errors import PlanError
from benchtest.metrology.figures import percent
from benchtest.records.folder import read_run
from benchtest.records.journal import read_journal
from benchtest.results import Outcome, Run
from benchtest.studies.known import LEAST, SHOWN, UNKNOWN, home, subject_of
from benchtest.studies.signatures import learned
from benchtest.studies.trials import carry_out, stock, to_learn_from

SIGNS: Final = 3
"""Readings for and against that are shown."""
FORMAT: Final = "benchtest-diagnosis/1"


@click.command(name="diagnose")
@click.argument("run", type=click.Path(path_type=Path), metavar="RUN")
@click.option("--profile", type=click.Path(path_type=Path), metavar="FILE", help="Where the profile lies now.")
@click.option("--fixture", type=click.Path(path_type=Path), metavar="FILE", help="Where the fixture lies now.")
@click.option("--jobs", type=click.IntRange(1), help="Processes side by side; by default one a processor.")
@click.option("--json", "as_json", is_flag=True, help="The diagnosis as JSON.")
@click.option("--kept", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER", help="Where trials lie.")
@records_option
def diagnose_run(
    run: Path,
    profile: Path | None,
    fixture: Path | None,
    jobs: int | None,
    as_json: bool,
    kept: Path | None,
    records: str,
) -> int:
    """Say what is probably wrong with the board of folder RUN, the likeliest first, and what to measure next.

    The suspects come from simulated boards with every fault that the profile can have. The first time for a profile and
    a fixture they are tried out, which takes a minute or two on a large board; after that it is instant. Suspects are
    where to look first, not a verdict; the usual cautions apply to every measurement by hand. Where the records know of
    own repairs, these take over from the handbook as they grow.
    """
    found = read_run(run)
    if found.outcome in {Outcome.BENCH_FAULT, Outcome.ABORTED}:
        raise PlanError([f"{run}: the board was not judged ({found.outcome}), so nothing is known of it"])
    library = library_of(_prepared(run, found, profile, fixture), kept or home(), jobs=jobs)
    repairs = own_repairs(address(records, run.parent), found.procedure.part, library)
    said = symptoms(found.results)
    diagnosis = diagnose(said, library, repairs)
    advice = next_check(diagnosis, library, said)
    if as_json:
        plain = {**_plain(run, diagnosis, advice), "own_repairs": sum(repairs.values())}
        click.echo(json.dumps(plain, ensure_ascii=False))
        return 0
    if repairs:
        say(f"own repairs of {found.procedure.part}: {sum(repairs.values())}, beside the handbook, which counts as 30")
    for line in lines_of(diagnosis, advice, library):
        say(line)
    return 0


def library_of(prepared: Prepared, folder: Path, *, jobs: int | None = None) -> Library:
    """Return what every fault looks like to a procedure; tries out first what was not tried before."""
    subject = subject_of(prepared)
    trials = to_learn_from(subject)
    with progress_bar(len(trials)) as progress:
        tried = carry_out(subject, trials, kept=stock(subject, folder), jobs=jobs, progress=progress)
    return learned(subject, tried)


def _prepared(folder: Path, run: Run, profile: Path | None, fixture: Path | None) -> Prepared:
    """Plan the run again from its documents; refuse others than it was made with."""
    begun = next(
        (entry.facts for entry in read_journal(folder / "journal.jsonl").entries if entry.kind == "begins"), {}
    )
    profile, fixture = profile or Path(begun.get("profile_file", "")), fixture or Path(begun.get("fixture_file", ""))
    prepared = prepare(profile, fixture, run.procedure.variant, run.procedure.options, partial=True)
    wanted = {"profile": (prepared.profile.digest, run.profile_digest)}
    wanted["fixture"] = (prepared.fixture.digest, run.fixture_digest)
    changed = [name for name, (now, then) in wanted.items() if now != then]
    if changed:
        hint = "give the one of that time, or put the board through the new one"
        raise PlanError([f"{folder}: the {name} has changed since that run ({hint})" for name in changed])
    return prepared


def lines_of(diagnosis: Diagnosis, advice: NextCheck | None, library: Library) -> Iterator[str]:
    """Yield a diagnosis line by line."""
    if not diagnosis.suspects:
        yield f"nothing speaks of a fault: {diagnosis.read} readings, all in order"
        return
    yield f"where to look first ({diagnosis.off} of {diagnosis.read} readings were not in order):"
    titles = {check.id: f"{check.title} ({check.probe})" if check.probe else check.title for check in library.checks}
    for suspect in diagnosis.suspects[:SHOWN]:
        if suspect.probability >= LEAST:
            yield from _suspect(suspect, titles)
    yield ""
    if advice is None:
        yield "next: nothing that can be measured here would tell these apart better than the repair itself"
        return
    yield f"next, about {advice.minutes:.0f} min: {advice.instruction}"
    yield from (f"  {one.value}: {one.fault}" for one in advice.expected)


def _suspect(suspect: Suspect, titles: dict[str, str]) -> Iterator[str]:
    yield ""
    if not suspect.known:
        yield f"{percent(suspect.probability):>7}  {UNKNOWN}"
        return
    first, *others = suspect.faults
    yield f"{percent(suspect.probability):>7}  {first.fault}: {first.sentence}"
    yield f"         repair: {first.repair}"
    if others:
        yield f"         looks the same here: {', '.join(other.fault for other in others)}"
    for word, signs in (("for", suspect.supports), ("against", suspect.opposes)):
        if signs:
            yield f"         {word}: {'; '.join(_sign(sign, titles) for sign in signs[:SIGNS])}"


def _sign(sign: Sign, titles: dict[str, str]) -> str:
    return f"{titles[sign.check]} {sign.word}"


def _plain(folder: Path, diagnosis: Diagnosis, advice: NextCheck | None) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "run": str(folder),
        "readings": diagnosis.read,
        "not_in_order": diagnosis.off,
        "suspects": [_one(suspect) for suspect in diagnosis.suspects if suspect.probability >= LEAST],
        "next": None
        if advice is None
        else {
            "instruction": advice.instruction,
            "minutes": advice.minutes,
            "bits": advice.gain,
            "expected": {one.fault: one.value for one in advice.expected},
        },
    }


def _one(suspect: Suspect) -> dict[str, Any]:
    return {
        "faults": [fault.fault for fault in suspect.faults],
        "probability": suspect.probability,
        "sentence": suspect.faults[0].sentence if suspect.known else UNKNOWN,
        "repair": suspect.faults[0].repair if suspect.known else "",
        "for": {sign.check: sign.word for sign in suspect.supports[:SIGNS]},
        "against": {sign.check: sign.word for sign in suspect.opposes[:SIGNS]},
    }
