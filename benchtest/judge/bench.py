"""What a bench finds of itself: how soon its adapters answer, how fast its clock is, what its link adapters hear."""

import math
from typing import assert_never

from benchtest.judge.finding import Case, Finding, NotSeen, Undecided, seconds
from benchtest.metrology.uncertainty import clock_rate
from benchtest.procedure import ClockRate, HeardBack, RoundTrip
from benchtest.readings import Compared, Exchanged, LoopedBack


def find(case: Case, asked: RoundTrip | ClockRate | HeardBack) -> Finding:
    """Return what is asked of the bench itself."""
    match asked:
        case RoundTrip():
            return _round_trip(case, asked)
        case ClockRate():
            return _clock_rate(case, asked)
        case HeardBack():
            return _heard_back(case, asked)
        case _:
            assert_never(asked)


def within(taken: tuple[float, ...], share: float) -> float:
    """Return the smallest of some times within which this share of them lies: the nearest-rank percentile."""
    return sorted(taken)[max(0, math.ceil(share * len(taken)) - 1)]


def _round_trip(case: Case, asked: RoundTrip) -> Finding:
    """Return within which time a share of the answers came; the note has the shortest, the middle and the longest."""
    evidence = case.evidence(asked.evidence)
    if not isinstance(evidence, Exchanged) or not evidence.seconds.get(asked.adapter):
        raise Undecided(f"{asked.adapter} was not asked")
    taken = evidence.seconds[asked.adapter]
    spread = f"{len(taken)} answers: {seconds(min(taken))} at least, {seconds(within(taken, 0.5))} in the middle, "
    spread += f"99 % within {seconds(within(taken, 0.99))}"
    step = f"; this computer's clock steps by {seconds(evidence.step)}" if evidence.step else ""
    return Finding(value=within(taken, asked.share), note=f"{spread}, {seconds(max(taken))} at most{step}")


def _clock_rate(case: Case, asked: ClockRate) -> Finding:
    """Return the relative deviation of the adapter's clock from the rig's between two readings of both."""
    evidence = case.evidence(asked.evidence)
    if not isinstance(evidence, Compared):
        raise Undecided(f"evidence {asked.evidence!r} is not of two clocks")
    brackets = [(after - before) / 2 for before, after in zip(evidence.asked, evidence.answered, strict=True)]
    first, last = (before + half for before, half in zip(evidence.asked, brackets, strict=True))
    if not last > first:
        raise Undecided("the rig's clock did not move between the two readings")
    deviation = (evidence.adapter[1] - evidence.adapter[0]) / (last - first) - 1
    return Finding(value=deviation, budget=clock_rate(last - first, stamps=tuple(brackets)))


def _heard_back(case: Case, asked: HeardBack) -> Finding:
    """Return whether the one link adapter heard the other."""
    evidence = case.evidence(asked.evidence)
    if not isinstance(evidence, LoopedBack):
        raise Undecided(f"evidence {asked.evidence!r} is not of two link adapters")
    taken = evidence.out if asked.way == "out" else evidence.back
    if math.isinf(taken):
        raise NotSeen("nothing came round")
    return Finding(value="heard", note=f"after {seconds(taken)}")
