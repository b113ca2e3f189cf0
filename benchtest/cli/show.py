"""`benchtest show`: a finished run, read back and checked."""

from pathlib import Path

import click

from benchtest.cli.words import OUTCOME, line, say
from benchtest.procedure import Step
from benchtest.records.evidence import load_readings
from benchtest.records.folder import read_run
from benchtest.records.journal import JournalRead, read_journal
from benchtest.results import EXIT_CODE, Run, Verdict


@click.command()
@click.argument("run", type=click.Path(path_type=Path), metavar="RUN")
@click.option("--all", "everything", is_flag=True, help="Every reading, not only what did not pass.")
@click.option("--step", "only", metavar="ID", help="Only the readings of one step.")
@click.option("--budget", metavar="CHECK", help="Where one reading's uncertainty comes from, such as K3.operate.")
@click.option("--json", "as_json", is_flag=True, help="The whole run, or the budget asked for, as JSON.")
def show(run: Path, everything: bool, only: str | None, budget: str | None, as_json: bool) -> int:
    """Show the run in folder RUN, after checking its journal and recordings against their digests."""
    journal = read_journal(run / "journal.jsonl")
    if not (run / "run.json").exists():
        return _interrupted(journal)
    found = read_run(run)
    load_readings(run, found)
    if budget is not None:
        from benchtest.cli.budget import show_budget

        show_budget(found, budget, as_json=as_json)
        return 0
    if as_json:
        click.echo((run / "run.json").read_text(encoding="utf-8"))
        return 0
    steps = _chosen(found, only)
    _head(found)
    _changes(found, run)
    for step in steps:
        _step(found, step, everything=everything or only is not None)
    torn = ", its last line is torn" if journal.torn else ""
    say(f"\njournal: {len(journal.entries)} lines, chain whole{torn}; recordings: {len(found.recordings)}, unchanged")
    return 0


def _chosen(run: Run, only: str | None) -> tuple[Step, ...]:
    """Return the steps that are asked for. Raises wrong usage where no step of the run is called that."""
    steps = tuple(step for step in run.procedure.steps if only is None or step.id == only)
    if not steps:
        from benchtest.documents import nearest_or_list

        known = nearest_or_list(only, [step.id for step in run.procedure.steps], what="it has")
        raise click.UsageError(f"no step of this run is called {only!r} ({known})")
    return steps


def _interrupted(journal: JournalRead) -> int:
    """Say how far a run came that was cut off before its run file was written; exit code 5, for nothing was judged."""
    begun = journal.entries[0].facts if journal.entries else {}
    say(f"CUT OFF: the board is not judged  serial {begun.get('serial', '?')}, started {begun.get('started', '?')}")
    steps = [entry.facts.get("step") for entry in journal.entries if entry.kind == "step begins"]
    done = sum(entry.kind == "step judged" for entry in journal.entries)
    last = f"{done} steps done, the last one begun was {steps[-1]}" if steps else "no step was begun"
    say(f"the program ended before it could write run.json: {last}")
    for entry in journal.entries:
        if entry.kind == "bench not opened or not closed":
            say(f"the bench could not be opened, or not be closed: {entry.facts.get('problem', '?')}")
    if any(entry.kind == "asked" for entry in journal.entries):
        say("safe state: not confirmed; switch the supplies off, then go on with 'benchtest run --resume' if you like")
    else:
        say(
            "safe state: not confirmed; an adapter's dead-man takes everything off when its user is gone, "
            "look at the bench"
        )
    torn = ", its last line is torn" if journal.torn else ""
    say(f"journal: {len(journal.entries)} lines, chain whole{torn}")
    return 5


def _head(run: Run) -> None:
    job = run.job
    choice = ", ".join(filter(None, [run.procedure.variant, *run.procedure.options]))
    say(f"{OUTCOME[run.outcome]}  {run.reason}")
    say(f"{run.procedure.board} {run.procedure.part}{f' ({choice})' if choice else ''}, serial {job.serial}")
    say(f"number {run.number}, {run.started}, bench {run.bench}, origin {run.origin}")
    counts = {verdict: sum(result.verdict is verdict for result in run.results) for verdict in Verdict}
    say(", ".join(f"{count} {verdict}" for verdict, count in counts.items() if count))
    for one in run.overrides:
        say(f"CALIBRATION OVERRIDDEN by {one.by}: {one.reason} ({'; '.join(one.of)})")
    if run.acknowledged:
        say(f"cautions acknowledged by {run.acknowledged}")
    verified = "verified by reading back" if run.safe.verified else "NOT VERIFIED by reading back"
    say(f"safe state: {verified}: {run.safe.note}; exit code {EXIT_CODE[run.outcome]}")


def _changes(run: Run, folder: Path) -> None:
    """Say what became of the paper after it was issued, by the notes that lie beside it, the same news once."""
    from benchtest.records.notes import read_changes

    said = []
    for one in read_changes(folder, run.number):
        by = f" by number {one.replaced_by}" if one.replaced_by else ""
        said.append(f"{one.status.upper()}{by} on {one.at.date().isoformat()}, {one.by}: {one.reason}")
    for news in dict.fromkeys(said):
        say(f"its paper: {news}")


def _step(run: Run, step: Step, *, everything: bool) -> None:
    ids = {check.id for check in step.checks}
    results = [result for result in run.results if result.check.id in ids]
    wanted = [result for result in results if everything or result.verdict is not Verdict.PASS]
    if wanted:
        say(f"\n{step.title}")
        for result in wanted:
            say(f"  {line(result, risk=True)}")
