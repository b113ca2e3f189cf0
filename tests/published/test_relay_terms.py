"""What the relay trade means by its times."""

import numpy as np

from benchtest.signals.contact import BOUNCE_SHARE, BounceRule, TimeRule, arrival, bouncing, change_time, settling
from benchtest.signals.holding import ELECTRONIC_LOGIC, HIGH_LEVEL
from benchtest.signals.levels import states
from benchtest.signals.resistance import CC0, CC1, CC2, FourWire, beyond, reversed_current
from benchtest.signals.series import Sampled, Stamped

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


def test_operate_time_runs_to_the_last_of_all_contacts() -> None:
    """MIL-R-5757J, 6.8, and a relay maker's terminology page: closing of all normally open contacts, bounce excluded.

    Contact time, which includes bounce, is common practice, no source.
    """
    poles = []
    for first in (150, 170):
        samples = np.full(1000, OPEN_CIRCUIT)
        samples[first:] = 0.01
        samples[first + 10 : first + 20] = OPEN_CIRCUIT
        found = states(Sampled(values=samples, rate=RATE), low=0.1 * OPEN_CIRCUIT, high=BOUNCE_SHARE * OPEN_CIRCUIT)
        poles.append(settling(found, since=0.005))
    operate = change_time(poles, cause=0.005, rule=TimeRule.LAST_CONTACT).seconds.value
    contact = change_time(poles, cause=0.005, rule=TimeRule.SETTLED).seconds.value
    assert operate is not None
    assert contact is not None
    assert abs(operate - 0.012) <= 0.5 / RATE + 1e-12
    assert abs(contact - 0.014) <= 0.5 / RATE + 1e-12


def test_a_bounce_lasts_ten_microseconds() -> None:
    """MIL-R-5757J, 4.6.8.5.1: of openings of 9.9 and 10.1 µs to the open-circuit voltage one is a bounce."""
    moments = np.cumsum([0.015, 1e-3, 9.9e-6, 1e-3, 10.1e-6])
    series = Stamped(times=moments, rising=np.arange(5) % 2 == 1, first=True, begin=0.0, end=0.05)
    returns = settling(states(series, low=0, high=1), rule=BounceRule.MIL_R_5757J).returns
    assert (returns.least, returns.most) == (1, 1)


def test_limits_of_the_miss_and_stick_rules() -> None:
    """MIL-PRF-22885/71C: 2.1 V after 10 ms, 90 %; MIL-R-5757J, 3.22: 5 % closed, 95 % open."""
    logic, high = ELECTRONIC_LOGIC, HIGH_LEVEL
    assert (logic.closed_volts, logic.wait, logic.open_share) == (2.1, 10e-3, 0.9)
    assert (high.closed_share, high.open_share) == (0.05, 0.95)


def test_test_supplies_of_the_contact_categories() -> None:
    """IEC 61810-7, second hand: CC0 30 mV and 10 mA, CC1 10 V and 100 mA, CC2 30 V and 1 A."""
    limits = ((CC0, 30e-3, 10e-3), (CC1, 10.0, 0.1), (CC2, 30.0, 1.0))
    for category, volts, amps in limits:
        assert beyond(category, open_volts=volts, amps=amps) == ()
        assert len(beyond(category, open_volts=volts * 1.01, amps=amps * 1.01)) == 2


def test_the_usual_test_current_is_within_low_load() -> None:
    """MIL-R-83407C, 4.5.8: 100 mA at 6 V d.c. is CC1, and too much for a dry circuit."""
    forth, back = FourWire(volts=1.2e-3, amps=0.1), FourWire(volts=-1.0e-3, amps=-0.1)
    found = reversed_current(forth, back, open_volts=6.0, category=CC1)
    assert found.ohms.value is not None
    assert abs(found.ohms.value - 0.011) < 1e-12
    assert reversed_current(forth, back, open_volts=6.0, category=CC0).ohms.value is None
