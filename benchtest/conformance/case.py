"""One opened bench adapter, a rule about it, and what came of trying it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from benchtest.clock import Clock
from benchtest.errors import AdapterRefused, RigError
from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.wiring import adapter_of, channels
from benchtest.instruments import BenchAdapter, Role

BEAT: Final = 0.1
"""Seconds between signs of life."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """One opened bench adapter."""

    bench: BenchAdapter
    clock: Clock
    fixture: Fixture
    harness: Harness
    board: bool = False
    """A good board is on the bench."""
    dead_man: float | None = None
    """Seconds after which the adapter takes everything off by itself; None where it has no such thing."""
    due: Callable[[], float] = lambda: float("inf")
    """When the host must tend to a recording next."""

    def wait(self, seconds: float) -> None:
        """Wait by the rig's clock, showing the adapter that its user is alive."""
        end = self.clock.now() + seconds
        while (now := self.clock.now()) < end:
            self.clock.sleep_until(min(end, now + BEAT, max(now, self.due())))
            self.bench.beat()

    def channel(self, role: Role, place: int = 0) -> int:
        """Return the first channel of a role, or a later one; 0 where there is none."""
        found = list(getattr(self.harness, role.value).values())
        return found[place] if place < len(found) else 0

    def beside(self, role: Role) -> int:
        """Return the channel of a role at the terminals of the first supply; 0 where there is none."""
        terminals = next(iter(self.harness.supply), None)
        found: int = getattr(self.harness, role.value).get(terminals, 0) if terminals is not None else 0
        return found

    @property
    def nowhere(self) -> int:
        """A channel number that no terminal has."""
        return next(number for number in range(999, 100, -1) if number not in channels(self.harness))

    def stamp(self, channel: int) -> float:
        """Return how well, in seconds, orders of a channel are stamped, as the fixture says."""
        return self.fixture.adapters[adapter_of(channel, self.fixture, self.harness)].stamp

    def refuses(self, what: str, act: Callable[[], object]) -> Iterator[str]:
        """Try something that must be refused; yield what is wrong when it is not."""
        try:
            act()
        except AdapterRefused:
            return
        except RigError as problem:
            yield f"{what}: expected a refusal, got {type(problem).__name__}: {problem}"
        else:
            yield f"{what}: expected a refusal, and it was accepted"

    def on(self, expected: set[int], when: str) -> Iterator[str]:
        """Yield what is wrong when other channels are energised than expected."""
        if (found := self.bench.energised()) != expected:
            yield f"{when}: energised {sorted(found)}, expected {sorted(expected)}"


class State(StrEnum):
    """What came of trying a rule."""

    HOLDS = "holds"
    BROKEN = "does not hold"
    NOT_TRIED = "not tried"


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """One rule, tried."""

    rule: str
    sentence: str
    state: State
    found: tuple[str, ...]
    """What was wrong, or why it was not tried."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Rule:
    """One thing that an adapter owes."""

    name: str
    sentence: str
    roles: tuple[Role, ...]
    """Roles that a bench must have for this to be tried."""
    look: Callable[[Case], Iterator[str]]
    """Yields what is wrong."""
    board: bool = False
    """Needs a board on the bench."""


def try_rule(rule: Rule, case: Case) -> Finding:
    """Return what came of trying a rule; everything is off afterwards, or the finding says that it is not."""
    if why := _cannot(rule, case):
        return Finding(rule=rule.name, sentence=rule.sentence, state=State.NOT_TRIED, found=(why,))
    wrong: list[str] = []
    try:
        wrong.extend(rule.look(case))
    except RigError as problem:
        wrong.append(f"{type(problem).__name__}: {problem}")
    try:
        case.bench.all_off()
    except RigError as problem:
        wrong.append(f"all off afterwards: {type(problem).__name__}: {problem}")
    state = State.BROKEN if wrong else State.HOLDS
    return Finding(rule=rule.name, sentence=rule.sentence, state=state, found=tuple(wrong))


def _cannot(rule: Rule, case: Case) -> str:
    """Return why a rule cannot be tried; empty when it can."""
    absent = [role.value for role in rule.roles if not case.channel(role)]
    if absent:
        return f"this adapter has no channel that is {', '.join(absent)}"
    return "needs a board on the bench" if rule.board and not case.board else ""
