"""Speed of crossings and of contact timing: ratios to one pass of `max` over the same array, in the same minutes.

Both are measured in turn, in processor time, and the best of each is compared, so that what else the machine does
spoils neither alone.
Run alone with `pytest tests/benchmarks/test_signals.py -s` to see the figures, the whole-array numpy version and
scipy's beside them.
"""

import tracemalloc
from collections.abc import Callable
from time import thread_time
from typing import Any

import numpy as np
import pytest
from numpy.typing import DTypeLike, NDArray
from scipy import signal

from benchtest.signals.contact import settling
from benchtest.signals.levels import crossings, states
from benchtest.signals.series import Sampled
from tests.signals.trains import HIGH, LOW, random_train

SAMPLES = 10**8
HALF_PERIOD = 10_000
LOW_LEVEL, HIGH_LEVEL = 1.5, 3.5
ROUNDS = 7
MOST_MEMORY = 64 << 20


def square(dtype: DTypeLike) -> NDArray[Any]:
    """Return a square wave of 0 and 5 with 10 000 levels and noise of 0.3, made in stretches."""
    samples = np.empty(SAMPLES, dtype)
    noise = np.random.default_rng(1).normal(0.0, 0.3, 1 << 20).astype(dtype)
    noise = np.clip(noise, -1.4, 1.4)  # never across a threshold of the other side, so that the edges are known
    for start in range(0, SAMPLES, noise.size):
        part = samples[start : start + noise.size]
        levels = (np.arange(start, start + part.size) // HALF_PERIOD) % 2
        np.add(levels * 5, noise[: part.size], out=part, casting="same_kind")
    return samples


def spent(work: Callable[[], object]) -> float:
    """Return the processor seconds of one call: a short one fits between two of other jobs, a long one does not."""
    begin = thread_time()
    work()
    return thread_time() - begin


def whole_array(samples: NDArray[Any]) -> NDArray[np.intp]:
    """Return crossings as numpy does them plainly: every step over the whole array."""
    above, below = samples >= HIGH_LEVEL, samples <= LOW_LEVEL
    decided = np.flatnonzero(above | below)
    return np.asarray(decided[1:][np.diff(above[decided])])


@pytest.mark.parametrize(("dtype", "limit"), [(np.float32, 3.2), (np.float64, 2.6)], ids=["float32", "float64"])
def test_crossings_of_a_hundred_million_samples(dtype: DTypeLike, limit: float) -> None:
    """Few times one pass over the array, with little memory beside it, and every edge where it is."""
    samples = square(dtype)
    pairs = [
        (spent(samples.max), spent(lambda: crossings(samples, low=LOW_LEVEL, high=HIGH_LEVEL))) for _ in range(ROUNDS)
    ]
    one_pass, ours = (min(column) for column in zip(*pairs, strict=True))
    tracemalloc.start()
    found = crossings(samples, low=LOW_LEVEL, high=HIGH_LEVEL)
    memory = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    tenth = samples[: SAMPLES // 10]
    plain = min(spent(lambda: whole_array(tenth)) for _ in range(3)) * 10
    peaks = spent(lambda: signal.find_peaks(tenth[: SAMPLES // 100], height=HIGH_LEVEL)) * 100
    print(
        f"\n{samples.dtype}: crossings {ours * 1e3:.0f} ms, one max pass {one_pass * 1e3:.0f} ms, "
        f"ratio {ours / one_pass:.2f} (limit {limit}), memory {memory / 2**20:.1f} MiB (limit 64); "
        f"plain numpy {plain / one_pass:.0f}, scipy find_peaks {peaks / one_pass:.0f} (from a part)"
    )

    assert found.index.tolist() == list(range(HALF_PERIOD, SAMPLES, HALF_PERIOD))
    assert memory <= MOST_MEMORY
    assert ours <= limit * one_pass


def test_contact_timing_of_a_whole_recording() -> None:
    """Sixteen channels of one second at 100 kS/s, codes of a converter as volts: at most 30 ms."""
    rng = np.random.default_rng(4)
    rows = []
    for _ in range(16):
        train = random_train(rng, shortest=2e-5)
        rows.append(train.volts(np.arange(100_000) / 1e5, rng.normal(0.0, 0.1, 100_000)))
    recorded = [Sampled(values=row, rate=1e5) for row in rows]

    def timed() -> list[float | None]:
        return [settling(states(series, low=LOW, high=HIGH)).first.value for series in recorded]

    best = min(spent(timed) for _ in range(15))
    print(f"\ncontact timing of 16 channels of 1 s at 100 kS/s: {best * 1e3:.1f} ms (limit 30 ms)")

    assert all(first is not None for first in timed())
    assert best <= 0.030
