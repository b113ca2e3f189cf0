"""How good a procedure is: which faults it catches, which it misses and why, and how often it wrongs a good board.

A board is caught when the run ends in *fail*. A board that passes is missed; one that is inconclusive is neither.
"""

import statistics
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from benchtest.diagnose.library import majority
from benchtest.faults import Fault, Kind, possible
from benchtest.metrology.figures import permitted, plain
from benchtest.metrology.proportion import lower, upper
from benchtest.procedure import Check, Interval, Procedure
from benchtest.studies.trial import Subject, Tried

APART: Final = 8.0
"""Standard deviations among good boards by which a reading must differ to be called another one."""
WANTED: Final[Mapping[Kind, str]] = {
    Kind.RAIL_RIPPLE: "a step that measures the ripple of {}",
    Kind.SUPPRESSOR_OPEN: "a limit 'kick' for {}, which holds the coil's voltage at release",
    Kind.COIL_TURNS: "a limit 'current' for {}, with the current of its supply wired to the bench",
    Kind.MISSES: "several actuations of {} instead of one",
    Kind.LAMP_FLICKERS: "a longer look at lamp {}",
    Kind.INPUT_MISSES: "several changes of {} instead of one",
    Kind.STARTS_LATE: "a limit for the time from power to the first message or code",
    Kind.SCALING_WRONG: "a check of the voltage that the board reports on the {}",
    Kind.CODE_DISAGREES: "a check of the status code that the board reports on the {}",
}
"""What would show it, where the procedure does not look."""
NEVER: Final = "a step in which it makes a difference whether {} has it"


