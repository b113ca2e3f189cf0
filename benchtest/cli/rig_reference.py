"""`benchtest rig reference`: what the known-good board of a bench says of it, run after run."""

import json
import math
from pathlib import Path
from typing import Any, Final

import click

from benchtest.cli.words import say, tell
from benchtest.clock import wall_time
from benchtest.errors import PlanError
from benchtest.fixture import load_fixture
from benchtest.metrology.figures import figures, plain
from benchtest.records.reference import Compared, Standing, standing

FORMAT: Final = "benchtest-reference/1"
SHOWN: Final = 8
"""Readings that are shown, the worst first."""


@click.command("reference")
@click.argument("fixture", type=click.Path(path_type=Path), metavar="FIXTURE")
@click.option("--runs", "root", type=click.Path(path_type=Path), default=Path("runs"), show_default=True, metavar="DIR")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def reference(fixture: Path, root: Path, as_json: bool) -> int:
    """Show how the known-good board of the bench of FIXTURE did there, and whether its readings drift.

    Exit code 0 when it lets the bench judge other boards, 5 when it does not.
    """
    loaded = load_fixture(fixture).fixture
    if loaded.reference is None:
        raise PlanError([f"{fixture}: no known-good board is tied to this bench (give it 'reference' in the fixture)"])
    found = standing(loaded.reference, bench=loaded.bench.name, root=root, now=wall_time())
    if as_json:
        tell(json.dumps(_as_json(found), ensure_ascii=False))
    else:
        _tell(found)
    return 0 if found.fit else 5


def _tell(found: Standing) -> None:
    for run in found.runs:
        say(f"{run.started[:16].replace('T', ' ')}  {run.outcome.value:<12}  {run.number}")
    for one in found.unreadable:
        say(f"left aside: {one}")
    for compared in found.compared[:SHOWN]:
        say(_line(compared))
    if len(found.compared) > SHOWN:
        say(f"  and {len(found.compared) - SHOWN} readings more that agree better")
    say(f"{'FIT' if found.fit else 'NOT FIT'}  {found.sentence}")


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
