"""Which requirement is proved by which checks, and what is left over on either side.

Checks show only in a plan, so the profile is planned for every board that it describes, on a bench that has all of
their terminals, or on a given one. What a bench cannot look at is evidence of nothing there.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError

from benchtest.documents import read_bytes
from benchtest.errors import DocumentError, PlanError, Problem
from benchtest.fixture import LoadedFixture
from benchtest.plan import plan
from benchtest.plan.on_paper import paper_fixture, wired_for
from benchtest.procedure import Absent, Check, Procedure
from benchtest.profile import LoadedProfile
from benchtest.profile.fitting import FittedProfile, fit
from benchtest.profile.permitted import Requirement

_NAME: Final = TypeAdapter[str](Requirement)


@dataclass(frozen=True, kw_only=True, slots=True)
class Traced:
    """One check of a profile."""

    check: Check
    step: str
    """Identifier of its step."""
    boards: tuple[str, ...]
    """The boards of the profile that have it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Matrix:
    """Requirements and checks of a profile."""

    boards: tuple[str, ...]
    """What the profile was planned for."""
    checks: tuple[Traced, ...]
    named: tuple[str, ...]
    """Requirements that the profile names anywhere."""
    listed: Mapping[str, str]
    """Requirements that the profile is held against, with their texts; empty where there is no such list."""

    @property
    def proved(self) -> dict[str, tuple[Traced, ...]]:
        """Every requirement that is listed or named, with its checks."""
        return {
            name: tuple(one for one in self.checks if name in one.check.requirement)
            for name in dict.fromkeys((*self.listed, *self.named))
        }

    @property
    def gaps(self) -> tuple[str, ...]:
        """Requirements that no check is evidence of."""
        return tuple(name for name, checks in self.proved.items() if not checks)

    @property
    def unlisted(self) -> tuple[str, ...]:
        """Requirements that the profile names and the list does not know."""
        return tuple(name for name in self.named if name not in self.listed) if self.listed else ()

    @property
    def free(self) -> tuple[Traced, ...]:
        """Checks that are evidence of no requirement."""
        return tuple(one for one in self.checks if not one.check.requirement)


def trace(
    loaded: LoadedProfile,
    boards: Iterable[FittedProfile],
    *,
    bench: LoadedFixture | None = None,
    listed: Mapping[str, str] | None = None,
) -> Matrix:
    """Return requirements and checks of these boards of a profile; without a bench, on one that has everything."""
    planned = {_called(board): _planned(loaded, board, bench) for board in boards}
    checks: dict[str, Traced] = {}
    for name, procedure in planned.items():
        for step, check in _possible(procedure):
            known = checks.get(check.id)
            there = (*known.boards, name) if known else (name,)
            checks[check.id] = Traced(check=check, step=step, boards=there)
    return Matrix(
        boards=tuple(planned),
        checks=tuple(checks.values()),
        named=tuple(dict.fromkeys(_named(loaded.document.tree.value))),
        listed=listed or {},
    )


def every_board(loaded: LoadedProfile) -> tuple[FittedProfile, ...]:
    """Return every variant of a profile with all of its options: together they have every check."""
    profile = loaded.profile
    return tuple(fit(profile, variant=name, options=tuple(profile.options)) for name in profile.variants or [None])


def _called(board: FittedProfile) -> str:
    options = f" with {', '.join(board.options)}" if board.options else ""
    return (board.variant or board.profile.board.part) + options


def _planned(loaded: LoadedProfile, board: FittedProfile, bench: LoadedFixture | None) -> Procedure:
    if bench is None:
        fixture, harness, partial = paper_fixture(), wired_for(board.profile), False
    else:
        part = loaded.profile.board.part
        if part not in bench.harnesses:
            raise PlanError([f"{bench.path}: no harness for {part} (this fixture has: {', '.join(bench.harnesses)})"])
        fixture, harness, partial = bench.fixture, bench.harnesses[part], True
    return plan(board, database=loaded.database, fixture=fixture, harness=harness, place=loaded.place, partial=partial)


def _possible(procedure: Procedure) -> Iterator[tuple[str, Check]]:
    for step in procedure.steps:
        for check in step.checks:
            if not isinstance(check.measurand, Absent):
                yield step.id, check


def _named(value: Any) -> Iterator[str]:
    """Yield every requirement that a document names, in its order."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in inner:
        if key == "requirement" and isinstance(one, list):
            yield from (str(name) for name in one)
        else:
            yield from _named(one)


def read_requirements(path: Path) -> dict[str, str]:
    """Return the requirements of a list: on each line a name and its text; `#` begins a remark.

    Raises DocumentError with every line that cannot be read.
    """
    found: dict[str, str] = {}
    problems: list[Problem] = []
    for number, line in enumerate(read_bytes(path).decode("utf-8-sig", "replace").splitlines(), 1):
        name, _, text = line.strip().partition(" ")
        if not name or name.startswith("#"):
            continue
        if wrong := "it is there twice" if name in found else _unfit(name):
            column = line.index(name) + 1
            problems.append(Problem(file=path, line=number, column=column, where="", message=f"{name!r}: {wrong}"))
        found.setdefault(name, text.strip())
    if problems:
        raise DocumentError(problems)
    return found


def _unfit(name: str) -> str:
    try:
        _NAME.validate_python(name)
    except ValidationError:
        return "a requirement is called by up to 40 letters, digits and . _ / : - (then a blank and its text)"
    return ""