@dataclass(frozen=True, kw_only=True, slots=True)
class Missed:
    """A fault of which at least one board passed."""

    fault: str
    boards: int
    passed: int
    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class StepShare:
    """What one step is worth."""

    step: str
    title: str
    seconds: float
    catches: int
    """Faults that a check of it shows on every board that was caught."""
    alone: int
    """Faults that no other step shows."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Coverage:
    """What a study found."""

    part: str
    faults: int
    boards: int
    """Boards with a fault that were tried."""
    caught: int
    """Of those, how many failed."""
    inconclusive: int
    """Of those, how many neither failed nor passed."""
    undecided: tuple[str, ...]
    """Faults with such boards: how many of how many, and what was said of the first."""
    always: int
    """Faults of which every board was caught."""
    missed: tuple[Missed, ...]
    good: int
    alarms: tuple[str, ...]
    """Good boards that did not pass: what was said of them."""
    alarm_limit: float
    """Upper limit of the share of good boards that do not pass, one-sided, 95 %."""
    caught_limit: float
    """Lower limit of the share of boards that are caught, one-sided, 95 %."""
    groups: tuple[tuple[str, ...], ...]
    """Faults that look the same to this procedure."""
    seconds: float
    """Bench time of the whole procedure."""
    steps: tuple[StepShare, ...]

    @property
    def share(self) -> float:
        """Share of the faulty boards that were caught."""
        return self.caught / self.boards if self.boards else 1.0

    @property
    def seconds_a_fault(self) -> float:
        """Bench time for each fault that is always caught."""
        return self.seconds / self.always if self.always else float("inf")

    @property
    def idle(self) -> tuple[StepShare, ...]:
        """Steps with readings that show nothing that others do not show."""
        return tuple(step for step in self.steps if step.alone == 0)


def study(subject: Subject, tried: Sequence[Tried]) -> Coverage:
    """Return what the trials say of the procedure."""
    good = [one for one in tried if not one.trial.faults]
    by_fault: dict[str, list[Tried]] = defaultdict(list)
    for one in tried:
        if len(one.trial.faults) == 1:
            by_fault[one.trial.faults[0]].append(one)
    boards = [one for some in by_fault.values() for one in some]
    caught = [one for one in boards if one.outcome == "fail"]
    alarms = [one for one in good if one.outcome != "pass"]
    known = {fault.text: fault for fault in possible(subject.fitted)}
    passed = {text: [one for one in some if one.outcome == "pass"] for text, some in by_fault.items()}
    usual = _usual(good)
    return Coverage(
        part=subject.procedure.part,
        faults=len(by_fault),
        boards=len(boards),
        caught=len(caught),
        inconclusive=sum(one.outcome == "inconclusive" for one in boards),
        undecided=tuple(_undecided(by_fault)),
        always=sum(all(one.outcome == "fail" for one in some) for some in by_fault.values()),
        missed=tuple(
            Missed(
                fault=text,
                boards=len(by_fault[text]),
                passed=len(some),
                reason=_reason(known[text], some, usual, subject),
            )
            for text, some in passed.items()
            if some
        ),
        good=len(good),
        alarms=tuple(f"{one.trial.name}: {_said(one)}" for one in alarms),
        alarm_limit=upper(len(alarms), len(good)) if good else 1.0,
        caught_limit=lower(len(caught), len(boards)) if boards else 0.0,
        groups=_groups(by_fault),
        seconds=subject.procedure.duration,
        steps=_steps(subject.procedure, by_fault),
    )


def _said(one: Tried) -> str:
    return ", ".join(f"{check} {word}" for check, word in list(one.symptoms.items())[:3]) or one.outcome


def _undecided(by_fault: Mapping[str, Sequence[Tried]]) -> Iterator[str]:
    for text, some in by_fault.items():
        if undone := [one for one in some if one.outcome == "inconclusive"]:
            yield f"{text} ({len(undone)} of {len(some)} inconclusive): {_said(undone[0])}"


def _groups(by_fault: Mapping[str, Sequence[Tried]]) -> tuple[tuple[str, ...], ...]:
    """Return the faults whose boards fail in the same checks in the same way, more often than not."""
    alike: dict[object, list[str]] = defaultdict(list)
    for text, some in by_fault.items():
        if looks := majority([one.symptoms for one in some]):
            alike[looks].append(text)
    return tuple(tuple(texts) for texts in alike.values() if len(texts) > 1)


def _steps(procedure: Procedure, by_fault: Mapping[str, Sequence[Tried]]) -> tuple[StepShare, ...]:
    """Return what each step with readings is worth, in order."""
    of = {check.id: step.id for step in procedure.steps for check in step.checks}
    shown: list[set[str]] = []
    for some in by_fault.values():
        caught = [{of[check] for check in one.symptoms} for one in some if one.outcome == "fail"]
        shown.append(set.intersection(*caught) if caught else set())
    return tuple(
        StepShare(
            step=step.id,
            title=step.title,
            seconds=step.duration,
            catches=sum(step.id in steps for steps in shown),
            alone=sum(steps == {step.id} for steps in shown),
        )
        for step in procedure.steps
        if step.checks
    )


# ---- why a fault was missed

_Usual = Mapping[str, tuple[float, float]]
"""Check → mean and standard deviation among good boards."""


def _usual(good: Sequence[Tried]) -> _Usual:
    values: dict[str, list[float]] = defaultdict(list)
    for one in good:
        for check, value in one.values.items():
            if isinstance(value, (int, float)):
                values[check].append(float(value))
    return {check: (statistics.fmean(some), statistics.pstdev(some)) for check, some in values.items() if len(some) > 2}


def _reason(fault: Fault, passed: Sequence[Tried], usual: _Usual, subject: Subject) -> str:
    """Return what would have to be otherwise for the fault to be caught."""
    checks = {check.id: check for step in subject.procedure.steps for check in step.checks}
    moved = [_moved(one, usual) for one in passed]
    most = max(moved, key=lambda found: found[1], default=("", 0.0))
    if most[1] > APART:
        return _too_wide(checks[most[0]], passed[moved.index(most)], usual[most[0]][0])
    if unwired := _unwired(fault, subject):
        return f"not wired on this bench: {unwired}"
    wanted = WANTED.get(fault.kind, NEVER).format(fault.subject)
    return f"no reading differs from a good board's; wanted: {wanted}"


def _moved(one: Tried, usual: _Usual) -> tuple[str, float]:
    """Return the check whose value is farthest from a good board's, and by how many standard deviations."""
    far = {
        check: abs(float(value) - usual[check][0]) / max(usual[check][1], 1e-3 * abs(usual[check][0]), 1e-9)
        for check, value in one.values.items()
        if check in usual and isinstance(value, (int, float))
    }
    return max(far.items(), key=lambda item: item[1], default=("", 0.0))


def _too_wide(check: Check, one: Tried, mean: float) -> str:
    value = one.values[check.id]
    assert isinstance(value, (int, float))
    allowed = check.permitted
    limits = permitted(allowed.low, allowed.high, check.unit) if isinstance(allowed, Interval) else allowed
    seen, good = plain(float(value), check.unit), plain(mean, check.unit)
    return f"the limit of {check.title} is too wide ({limits}; {check.place}): {seen} here, {good} on a good board"


def _unwired(fault: Fault, subject: Subject) -> str:
    """Return the terminals of the part that this bench has no wire to; nothing when it has them all."""
    relay = subject.fitted.profile.relays.get(fault.parts[0])
    wired = {pair for table in (subject.harness.sense, subject.harness.contact) for pair in table}
    pairs = [] if relay is None else [relay.coil, relay.contact.make, relay.contact.break_]
    return ", ".join(str(pair) for pair in pairs if pair is not None and pair not in wired)
