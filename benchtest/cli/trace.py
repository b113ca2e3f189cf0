"""`benchtest trace`: which requirement is proved by which checks, and the gaps."""

import csv
import json
import sys
import textwrap
from collections.abc import Iterable, Iterator
from itertools import groupby
from pathlib import Path
from typing import Any, Final

import click

from benchtest.cli.documents import fitted, fitting_options, profile_argument
from benchtest.cli.words import spelled, tell
from benchtest.fixture import load_fixture
from benchtest.metrology.figures import permitted
from benchtest.procedure import Interval
from benchtest.profile import load_profile
from benchtest.tracing import Matrix, Traced, every_board, read_requirements, trace

FORMAT: Final = "benchtest-trace/1"
GAP: Final = 1
"""Exit code when a listed requirement has no check."""
WIDE: Final = 80
"""Columns of the text."""


@click.command(name="trace")
@profile_argument
@click.option("--fixture", type=click.Path(path_type=Path), metavar="FILE", help="Only what this bench can look at.")
@fitting_options
@click.option("--requirements", type=click.Path(path_type=Path), metavar="FILE", help="List to hold it against.")
@click.option("--csv", "form", flag_value="csv", help="One line for every pair, to be read by a spreadsheet.")
@click.option("--json", "form", flag_value="json", help="The matrix as JSON.")
def trace_profile(
    profile: Path,
    fixture: Path | None,
    variant: str | None,
    options: tuple[str, ...],
    requirements: Path | None,
    form: str | None,
) -> int:
    """Print which requirements the checks of PROFILE are evidence of, and what is left over on either side.

    The profile names them with the key `requirement`. A list for --requirements has one name on a line, and after a
    blank its text. Without --variant and --option, every variant is looked at with all of its options. The exit code is
    1 when a listed requirement has no check.
    """
    loaded = load_profile(profile)
    boards = (fitted(loaded, variant, options),) if variant or options else every_board(loaded)
    matrix = trace(
        loaded,
        boards,
        bench=load_fixture(fixture) if fixture else None,
        listed=read_requirements(requirements) if requirements else {},
    )
    match form:
        case "csv":
            _tell_csv(matrix)
        case "json":
            tell(json.dumps(_plain(matrix), ensure_ascii=False))
        case _:
            board = loaded.profile.board
            for line in _lines(f"{board.name} {board.part}", matrix):
                tell(spelled(line, sys.stdout))
    return GAP if any(name in matrix.listed for name in matrix.gaps) else 0


def _lines(title: str, matrix: Matrix) -> Iterator[str]:
    """Yield the matrix for people, requirement by requirement, then what is left over."""
    proved = matrix.proved
    yield f"{title}: {len(proved)} requirements, {len(matrix.checks)} checks"
    for name, checks in proved.items():
        if checks:
            yield ""
            yield from _folded(f"{name}  {matrix.listed.get(name, '')}".rstrip(), "  ")
            yield from _only(checks, matrix)
            yield from _by_step(checks)
    if matrix.gaps:
        yield "\nNo check is evidence of:"
        for name in matrix.gaps:
            known = matrix.listed.get(name, "named in the profile, where no step looks")
            yield from _folded(f"  {name}  {known}", "    ")
    if matrix.unlisted:
        yield from _folded(f"\nNamed in the profile and not listed: {', '.join(matrix.unlisted)}", "  ")
    if matrix.free:
        yield f"\n{len(matrix.free)} of {len(matrix.checks)} checks are evidence of no requirement:"
        yield from _by_step(matrix.free)


def _only(checks: Iterable[Traced], matrix: Matrix) -> Iterator[str]:
    """Say which boards have any check of a requirement, where not all of them do."""
    has = [board for board in matrix.boards if any(board in one.boards for one in checks)]
    if len(has) < len(matrix.boards):
        yield from _folded(f"  only as {' and '.join(has)}", "    ")


def _by_step(checks: Iterable[Traced]) -> Iterator[str]:
    for step, some in groupby(checks, lambda one: one.step):
        yield from _folded(f"  {step}: {', '.join(one.check.title for one in some)}", "    ")


def _folded(text: str, indent: str) -> list[str]:
    before = "\n" * (len(text) - len(text.lstrip("\n")))
    lines = textwrap.wrap(text.lstrip("\n"), WIDE, subsequent_indent=indent, break_on_hyphens=False)
    return [before + lines[0], *lines[1:]]


COLUMNS: Final = ("requirement", "text", "check", "title", "step", "permitted", "probe", "place", "boards")


def _tell_csv(matrix: Matrix) -> None:
    """Print a line for every pair, one for every requirement without a check, one for every check without one."""
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(COLUMNS)
    for name, checks in matrix.proved.items():
        for one in checks:
            writer.writerow(_cells(name, matrix.listed.get(name, ""), one))
        if not checks:
            writer.writerow([name, _harmless(matrix.listed.get(name, "")), *[""] * (len(COLUMNS) - 2)])
    writer.writerows(_cells("", "", one) for one in matrix.free)


def _cells(name: str, text: str, one: Traced) -> list[str]:
    check = one.check
    found = (name, text, check.id, check.title, one.step, _permitted(one), check.probe, check.place)
    return [*map(_harmless, found), "; ".join(one.boards)]


def _harmless(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula (CWE-1236)."""
    return f"'{text}" if text[:1] in {"=", "+", "-", "@", "\t", "\r"} else text


def _permitted(one: Traced) -> str:
    limits = one.check.permitted
    return permitted(limits.low, limits.high, one.check.unit) if isinstance(limits, Interval) else limits


def _plain(matrix: Matrix) -> dict[str, Any]:
    """Return the matrix for machines; its format keeps its shape."""
    return {
        "format": FORMAT,
        "boards": list(matrix.boards),
        "requirements": {
            name: {"text": matrix.listed.get(name, ""), "checks": [one.check.id for one in checks]}
            for name, checks in matrix.proved.items()
        },
        "gaps": list(matrix.gaps),
        "unlisted": list(matrix.unlisted),
        "checks": {
            one.check.id: {
                "title": one.check.title,
                "step": one.step,
                "permitted": _permitted(one),
                "probe": one.check.probe,
                "place": one.check.place,
                "boards": list(one.boards),
                "requirement": list(one.check.requirement),
            }
            for one in matrix.checks
        },
    }
