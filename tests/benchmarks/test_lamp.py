"""Speed of the lamp reader as multiples of real time, beside a plain whole-array count and a filter of scipy's.

Run alone with `pytest tests/benchmarks/test_lamp.py -s` to see the figures.
"""

from collections.abc import Callable
from time import perf_counter

import numpy as np
import pytest
from scipy.signal import butter, medfilt, sosfiltfilt

from benchtest.procedure import CountRhythm
from benchtest.signals.lamp import decode
from benchtest.signals.levels import Samples

RATE = 1000.0
SECONDS = 600.0
COUNT = CountRhythm(flash=0.2, gap=0.2, pause=1.2)
LIMIT = 2000.0


@pytest.fixture(scope="module")
def samples() -> Samples:
    """Ten minutes of a lamp that counts three, at 1 kHz, 20 dB over the noise, under 100 Hz of a room lamp."""
    times = np.arange(round(RATE * SECONDS)) / RATE
    lit = (times % 2.2 < 1.0) & (times % 2.2 % 0.4 < 0.2)
    flicker = 0.1 * np.sin(2 * np.pi * 100.0 * times)
    return np.asarray(lit + flicker + np.random.default_rng(1).normal(0, 0.1, times.size))


def multiple(work: Callable[[], object]) -> float:
    """Return how many times faster than real time the best of three runs was."""
    spent = []
    for _ in range(3):
        begin = perf_counter()
        work()
        spent.append(perf_counter() - begin)
    return SECONDS / min(spent)


def flashes(samples: Samples) -> int:
    """Return the rising edges of a whole array over a threshold: all that a plain count does."""
    return int(np.count_nonzero(np.diff((samples > 0.5).astype(np.int8)) > 0))


def test_a_record_of_1_khz_is_read_2000_times_faster_than_it_was_made(samples: Samples) -> None:
    """The whole reader, its carriers, levels, chain and confidence included, against real time."""
    filtered = butter(2, 10.0, fs=RATE, output="sos")
    ours = multiple(lambda: decode(samples, COUNT, rate=RATE))
    learned = multiple(lambda: decode(samples, rate=RATE))
    plain = multiple(lambda: flashes(samples))
    median = multiple(lambda: flashes(medfilt(samples, 15)))
    second = multiple(lambda: flashes(sosfiltfilt(filtered, samples)))
    print(
        f"\n× real time: lamp reader {ours:,.0f} (limit {LIMIT:,.0f}), rhythm learned {learned:,.0f}; counting only: "
        f"plain numpy {plain:,.0f}, scipy medfilt {median:,.0f}, scipy sosfiltfilt {second:,.0f}"
    )
    true = round(3 * SECONDS / 2.2)
    print(f"flashes: plain {flashes(samples)}, median {flashes(medfilt(samples, 15))}, true about {true}")

    assert decode(samples, COUNT, rate=RATE).word == "3"
    assert ours >= LIMIT
