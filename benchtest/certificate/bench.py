"""What the paper says of the bench's check of itself, and of the timing with which the board was judged for it."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from benchtest.certificate.lines import Fact, Row, counts, facts, row, short
from benchtest.language import Language
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


def bench_of(run: Run, words: Language) -> Bench | None:
    """Return what a run's bench found of itself; None where a person or a record was the bench."""
    found = run.bench_check
    if found is None:
        return None
    bad = [one for one in found.results if one.verdict is not Verdict.PASS]
    figured = [one for one in found.results if isinstance(one.check.measurand, RoundTrip | ClockRate | Scalar)]
    return Bench(
        summary=_summary(found, words),
        rows=tuple(row(one.check, one, words) for one in dict.fromkeys((*bad, *figured))),
        facts=facts(
            words,
            {
                "drives": _drives(found.results, words),
                "times_used": _timing(found.timing, words),
                "not_looked_at": words.phrase("; ".join(found.left_out)),
                "proof": words.phrase(found.reference),
            },
        ),
    )


def _summary(found: BenchCheck, words: Language) -> str:
    said = counts((one.verdict for one in found.results), words)
    return said if found.outcome is Outcome.PASS else f"{said}: {short(words.phrase(found.reason), words)}"


def _drives(results: Iterable[Result], words: Language) -> str:
    """Return how many drives followed their orders, and how soon at the latest."""
    loops = [one for one in results if isinstance(one.check.measurand, Delay) and one.verdict is Verdict.PASS]
    taken = [one.value for one in loops if isinstance(one.value, float)]
    if not taken:
        return ""
    limit = next(one.check.permitted for one in loops)
    high = limit.high if isinstance(limit, Interval) else None
    within = words.say("movements_permitted", limit=words.number(plain(high, "s"))) if high else ""
    return words.say("movements", count=len(taken), time=words.number(plain(_rounded(taken), "s")), permitted=within)


def _rounded(taken: Sequence[float]) -> float:
    """Return the longest of some times, rounded up to two digits."""
    longest = max(taken)
    if longest <= 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(longest)) - 1)
    return math.ceil(longest / step) * step


def _timing(timing: Timing, words: Language) -> str:
    late = words.say("late", time=words.number(plain(timing.latency, "s"))) if timing.latency else words.say("on_time")
    return words.say(
        "timing",
        clock=_within(timing.clock, "%", words),
        stamp=_within(timing.stamp, "s", words),
        link=_within(timing.link_stamp, "s", words),
        latency=late,
    )


def _within(value: float, unit: str, words: Language) -> str:
    return words.say("within", value=words.number(plain(value, unit))) if value else words.say("not_in_doubt")
