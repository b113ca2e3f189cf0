"""`benchtest rejudge`: old runs under a new profile, without a board."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchtest.cli.words import say
from benchtest.metrology.figures import figures
from benchtest.metrology.figures import permitted as interval_text
from benchtest.procedure import Interval
from benchtest.results import Outcome

if TYPE_CHECKING:
    from benchtest.rejudge import Rejudged, Turn
    from benchtest.rejudge.report import Report

MANY = 500
"""Runs from which on a person at a terminal is shown how far it is."""
SHOWN = 3
"""Readings per run that are listed unless all are asked for."""


@click.command()
@click.argument("runs", type=click.Path(path_type=Path), nargs=-1, required=True, metavar="RUN...")
@click.option("--profile", type=click.Path(path_type=Path), required=True, metavar="FILE", help="The new profile.")
@click.option("--recordings", is_flag=True, help="Read every recording anew, also where stored values would do.")
@click.option("--all", "everything", is_flag=True, help="Also runs that keep their outcome, and every reading.")
@click.option("--json", "as_json", is_flag=True, help="Everything as JSON.")
@click.option("--to", type=click.Path(path_type=Path), metavar="FILE", help="Write the JSON to a new file.")
@click.option("--fail-on-change", is_flag=True, help="Exit code 1 when an outcome would change.")
def rejudge(
    runs: tuple[Path, ...],
    profile: Path,
    recordings: bool,
    everything: bool,
    as_json: bool,
    to: Path | None,
    fail_on_change: bool,
) -> int:
    """Judge finished runs anew under PROFILE: a run folder, or a folder with run folders below it, or several.

    No board and no bench is needed, and nothing is changed in any run folder: what was issued stays as it is. Where
    only limits, expected words and the guard band changed, the values and uncertainties in the run folder decide;
    otherwise the recordings are judged again. What PROFILE asks and a run has no record of is not tested.

    Exit code 0 also when outcomes would change (1 with --fail-on-change), 4 when no run could be judged again.
    """
    from benchtest.profile import load_profile
    from benchtest.rejudge import Rejudge, run_folders
    from benchtest.rejudge.report import Report

    if to is not None:
        _own_file(to)
    loaded, folders = load_profile(profile), run_folders(runs)
    judging = Rejudge(loaded, way="recordings" if recordings else "quickest")
    hidden = len(folders) < MANY or not sys.stderr.isatty()
    with click.progressbar(folders, label="judging", file=sys.stderr, show_pos=True, hidden=hidden) as each:
        report = Report(loaded=loaded, runs=tuple(judging.run(folder) for folder in each))
    if to is not None:
        to.write_text(_json(report) + "\n", encoding="utf-8")
    if as_json:
        click.echo(_json(report))
    else:
        _tell(report, profile, everything=everything)
    if not report.judged:
        return 4
    return 1 if fail_on_change and report.changed else 0


def _own_file(to: Path) -> None:
    """Refuse a file that would change what was issued."""
    from benchtest.rejudge.stored import is_run

    inside = next((parent for parent in to.resolve().parents if is_run(parent)), None)
    if inside is not None:
        raise click.UsageError(f"{to} lies in the run folder {inside.name}, which stays as it is (try another folder)")
    if to.exists():
        raise click.UsageError(f"{to} is there already (name a new file)")
    if not to.parent.is_dir():
        raise click.UsageError(f"{to}: there is no folder {to.parent}")


def _json(report: "Report") -> str:
    return json.dumps(report.as_json(), indent=2, ensure_ascii=False, allow_nan=False)


def _tell(report: "Report", profile: Path, *, everything: bool) -> None:
    say(f"under {profile}: {report.sentence()}")
    for run in report.changed:
        _run(run, everything=everything)
    if report.reworded:
        hint = "" if everything else " (--all lists them)"
        say(f"{len(report.reworded)} more would keep the outcome, with another word on single readings{hint}")
        for run in report.reworded if everything else ():
            _run(run, everything=True)
    if report.left:
        say(f"{len(report.left)} could not be judged again:")
        for run in report.left:
            say(f"  {run.folder.name}: {run.reason.removeprefix(f'{run.folder}: ')}")
    ways = ", ".join(f"{count} from {way}" for way, count in sorted(report.ways.items()))
    say(f"judged{': ' + ways if ways else ' none'}; what was issued stays as it is")


def _run(run: "Rejudged", *, everything: bool) -> None:
    say(f"  {run.folder.name}, serial {run.serial}: {_outcome(run.before)} -> {_outcome(run.after)}: {run.reason}")
    shown = run.turns if everything else run.turns[:SHOWN]
    for turn in shown:
        say(f"    {_turn(turn)}")
    if len(run.turns) > len(shown):
        say(f"    and {len(run.turns) - len(shown)} more (--all lists them)")


def _outcome(outcome: Outcome | None) -> str:
    return str(outcome).upper()


def _turn(turn: "Turn") -> str:
    found = "nothing read" if turn.value is None else figures(turn.value, turn.uncertainty, turn.check.unit)
    before = "not asked" if turn.before is None else str(turn.before)
    after = "asked no more" if turn.after is None else str(turn.after)
    return f"{turn.check.title}: {found}; {before} -> {after}{_limits(turn)}"


def _limits(turn: "Turn") -> str:
    from benchtest.procedure import Absent

    if isinstance(turn.check.measurand, Absent):
        return f"; {turn.check.measurand.reason}"
    if turn.after is None or turn.permitted is None or turn.permitted == turn.check.permitted:
        return ""
    was, now = turn.permitted, turn.check.permitted
    return f"; permitted {_text(was, turn.check.unit)}, now {_text(now, turn.check.unit)}"


def _text(wanted: Interval | str, unit: str) -> str:
    return interval_text(wanted.low, wanted.high, unit) if isinstance(wanted, Interval) else wanted
