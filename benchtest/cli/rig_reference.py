"""`benchtest rig reference`: what the known-good board of a bench says of it, run after run."""

import json
import math
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

import click

from benchtest.cli.words import say, tell
from benchtest.clock import wall_time
from benchtest.errors import PlanError
from benchtest.fixture import load_fixture
from benchtest.fixture.self_check import Reference
from benchtest.metrology.figures import figures, plain
from benchtest.records.drift import Clearance
from benchtest.records.drift import clear as keep
from benchtest.records.labels import clean_text
from benchtest.records.reference import Compared, Standing, standing

FORMAT: Final = "benchtest-reference/1"
SHOWN: Final = 8
"""Readings that are shown, the worst first."""


@click.command("reference")
@click.argument("fixture", type=click.Path(path_type=Path), metavar="FIXTURE")
@click.option("--runs", "root", type=click.Path(path_type=Path), default=Path("runs"), show_default=True, metavar="DIR")
@click.option("--clear", metavar="'NAME, REASON'", help="Who answers for the signals of the charts, and why.")
@click.option("--anew", is_flag=True, help="With --clear: the runs that follow get limits of their own.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def reference(fixture: Path, root: Path, clear: str | None, anew: bool, as_json: bool) -> int:
    """Show how the known-good board of the bench of FIXTURE did there, and whether its readings drift.

    Exit code 0 when it lets the bench judge other boards, 5 when it does not. A signal on one of its charts stops the
    bench until somebody clears it.
    """
    loaded = load_fixture(fixture).fixture
    if loaded.reference is None:
        raise PlanError([f"{fixture}: no known-good board is tied to this bench (give it 'reference' in the fixture)"])
    found = standing(loaded.reference, bench=loaded.bench.name, root=root, now=wall_time())
    if clear is not None or anew:
        _clear(clear, found, loaded.reference, bench=loaded.bench.name, root=root, anew=anew)
        found = standing(loaded.reference, bench=loaded.bench.name, root=root, now=wall_time())
    if as_json:
        tell(json.dumps(_as_json(found), ensure_ascii=False))
    else:
        _tell(found)
    return 0 if found.fit else 5


def _clear(said: str | None, found: Standing, board: Reference, *, bench: str, root: Path, anew: bool) -> None:
    """Write down who clears the signals; wrong usage without a name and a reason, or when there is no signal."""
    name, _, reason = (clean_text(part) for part in (said or "").partition(","))
    if not (name and reason):
        raise click.UsageError(f"--clear {said!r} is not 'NAME, reason' (who answers for it, and why)")
    if not found.signals:
        raise click.UsageError("no chart has a signal; there is nothing to clear")
    at = wall_time().isoformat()
    keep(
        root,
        Clearance(
            part=board.part,
            serial=board.serial,
            bench=bench,
            at=at,
            by=name,
            reason=reason,
            of=found.signals,
            anew=anew,
        ),
    )


def _tell(found: Standing) -> None:
    for run in found.runs:
        say(f"{run.started[:16].replace('T', ' ')}  {run.outcome.value:<12}  {run.number}")
    for one in found.unreadable:
        say(f"left aside: {one}")
    for compared in found.compared[:SHOWN]:
        say(_line(compared))
    if len(found.compared) > SHOWN:
        say(f"  and {len(found.compared) - SHOWN} readings more that agree better")
    for chart in found.charts:
        say(f"  chart of {chart.title}, {chart.runs} runs: {chart.sentence or chart.missing or 'no signal'}")
    for cleared in found.cleared:
        limits = ", limits anew" if cleared.anew else ""
        say(f"  cleared {cleared.at[:10]} by {cleared.by}: {cleared.reason} ({'; '.join(cleared.of)}{limits})")
    say(f"{'FIT' if found.fit else 'NOT FIT'}  {found.sentence}")
    if found.signals:
        say("Somebody who has found the cause clears it: benchtest rig reference FIXTURE --clear 'NAME, reason'")


def _line(one: Compared) -> str:
    check = one.result.check
    now = figures(one.result.value, one.result.uncertainty, check.unit)
    low, high = (plain(value, check.unit) for value in (min(one.earlier), max(one.earlier)))
    return f"  E_n {one.score:+.2f}  {check.title}: {now}, before {low} to {high}"


def _as_json(found: Standing) -> dict[str, Any]:
    """Return the history for machines; the format keeps its shape."""
    return {
        "format": FORMAT,
        "fit": found.fit,
        "exit_code": 0 if found.fit else 5,
        "sentence": found.sentence,
        "runs": [{"number": run.number, "started": run.started, "outcome": run.outcome.value} for run in found.runs],
        "unreadable": list(found.unreadable),
        "charts": [
            {"id": one.check, "runs": one.runs, "signal": one.sentence or None, "missing": one.missing or None}
            for one in found.charts
        ],
        "cleared": [asdict(one) for one in found.cleared],
        "readings": [
            {
                "id": one.result.check.id,
                "unit": one.result.check.unit,
                "value": one.result.value,
                "uncertainty": one.result.uncertainty,
                "earlier": list(one.earlier),
                "score": one.score if math.isfinite(one.score) else None,
            }
            for one in found.compared
        ],
    }
