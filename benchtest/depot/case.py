"""Entries → case: where a board stands and what is known of it, by going through its lines in order.

The rules that need more than the table of `states` stand here, in `objection`: who may release, what a limit means.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, TypeVar

from benchtest.depot import states
from benchtest.depot.entries import (
    BEGINNING,
    BeyondRepair,
    Entry,
    Erased,
    Fact,
    Intake,
    LimitSet,
    Released,
    Reopened,
    Repaired,
    Returned,
    Scrapped,
    Tested,
    Triaged,
)
from benchtest.depot.states import OVER, Move, State
from benchtest.errors import WrongMove
from benchtest.results import Outcome

Kind = TypeVar("Kind", bound=Fact)


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """A board's stay in the depot."""

    work_order: str
    state: State
    intake: Intake
    entries: tuple[Entry, ...]
    head: str
    """Digest of the last line."""
    limit: int | None
    """Cost limit that holds now, hundredths of the currency."""
    cost: int = 0
    minutes: int = 0
    workers: frozenset[str] = frozenset()
    """Who has tested or repaired it, as `known_as` writes them."""
    found: Outcome | None = None
    """What the as-found runs showed: a failure, once seen, stays."""
    first_left: Outcome | None = None
    """What the first as-left run showed."""
    left: Outcome | None = None
    """What the last one showed."""
    erased: frozenset[str] = frozenset()
    """Personal fields that were taken out."""

    @property
    def open(self) -> bool:
        """Whether the board is still here."""
        return self.state not in OVER

    def all_of(self, kind: type[Kind]) -> list[Kind]:
        """Return the facts of one kind, in order."""
        return [entry.fact for entry in self.entries if isinstance(entry.fact, kind)]

    @property
    def clock_back(self) -> bool:
        """Whether an entry is dated before the one ahead of it: times cannot be counted then."""
        moments = [entry.moment for entry in self.entries]
        return any(later < earlier for earlier, later in pairwise(moments))

    @property
    def without_finding(self) -> bool:
        """Whether it passed as found and nothing was done to it."""
        return self.found is Outcome.PASS and not self.all_of(Repaired)


def known_as(name: str) -> str:
    """Return a person's name so that case and blanks do not tell two spellings apart."""
    return " ".join(name.casefold().split())


def replayed(entries: Iterable[Entry]) -> Case:
    """Return the case that entries tell, from its intake on.

    Raises ValueError when they are not one chain of moves that can follow one another.
    """
    case: Case | None = None
    for entry in entries:
        try:
            case = followed(case, entry)
        except WrongMove as cause:
            raise ValueError(f"entry {entry.number}: {str(cause).splitlines()[0]}") from cause
    if case is None:
        raise ValueError("there is no entry")
    return case


def followed(case: Case | None, entry: Entry) -> Case:
    """Return the case after one more entry; None stands for a case that has only begun.

    Raises WrongMove when the entry cannot follow, ValueError when it does not belong there at all.
    """
    if case is None:
        return _begun(entry)
    if (entry.work_order, entry.number, entry.previous) != (case.work_order, len(case.entries) + 1, case.head):
        raise ValueError(f"entry {entry.number} does not follow the one before it")
    state = state_after(case, entry.fact, entry.by)
    return replace(_noted(case, entry), state=state, entries=(*case.entries, entry), head=entry.digest)


def _begun(entry: Entry) -> Case:
    if not isinstance(entry.fact, Intake) or (entry.number, entry.previous) != (1, BEGINNING):
        raise ValueError("a case begins with an intake")
    limit = entry.fact.cost_limit
    return Case(
        work_order=entry.work_order,
        state=State.RECEIVED,
        intake=entry.fact,
        entries=(entry,),
        head=entry.digest,
        limit=limit,
    )


def state_after(case: Case, fact: Fact, by: str) -> State:
    """Return where a fact takes a case. Raises WrongMove, with what is right instead, when it cannot be now."""
    if isinstance(fact, Erased):
        if case.open:
            why = "its personal data is still needed"
            raise states.refused(case.state, "erasure", order=case.work_order, why=why)
        return case.state
    move = _move(case, fact)
    follows = states.after(case.state, move, order=case.work_order)
    why = objection(case, fact, by)
    if why:
        raise states.refused(case.state, states.asked(move), order=case.work_order, why=why)
    return follows


_PLAIN_MOVES: Final[Mapping[type[Fact], Move]] = {
    Triaged: Move.TRIAGE,
    LimitSet: Move.LIMIT,
    BeyondRepair: Move.BEYOND,
    Released: Move.RELEASE,
    Reopened: Move.REOPEN,
    Returned: Move.RETURN,
    Scrapped: Move.SCRAP,
}
"""Facts that are the same move whatever the case has seen."""


def _move(case: Case, fact: Fact) -> Move:
    """Return which move of the table a fact is."""
    passed = isinstance(fact, Tested) and fact.outcome is Outcome.PASS
    match fact:
        case Tested(phase="as found"):
            return Move.FOUND_PASS if passed else Move.FOUND_OTHER
        case Tested():
            return Move.LEFT_PASS if passed else Move.LEFT_OTHER
        case Repaired():
            over = case.limit is not None and case.cost + fact.cost > case.limit
            return Move.REPAIR_OVER if over else Move.REPAIR
        case Intake():
            raise ValueError("a case has one intake")
    return _PLAIN_MOVES[type(fact)]


def objection(case: Case, fact: Fact, by: str) -> str:
    """Return what speaks against a fact although the table allows it; nothing when all is well."""
    match fact:
        case Triaged(estimate=int(estimate)) if case.limit is not None and estimate > case.limit:
            return f"the estimate {money(estimate)} is over its cost limit {money(case.limit)} (ask for a higher one)"
        case LimitSet(limit=limit) if limit < case.cost:
            return f"{money(case.cost)} has been spent already, more than {money(limit)}"
        case Released(alone="") if known_as(by) in case.workers:
            return f"{by} has tested or repaired it (a second person releases; who works alone says why with --alone)"
        case Released(straps="") if case.intake.straps:
            return f"its straps as left are not stated (as found: {case.intake.straps}; say --straps)"
    return ""


def _noted(case: Case, entry: Entry) -> Case:
    """Return a case with what an entry adds to it, but for its state."""
    by = {known_as(entry.by)}
    match entry.fact:
        case Tested(phase="as found") as fact:
            found = fact.outcome if case.found in {None, Outcome.PASS} else case.found
            return replace(case, found=found, workers=case.workers | by)
        case Tested() as fact:
            return replace(
                case, first_left=case.first_left or fact.outcome, left=fact.outcome, workers=case.workers | by
            )
        case Repaired() as fact:
            cost, minutes = case.cost + fact.cost, case.minutes + fact.minutes
            return replace(case, cost=cost, minutes=minutes, workers=case.workers | by)
        case LimitSet() as fact:
            return replace(case, limit=fact.limit)
        case Erased() as fact:
            return replace(case, erased=case.erased | set(fact.fields))
    return case


def money(hundredths: int) -> str:
    """Return an amount as it is written: `12.50`."""
    return f"{hundredths // 100}.{hundredths % 100:02d}"
