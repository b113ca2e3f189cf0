"""How many whole simulated runs a processor makes in a second, and what a second processor adds.

Run alone with `pytest tests/benchmarks/test_studies.py -s`. The figures beside the limits are for the page; the limits
leave room for others on the same machine.
"""

import os
import statistics
from time import perf_counter, process_time

import pytest

from benchtest.studies.trial import Trial, try_one
from benchtest.studies.trials import carry_out
from tests.benchmarks.yardstick import slowness
from tests.studies.studied import greenhouse

LEAST_RUNS = 6.0
"""A second and processor, on the machine that the yardstick was taken from."""
LEAST_EFFICIENCY = 0.6
"""Of two processes beside one."""


def test_runs_a_second() -> None:
    """Complete greenhouse runs in virtual time, judged, without papers."""
    try_one(greenhouse(), Trial(faults=(), seed=0))
    rates = []
    for seed in range(1, 8):
        begin = process_time()
        try_one(greenhouse(), Trial(faults=(), seed=seed))
        rates.append(slowness() / (process_time() - begin))
    rate = statistics.median(rates)
    print(f"\n{rate:.1f} greenhouse runs a second and processor (limit {LEAST_RUNS:g})")

    assert rate >= LEAST_RUNS


def test_two_processors_do_twice_the_work() -> None:
    """The same trials on one process and on two, start of the processes included; the better of two."""
    if len(os.sched_getaffinity(0)) < 2:
        pytest.fail("this machine has one processor: the test says nothing here")
    trials = [Trial(faults=(), seed=seed) for seed in range(48)]
    efficiencies = []
    for _ in range(2):
        spent = []
        for jobs in (1, 2):
            begin = perf_counter()
            carry_out(greenhouse(), trials, jobs=jobs)
            spent.append(perf_counter() - begin)
        efficiencies.append(spent[0] / spent[1] / 2)
    print(f"\ntwo processes work at {max(efficiencies):.0%} of twice one (limit {LEAST_EFFICIENCY:.0%})")

    assert max(efficiencies) >= LEAST_EFFICIENCY
