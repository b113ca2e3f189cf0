"""What a budget costs, as ratios inside one run: against GTC on the same inputs, and against judging a whole board.

Run alone with `pytest tests/benchmarks -s` to see the figures.
"""

import statistics
from collections.abc import Callable
from dataclasses import replace
from time import perf_counter
from typing import Any

import GTC

from benchtest.cli.documents import Prepared
from benchtest.judge import judge_all
from benchtest.metrology.budget import combine
from benchtest.metrology.conformity import specific_risk
from benchtest.metrology.coverage import probability
from benchtest.metrology.uncertainty import Quality, Scatter, contact_resistance, reading

DROP = Quality(channel="c", unit="V", of_reading=0.0005, plus=0.001, step=0.0005)
REPEAT = Scatter(standard=2e-5, freedom=19.0)


def ours() -> float:
    """Return U of a contact's resistance: budget, effective degrees of freedom, factor, and what a pass risks."""
    budget = contact_resistance(reading(0.04, DROP, REPEAT), volts=0.04, source=12.0, series=120.0, tolerance=0.01)
    both = combine(budget)
    specific_risk("pass", 0.4, both.standard, low=None, high=0.5, freedom=both.freedom)
    return both.expanded(2.0)[0]


def theirs() -> float:
    """Return the same of GTC."""
    errors = (0.00102 / 3**0.5, 0.0005 / 12**0.5)
    volts = 0.04 + sum(GTC.ureal(0, u) for u in errors) + GTC.ureal(0, REPEAT.standard, REPEAT.freedom)
    ohms = volts * 120.0 * (1 + GTC.ureal(0, 0.01 / 3**0.5)) / (12.0 - volts)
    return float(ohms.u * GTC.rp.k_factor(ohms.df, p=100 * probability(2.0)))


def seconds(work: Callable[[], object], *, times: int) -> float:
    """Return the median of five repeats, per call."""
    found = []
    for _ in range(5):
        begin = perf_counter()
        for _ in range(times):
            work()
        found.append((perf_counter() - begin) / times)
    return statistics.median(found)


def test_a_budget_of_independent_terms_is_quicker_than_gtc() -> None:
    """The same reading, with degrees of freedom, factor and risk: in no more time than GTC, and the same U."""
    own, gtc = seconds(ours, times=500), seconds(theirs, times=100)
    print(f"\nbudget with k and risk {own * 1e6:.0f} µs, GTC {gtc * 1e6:.0f} µs, ratio {own / gtc:.2f} (limit 1)")

    assert abs(ours() / theirs() - 1) < 1e-6
    assert own <= gtc


def test_uncertainties_are_a_small_part_of_judging(greenhouse: Prepared, bench: Any) -> None:
    """Combining every budget of a run, its factors and risks take at most a third of judging it."""
    performed = bench.performed(greenhouse)
    budgets = [result for result in performed.results if result.budget is not None]
    wide = [replace(result.budget) for result in budgets if result.budget is not None]

    def combine_all() -> None:
        for budget in wide:
            combine(budget).expanded(2.0)

    judging = seconds(lambda: judge_all(greenhouse.procedure, performed.readings), times=3)
    combining = seconds(combine_all, times=3)
    each = combining / len(wide) * 1e6
    share = combining / judging
    print(f"\n{len(wide)} budgets combine in {combining * 1e3:.2f} ms ({each:.1f} µs each), {share:.0%} of judging")

    assert share <= 1 / 3
