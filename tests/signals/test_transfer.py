"""Change-over contacts."""

import numpy as np
import pytest

from benchtest.signals.levels import States, states
from benchtest.signals.series import Sampled, Stamped
from benchtest.signals.transfer import transfer
from tests.signals.trains import HIGH, LOW, MADE, OPEN

TIMES = np.arange(1000) / 1e4


def contact(first: bool, *changes: float) -> States:
    """Return a contact, made first or open, that changes at moments."""
    made = (np.searchsorted(np.array(changes), TIMES, side="right") % 2 == 1) != first
    return states(Sampled(values=np.where(made, MADE, OPEN), rate=1e4), low=LOW, high=HIGH)


def stamped(first: bool, *changes: float) -> States:
    """Return the same as an ideal edge list."""
    rising = (np.arange(len(changes)) % 2 == 0) == first
    series = Stamped(times=np.array(changes), rising=rising, first=not first, begin=0.0, end=0.0999)
    return states(series, low=0.0, high=1.0)


def test_break_before_make_with_its_transit_time() -> None:
    """Opens at 20 ms, the other closes at 23 ms and bounces: 3 ms, bounce excluded."""
    for kind in (contact, stamped):
        found = transfer(kind(True, 0.02), kind(False, 0.023, 0.024, 0.0245))
        assert found.order == "break before make"
        assert found.transit.value == pytest.approx(0.003, abs=2e-4)
        assert found.bridged.value == 0


def test_make_before_break_is_found_and_its_overlap_told() -> None:
    """The other closes 2 ms before this one opens."""
    found = transfer(contact(True, 0.025), contact(False, 0.023))
    assert found.order == "make before break"
    assert found.transit.value == pytest.approx(-0.002, abs=2e-4)
    assert found.bridged.value == pytest.approx(0.002, abs=2e-4)


def test_a_bounce_onto_the_other_contact_bridges_too() -> None:
    """Broken first, but touching again when the other is made already."""
    found = transfer(contact(True, 0.02, 0.024, 0.0245), contact(False, 0.023))
    assert found.order == "make before break"
    assert found.transit.value == pytest.approx(0.003, abs=2e-4)
    assert found.bridged.value == pytest.approx(0.0005, abs=2e-4)


def test_closer_than_the_samples_is_undecided() -> None:
    """Break and make within one sample interval: the record does not tell which came first."""
    found = transfer(contact(True, 0.02001), contact(False, 0.02003))
    assert found.order == "undecided"
    assert "closer than the record tells" in found.reason
    assert transfer(stamped(True, 0.02001), stamped(False, 0.02003)).order == "break before make"


def test_a_contact_that_does_not_move_transfers_nothing() -> None:
    """A welded contact, or one that never makes: undecided with the reason; no common time is refused."""
    assert "not open" in transfer(contact(True), contact(False, 0.02)).reason
    assert "not made" in transfer(contact(True, 0.02), contact(False)).reason
    later = states(Sampled(values=np.full(10, OPEN), rate=1e4, start=5.0), low=LOW, high=HIGH)
    with pytest.raises(ValueError, match="no common time"):
        transfer(contact(True, 0.02), later)
