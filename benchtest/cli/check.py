"""`benchtest check`: what is wrong with a document, and what a bench would do with it and how well it would know."""

import json
from collections.abc import Iterable
from itertools import groupby
from pathlib import Path
from typing import Any

import click

from benchtest.cli.documents import Prepared, fitted, fitting_options, partial_option, prepare, profile_argument
from benchtest.cli.words import duration, say
from benchtest.clock import wall_time
from benchtest.fixture.calibration import overdue
from benchtest.fixture.wiring import cautions
from benchtest.metrology.figures import permitted, plain
from benchtest.plan.foresight import Foreseen, foresee
from benchtest.procedure import Absent, Interval
from benchtest.profile import load_profile


@click.command()
@profile_argument
@click.option("--fixture", type=click.Path(path_type=Path), metavar="FILE", help="Also plan it on this bench.")
@fitting_options
@partial_option
@click.option("--json", "as_json", is_flag=True, help="The plan's figures as JSON; needs --fixture.")
def check(
    profile: Path,
    fixture: Path | None,
    variant: str | None,
    options: tuple[str, ...],
    partial: bool,
    as_json: bool,
) -> None:
    """Check PROFILE, and with --fixture whether that bench can do what it asks. Nothing is energised.

    With --fixture, a table shows how well the bench will know each reading: the tolerance T, the expanded uncertainty U
    at the permitted value where it is largest, and the test uncertainty ratio T/U. T is what lies between both limits,
    or between the only one and zero (100 % for a least share).
    """
    if fixture is None:
        if as_json:
            raise click.UsageError("--json shows what a bench will do: name it with --fixture")
        _alone(profile, variant, options)
        return
    loaded = load_profile(profile)
    choices = [variant] if variant is not None or not loaded.profile.variants else list(loaded.profile.variants)
    plans = [(choice, prepare(profile, fixture, choice, options, partial=partial)) for choice in choices]
    late = overdue(plans[0][1].fixture.fixture, wall_time().date())
    if as_json:
        figures = [_figures(choice, prepared) for choice, prepared in plans]
        click.echo(
            json.dumps(
                {"format": "benchtest-check/1", "plans": figures, "overdue": [str(one) for one in late]},
                ensure_ascii=False,
            )
        )
        return
    for choice, prepared in plans:
        _planned(profile, choice, prepared)
    for one in late:
        say(f"warning: {one}; a run refuses it unless somebody answers for it with --override-calibration")


def _alone(profile: Path, variant: str | None, options: tuple[str, ...]) -> None:
    loaded = load_profile(profile)
    if variant is not None or options:
        fitted(loaded, variant, options)
    board = loaded.profile.board
    count = len(loaded.profile.relays)
    say(f"{profile}: {board.name} {board.part}, {count} relay{'s' if count != 1 else ''}, no problems")


def _planned(profile: Path, choice: str | None, prepared: Prepared) -> None:
    procedure = prepared.procedure
    readings = sum(len(step.checks) for step in procedure.steps)
    kind = f", {choice}" if choice else ""
    say(
        f"{profile}{kind}: {len(procedure.steps)} steps, {readings} readings, "
        f"about {duration(prepared.duration)} on this bench"
    )
    say(f"\n  {'reading':<28} {'permitted':<18} {'T':>8} {'U':>8} {'T/U':>5}  line")
    for alike in _alike(foresee(procedure)):
        say(_row(alike))
    say("  T lies between both limits, or between one and zero (least share: 100 %);")
    say("  U is the expanded uncertainty at the permitted value where it is largest.")
    for one in procedure.unresolved:
        say(f"  accepted unresolved: {one.check}, T/U {one.ratio:.1f}: {one.reason}")
    _tell_limits(prepared)
    say("")


def _tell_limits(prepared: Prepared) -> None:
    """Print what cannot be tested here and why, and what whoever uses this bench must see to."""
    checks = [check for step in prepared.procedure.steps for check in step.checks]
    absent = [(check, check.measurand) for check in checks if isinstance(check.measurand, Absent)]
    if absent:
        say(f"  {len(absent)} of the readings are not possible on this bench:")
    for reading, why in absent:
        say(f"    {reading.title}: {why.reason.removeprefix(f'{reading.title}: ')}")
    for caution in cautions(prepared.fixture.fixture, prepared.harness):
        say(f"  Caution: {caution}")


def _alike(foreseen: Iterable[Foreseen]) -> list[list[Foreseen]]:
    """Return readings of one name and tolerance that are known equally well together, the least resolved first."""

    def key(one: Foreseen) -> tuple[float, float, str]:
        return float(f"{one.ratio:.3g}"), one.tolerance, one.check.id.rpartition(".")[2]

    return [list(group) for _, group in groupby(sorted(foreseen, key=key), key)]


def _row(alike: list[Foreseen]) -> str:
    first, check = alike[0], alike[0].check
    name = check.title if len(alike) == 1 else f"{len(alike)} × {check.title.removeprefix(check.subject).lstrip(': ')}"
    limits = check.permitted if isinstance(check.permitted, Interval) else Interval(low=None, high=None)
    tolerance, uncertainty = (plain(size, check.unit, digits=2) for size in (first.tolerance, first.uncertainty))
    text = permitted(limits.low, limits.high, check.unit)
    line = check.place.rpartition(":")[2]
    name = name if len(name) <= 28 else f"{name[:27]}…"
    return f"  {name:<28} {text:<18} {tolerance:>8} {uncertainty:>8} {_ratio(first):>5}  {line}"


def _ratio(one: Foreseen) -> str:
    return f"{one.ratio:.1f}" if one.ratio < 100 else f"{one.ratio:.0f}" if one.ratio < 1e5 else ">1e5"


def _figures(choice: str | None, prepared: Prepared) -> dict[str, Any]:
    """Return one plan for machines; its format keeps its shape."""
    procedure = prepared.procedure
    accepted = {one.check: one.reason for one in procedure.unresolved}
    return {
        "variant": choice,
        "steps": len(procedure.steps),
        "readings": sum(len(step.checks) for step in procedure.steps),
        "seconds": prepared.duration,
        "cautions": list(cautions(prepared.fixture.fixture, prepared.harness)),
        "not_possible": {
            check.id: check.measurand.reason
            for step in procedure.steps
            for check in step.checks
            if isinstance(check.measurand, Absent)
        },
        "checks": [
            {
                "id": one.check.id,
                "title": one.check.title,
                "unit": one.check.unit,
                "at": one.at,
                "uncertainty": one.uncertainty,
                "coverage": one.coverage,
                "tolerance": one.tolerance,
                "basis": one.basis,
                "ratio": one.ratio,
                "place": one.check.place,
                "accepted": accepted.get(one.check.id, ""),
            }
            for one in foresee(procedure)
        ],
    }
