"""Everything that is known before a bench is opened: profile and fixture, the choice of a board, the plan for it."""

from dataclasses import dataclass

from benchtest.errors import PlanError
from benchtest.fixture import LoadedFixture
from benchtest.fixture.document import Harness
from benchtest.fixture.wiring import timekeeper
from benchtest.instruments import LONGEST_VIRTUAL, VIRTUAL
from benchtest.plan import HOUR, plan, plan_self_check
from benchtest.procedure import BenchProcedure, Procedure
from benchtest.profile import LoadedProfile
from benchtest.profile.fitting import FittedProfile


@dataclass(frozen=True, kw_only=True, slots=True)
class Prepared:
    """Everything that is known before a bench is opened."""

    profile: LoadedProfile
    fixture: LoadedFixture
    fitted: FittedProfile
    harness: Harness
    procedure: Procedure
    self_check: BenchProcedure | None
    """How the bench checks itself; None where a person or a record is the bench."""

    @property
    def before(self) -> float:
        """The plan's estimate of the bench's check of itself, in seconds."""
        return self.self_check.procedure.duration if self.self_check else 0.0

    @property
    def duration(self) -> float:
        """The plan's estimate of everything, in seconds."""
        return self.before + self.procedure.duration

    @property
    def driver(self) -> str:
        """The driver of the adapter that the board's harness names: `simulated`, or that of a real bench."""
        return self.fixture.fixture.adapters[self.harness.adapter].driver


def prepared(loaded: LoadedProfile, bench: LoadedFixture, fitted: FittedProfile, *, partial: bool = False) -> Prepared:
    """Plan one choice of a board on a bench; with `partial` as far as the bench goes.

    Raises PlanError where the bench cannot do it; nothing was energised then.
    """
    part = loaded.profile.board.part
    harness = bench.harnesses.get(part)
    if harness is None:
        known = ", ".join(bench.harnesses) or "none"
        raise PlanError([f"{bench.path}: no harness for {part} (this fixture has: {known})"])
    keeper = timekeeper(bench.fixture, harness)
    simulated = keeper.driver == "simulated" or keeper.identity.startswith(VIRTUAL)
    procedure = plan(
        fitted,
        database=loaded.database,
        fixture=bench.fixture,
        harness=harness,
        place=loaded.place,
        partial=partial,
        longest=LONGEST_VIRTUAL if simulated else HOUR,
    )
    own = plan_self_check(bench.fixture, harness, link=procedure.link, board=True)
    return Prepared(profile=loaded, fixture=bench, fitted=fitted, harness=harness, procedure=procedure, self_check=own)
