"""Speed of the coil's closed form beside the same circuit in small fixed steps, in the same run.

Run alone with `pytest tests/benchmarks/test_coil.py -s` to see the figures.
"""

from collections.abc import Callable
from time import perf_counter
from typing import Final

import numpy as np
import pytest

from benchtest.simulator.coil import Coil, energise, fitted
from benchtest.simulator.trace import Samples

STEP: Final = 1e-6
"""Seconds of a step."""
SECONDS: Final = 0.05
"""How long the current is followed: five operate times."""
VOLTS: Final = 24.0
COIL: Final = fitted(operate=0.010, release=0.008, resistance=1400.0, volts=VOLTS, clamp=0.7)
LIMIT: Final = 20.0


def stepped(coil: Coil, volts: float) -> Samples:
    """Return the current after every step of 1 µs: Euler's method, written down as it is said."""
    amps, henry, slope, moved = 0.0, coil.open_inductance, 0.0, 0.0
    motion = (coil.closed_inductance - coil.open_inductance) / coil.travel_on
    values = []
    for _ in range(round(SECONDS / STEP)):
        values.append(amps)
        if amps >= coil.pull_in and moved == 0.0:
            slope = motion
        amps += STEP * (volts - (coil.resistance + slope) * amps) / henry
        if slope:
            henry += STEP * slope
            moved += STEP
            slope = motion if moved < coil.travel_on else 0.0
    return np.array(values)


def best(work: Callable[[], object], runs: int) -> float:
    """Return the seconds of the fastest of some runs."""
    spent = []
    for _ in range(runs):
        begin = perf_counter()
        work()
        spent.append(perf_counter() - begin)
    return min(spent)


def test_the_closed_form_is_20_times_faster_than_steps_of_a_microsecond() -> None:
    """The whole course and its samples, from nothing: at each of the steps, and at the 10 kHz of a capture."""
    fine, captured = (np.linspace(0.0, SECONDS, round(SECONDS * rate), endpoint=False) for rate in (1 / STEP, 1e4))
    steps = best(lambda: stepped(COIL, VOLTS), 5)
    closed = best(lambda: energise(COIL, VOLTS).at(fine), 50)
    capture = best(lambda: energise(COIL, VOLTS).at(captured), 50)
    course = best(lambda: energise(COIL, VOLTS), 50)
    errors = np.abs(stepped(COIL, VOLTS) - energise(COIL, VOLTS).at(fine))
    apart = float(errors.max()) * COIL.resistance / VOLTS
    print(
        f"\n{SECONDS * 1e3:g} ms of coil current: steps of 1 µs {steps * 1e3:.2f} ms; closed form at the same "
        f"{fine.size} moments {closed * 1e3:.3f} ms (× {steps / closed:.0f}, limit {LIMIT:g}), at {captured.size} "
        f"moments {capture * 1e6:.0f} µs (× {steps / capture:.0f}), thresholds alone {course * 1e6:.0f} µs "
        f"(× {steps / course:.0f}); apart by at most {apart:.1e} of V/R"
    )

    assert apart == pytest.approx(0.0, abs=1e-3)
    assert steps / capture >= LIMIT
