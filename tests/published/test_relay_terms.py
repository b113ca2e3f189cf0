"""What the relay trade means by its times."""

import numpy as np

from benchtest.signals.contact import arrival, bouncing

RATE = 10_000.0
OPEN_CIRCUIT = 6.0
"""Volts, the largest for a bounce test: MIL-R-5757J, 4.6.8.5.1 (read in a public copy, p. 25)."""


def test_operate_time_excludes_bounce() -> None:
    """MIL-R-5757J, 6.8 and two makers' glossaries: operate time ends at the first making, whatever follows."""
    samples = np.full(400, OPEN_CIRCUIT)
    samples[150:] = 0.01  # first making 15 ms in
    samples[160:175] = OPEN_CIRCUIT  # and a bounce
    found = arrival(samples, low=0.1 * OPEN_CIRCUIT, high=0.9 * OPEN_CIRCUIT, above=False, after=50)
    assert found.moment is not None
    assert abs((found.moment - 50) / RATE - 0.010) <= 0.5 / RATE + 1e-12


def test_bounce_time_runs_from_the_first_to_the_last_closing_or_opening() -> None:
    """MIL-R-5757J, 6.8, and a relay maker's glossary: 1.0 ms made, 1.5 ms open, then made for good is 2.5 ms."""
    samples = np.full(400, OPEN_CIRCUIT)
    samples[150:] = 0.01
    samples[160:175] = OPEN_CIRCUIT
    found = bouncing(samples, low=0.1 * OPEN_CIRCUIT, high=0.9 * OPEN_CIRCUIT)
    assert found is not None
    assert (found.duration / RATE, found.count) == (0.0025, 1)


def test_a_bounce_reaches_ninety_per_cent_of_the_open_circuit_voltage() -> None:
    """MIL-R-5757J, 4.6.8.5.1: a rise to 89 % is no bounce, one to 90 % is."""
    for share, bounces in ((0.89, 0), (0.90, 1)):
        samples = np.concatenate((np.full(20, OPEN_CIRCUIT), np.full(20, 0.0)))
        samples[30] = share * OPEN_CIRCUIT
        found = bouncing(samples, low=0.1 * OPEN_CIRCUIT, high=0.9 * OPEN_CIRCUIT)
        assert found is not None
        assert found.count == bounces
