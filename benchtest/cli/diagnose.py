"""`benchtest diagnose`: what is probably wrong with a board that failed, and what to measure next."""

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import click

from benchtest.cli.coverage import home, progress_bar, subject_of
from benchtest.cli.documents import Prepared, prepare
from benchtest.cli.words import say
from benchtest.diagnose.library import Library
from benchtest.diagnose.next_check import NextCheck, next_check
from benchtest.diagnose.suspects import Diagnosis, Sign, Suspect, diagnose
from benchtest.diagnose.symptoms import symptoms
from benchtest.errors import PlanError
from benchtest.metrology.figures import percent
from benchtest.records.folder import read_run
from benchtest.records.journal import read_journal
from benchtest.results import Outcome, Result, Run, Suspected
from benchtest.studies.signatures import learned
from benchtest.studies.trials import carry_out, stock, to_learn_from

SHOWN: Final = 5
"""Suspects that are shown; the others are less likely than all of them."""
LEAST: Final = 0.01
"""Probability below which a suspect is not shown."""
SIGNS: Final = 3
"""Readings for and against that are shown."""
FORMAT: Final = "benchtest-diagnosis/1"
UNKNOWN: Final = "none of these: something that the library of faults does not know"


@click.command(name="diagnose")
@click.argument("run", type=click.Path(path_type=Path), metavar="RUN")
@click.option("--profile", type=click.Path(path_type=Path), metavar="FILE", help="Where the profile lies now.")
@click.option("--fixture", type=click.Path(path_type=Path), metavar="FILE", help="Where the fixture lies now.")
@click.option("--jobs", type=click.IntRange(1), help="Processes side by side; by default one a processor.")
@click.option("--json", "as_json", is_flag=True, help="The diagnosis as JSON.")
@click.option("--kept", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER", help="Where trials lie.")
def diagnose_run(
    run: Path, profile: Path | None, fixture: Path | None, jobs: int | None, as_json: bool, kept: Path | None
) -> int:
    """Say what is probably wrong with the board of folder RUN, the likeliest first, and what to measure next.

    The suspects come from simulated boards with every fault that the profile can have. The first time for a profile and
    a fixture they are tried out, which takes about a minute; after that it is instant. Suspects are where to look
    first, not a verdict; the usual cautions apply to every measurement by hand.
    """
    found = read_run(run)
    if found.outcome in {Outcome.BENCH_FAULT, Outcome.ABORTED}:
        raise PlanError([f"{run}: the board was not judged ({found.outcome}), so nothing is known of it"])
    library = library_of(_prepared(run, found, profile, fixture), kept or home(), jobs=jobs)
    suspected = diagnose(found.results, library)
    advice = next_check(suspected, library, symptoms(found.results))
    if as_json:
        click.echo(json.dumps(_plain(run, suspected, advice), ensure_ascii=False))
        return 0
    for line in lines_of(suspected, advice, library):
        say(line)
    return 0


def library_of(prepared: Prepared, folder: Path, *, jobs: int | None = None) -> Library:
    """Return what every fault looks like to a procedure; tries out first what was not tried before."""
    subject = subject_of(prepared)
    trials = to_learn_from(subject)
    with progress_bar(len(trials)) as progress:
        tried = carry_out(subject, trials, kept=stock(subject, folder), jobs=jobs, progress=progress)
    return learned(subject, tried)


def library_if_there(prepared: Prepared, folder: Path) -> Library | None:
    """Return the same where everything was tried out before; None where it would take its time."""
    try:
        subject = subject_of(prepared)
    except PlanError:
        return None
    kept = stock(subject, folder)
    there = kept.load()
    if not there:
        return None
    names = [trial.name for trial in to_learn_from(subject)]
    return learned(subject, [there[name] for name in names]) if all(name in there for name in names) else None


def suspects_of(prepared: Prepared, results: Sequence[Result]) -> tuple[tuple[Suspected, ...], tuple[str, ...]]:
    """Return the suspects for a run's record and what to measure next; none where no faults were tried out before."""
    library = library_if_there(prepared, home())
    if library is None:
        return (), ()
    found = diagnose(results, library)
    advice = next_check(found, library, symptoms(results))
    suspects = tuple(
        Suspected(
            faults=tuple(fault.fault for fault in suspect.faults),
            probability=round(suspect.probability, 4),
            sentence=suspect.faults[0].sentence if suspect.known else UNKNOWN,
            repair=suspect.faults[0].repair if suspect.known else "",
        )
        for suspect in found.suspects[:SHOWN]
        if suspect.probability >= LEAST
    )
    return suspects, () if advice is None else (advice.instruction, *(f"{e.value}: {e.fault}" for e in advice.expected))


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
