"""What pytest collects from a profile: its boards, their steps, and an item for every check.

    profiles/greenhouse.yaml::two-bay with dosing::exercise-K3::K3 release time
    file                      board                 step         check

A board is put through its whole procedure when the first of its items is set up, and all of them share what came of
it: one item alone costs the same, because the order of steps matters. What could not be judged fails in an item's
setup, which pytest calls an error; what the board failed fails in the item itself.
"""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

import pytest

from benchtest.errors import BenchtestError, DocumentError, PlanError
from benchtest.faults import Fault, parse
from benchtest.prepared import Prepared, prepared
from benchtest.procedure import Step
from benchtest.profile import LoadedProfile, load_profile
from benchtest.profile.fitting import fit
from benchtest.pytest_plugin.asked import Asked, shortest
from benchtest.pytest_plugin.choices import Choice, LeftOut, choices
from benchtest.pytest_plugin.held import Held, hold
from benchtest.pytest_plugin.wording import told
from benchtest.records.cases import COMPLETE, RUN, Counted


class ProfileFile(pytest.File):
    """A profile."""

    asked: Asked

    @classmethod
    def of(cls, parent: pytest.Collector, path: Path, asked: Asked) -> "ProfileFile":
        """Return the node of a profile's file."""
        node = cls.from_parent(parent, path=path)
        node.asked = asked
        return node

    def collect(self) -> Iterator[pytest.Item | pytest.Collector]:
        """Yield its boards; what is wrong with it is an item, so that other profiles still run."""
        try:
            loaded = load_profile(shortest(self.path, self.config))
        except DocumentError as problem:
            yield Unfit.of(self, "document", problem)
            return
        try:
            for choice in choices(loaded.profile, self.asked):
                yield Board.of(self, loaded, choice)
        except LeftOut as reason:
            yield Unasked.of(self, "left out", str(reason))


class Board(pytest.Collector):
    """One variant of a board with its options, one attempt."""

    asked: Asked
    loaded: LoadedProfile
    choice: Choice
    faults: tuple[Fault, ...]
    prepared: Prepared
    _held: Held | PlanError | None = None

    @classmethod
    def of(cls, parent: ProfileFile, loaded: LoadedProfile, choice: Choice) -> "Board":
        """Return the node of one board."""
        node = cls.from_parent(parent, name=choice.name)
        node.asked, node.loaded, node.choice = parent.asked, loaded, choice
        return node

    def collect(self) -> Iterator[pytest.Item | pytest.Collector]:
        """Yield its steps, and the item for the run itself."""
        fitted = fit(self.loaded.profile, variant=self.choice.variant, options=self.choice.options)
        try:
            self.faults = tuple(parse(text, fitted) for text in self.asked.faults)
        except ValueError as reason:
            yield Unasked.of(self, "left out", str(reason))
            return
        try:
            self.prepared = prepared(self.loaded, self.asked.fixture, fitted)
        except PlanError as problem:
            yield Unfit.of(self, "plan", problem)
            return
        for step in self.prepared.procedure.steps:
            yield StepNode.of(self, step)
        yield StepNode.of(self, None)

    @property
    def identity(self) -> tuple[Path, str | None, tuple[str, ...]]:
        """What board it is, whichever attempt."""
        return self.path, self.choice.variant, self.choice.options

    def held(self) -> Held | PlanError:
        """Return what became of the board, or why it may not be put on the bench; put it through only once."""
        if self._held is None:
            try:
                self._held = self._put_through()
            except PlanError as problem:
                self._held = problem
        return self._held

    def _put_through(self) -> Held:
        boards = {item.board.identity for item in self.session.items if isinstance(item, CheckItem)}
        if self.asked.real and len(boards) > 1:
            count = f"{len(boards)} boards were collected and one is on the bench"
            raise PlanError([f"{count} (name its profile, its --variant and its --option)"])
        seed = self.asked.seed_of(self.choice.attempt or 1)
        return hold(self.prepared, self.asked, seed=seed, faults=self.faults)


class StepNode(pytest.Collector):
    """One step of a board's procedure; without one, the run itself."""

    step: Step | None

    @classmethod
    def of(cls, parent: Board, step: Step | None) -> "StepNode":
        """Return the node of one step."""
        node = cls.from_parent(parent, name=RUN if step is None else step.id)
        node.step = step
        return node

    def collect(self) -> Iterator[pytest.Item]:
        """Yield an item for every check."""
        if self.step is None:
            yield CheckItem.of(self, COMPLETE, place=str(self.path))
            return
        for check in self.step.checks:
            yield CheckItem.of(self, check.title, place=check.place, requirement=check.requirement)


