"""What the paper says of the bench's check of itself, and of the timing with which the board was judged for it."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from benchtest.certificate.lines import Fact, Row, counts, facts, row, short
from benchtest.metrology.figures import plain
from benchtest.procedure import ClockRate, Delay, Interval, RoundTrip, Scalar, Timing
from benchtest.results import BenchCheck, Outcome, Result, Run, Verdict


@dataclass(frozen=True, kw_only=True, slots=True)
class Bench:
    """The part about the bench itself."""

    summary: str
    rows: tuple[Row, ...]
    """What was measured of it, and what did not pass."""
    facts: tuple[Fact, ...]


def bench_of(run: Run) -> Bench | None:
    """Return what a run's bench found of itself; None where a person or a record was the bench."""
    found = run.bench_check
    if found is None:
        return None
    bad = [one for one in found.results if one.verdict is not Verdict.PASS]
    figured = [one for one in found.results if isinstance(one.check.measurand, RoundTrip | ClockRate | Scalar)]
    return Bench(
        summary=_summary(found),
        rows=tuple(row(one.check, one) for one in dict.fromkeys((*bad, *figured))),
        facts=facts(
            {
                "Drives read back": _drives(found.results),
                "Times as used": _timing(found.timing),
                "Not looked at": short("; ".join(found.left_out)),
                "Proof of the bench": found.reference,
            }
        ),
    )


def _summary(found: BenchCheck) -> str:
    said = counts(one.verdict for one in found.results)
    return said if found.outcome is Outcome.PASS else f"{said}: {short(found.reason)}"


def _drives(results: Iterable[Result]) -> str:
    """Return how many drives followed their orders, and how soon at the latest."""
    loops = [one for one in results if isinstance(one.check.measurand, Delay) and one.verdict is Verdict.PASS]
    taken = [one.value for one in loops if isinstance(one.value, float)]
    if not taken:
        return ""
    limit = next(one.check.permitted for one in loops)
    within = f" (permitted {plain(limit.high, 's')})" if isinstance(limit, Interval) and limit.high else ""
    return f"{len(taken)} movements, each within {plain(_rounded(taken), 's')} of its order{within}"


def _rounded(taken: Sequence[float]) -> float:
    """Return the longest of some times, rounded up to two digits."""
    longest = max(taken)
    if longest <= 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(longest)) - 1)
    return math.ceil(longest / step) * step


def _timing(timing: Timing) -> str:
    return (
        f"clock of the recordings {_within(timing.clock, '%')}, moment of a sample {_within(timing.stamp, 's')}, "
        f"moment on the link {_within(timing.link_stamp, 's')}, an order {_late(timing.latency)}"
    )


def _late(seconds: float) -> str:
    return f"up to {plain(seconds, 's')} late" if seconds else "when it says"


def _within(value: float, unit: str) -> str:
    return f"± {plain(value, unit)}" if value else "not in doubt"