class Placed(pytest.Item):
    """An item that stands somewhere in a document."""

    file: str
    line: int
    """From 1; 0 when the file as a whole is meant."""
    sentence: str = ""
    """Why it failed, in one line, once it has."""

    @property
    def board(self) -> Board | None:
        """The board that it belongs to; None for a whole document."""
        return next((node for node in self.listchain() if isinstance(node, Board)), None)

    def stand_at(self, file: str, line: int) -> None:
        """Note where what it is about is written down."""
        self.file, self.line = file, line

    def reportinfo(self) -> tuple[os.PathLike[str] | str, int | None, str]:
        """Return the place of the limit, and what stands above the failure."""
        names = [node.name for node in self.listchain() if isinstance(node, Board | Placed)]
        return Path(self.file).absolute(), max(self.line - 1, 0), ": ".join([self.path.name, *names])

    def fail(self, sentence: str, text: str) -> NoReturn:
        """Fail with a text that a person reads, and no line of this program in it."""
        self.sentence = sentence
        pytest.fail(text, pytrace=False)

    def refuse(self, problem: BenchtestError) -> NoReturn:
        """Fail because nothing could be put on the bench."""
        self.fail(str(problem).partition("\n")[0], f"{problem}\nNothing was energised.")


class CheckItem(Placed):
    """One check of a board, or the run itself."""

    @classmethod
    def of(cls, parent: StepNode, name: str, *, place: str, requirement: tuple[str, ...] = ()) -> "CheckItem":
        """Return the item of one check."""
        item = cls.from_parent(parent, name=name)
        file, _, line = place.rpartition(":")
        item.stand_at(*((file, int(line)) if line.isdigit() else (place, 0)))
        item.user_properties += [("requirement", one) for one in requirement]
        item.mark()
        return item

    def mark(self) -> None:
        """Mark what needs a real bench, and what belongs together on one worker."""
        real = self.board.asked.real
        if real:
            self.add_marker(pytest.mark.rig)
        if self.config.pluginmanager.hasplugin("xdist"):
            self.add_marker(pytest.mark.xdist_group("bench" if real else self.board.nodeid))

    @property
    def board(self) -> Board:
        """The board that it belongs to."""
        assert isinstance(self.parent, StepNode)
        assert isinstance(self.parent.parent, Board)
        return self.parent.parent

    def setup(self) -> None:
        """Put the board through its procedure; what could not be judged is an error."""
        held = self.board.held()
        if isinstance(held, PlanError):
            self.refuse(held)
        if held.stopped:
            pytest.exit(held.stopped, returncode=pytest.ExitCode.INTERRUPTED)
        self._unless(held, "error")

    def runtest(self) -> None:
        """Fail where the board did, or where nobody can say that it did not."""
        held = self.board.held()
        assert isinstance(held, Held)
        self._unless(held, "failure")

    def _unless(self, held: Held, counted: Counted) -> None:
        assert self.parent is not None
        case = held.cases[self.parent.name, self.name]
        if case.counted == counted:
            self.fail(case.sentence, told(case, held.suspects))


class Unfit(Placed):
    """A document that cannot be read, or a board that this bench cannot test: an error with every reason."""

    problem: BenchtestError

    @classmethod
    def of(cls, parent: pytest.Collector, name: str, problem: BenchtestError) -> "Unfit":
        """Return the item that says so, where the first problem stands."""
        item = cls.from_parent(parent, name=name)
        item.problem = problem
        first = problem.problems[0] if isinstance(problem, DocumentError) else None
        item.stand_at(*((str(first.file), first.line) if first else (str(parent.path), 0)))
        return item

    def setup(self) -> None:
        """Say it."""
        self.refuse(self.problem)

    def runtest(self) -> None:
        """Never come here."""


class Unasked(Placed):
    """A board that is not what was asked for; skipped by its reason."""

    reason: str

    @classmethod
    def of(cls, parent: ProfileFile | Board, name: str, reason: str) -> "Unasked":
        """Return the item that says so."""
        item = cls.from_parent(parent, name=name)
        item.reason = reason
        item.stand_at(str(parent.path), 0)
        return item

    def runtest(self) -> None:
        """Skip it."""
        pytest.skip(self.reason)
