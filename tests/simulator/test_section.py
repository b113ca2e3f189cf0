"""Adapters that share a simulated bench see and switch their own channels and no other."""

import pytest

from benchtest.clock import VirtualClock
from benchtest.errors import AdapterRefused
from benchtest.instruments import Capture, Order
from benchtest.simulator.bench import SimulatedBench
from benchtest.simulator.scene import Scene
from benchtest.simulator.section import Section
from tests.simulator.stand import BENCH, greenhouse

DRIVES, REST = frozenset({103, 104}), frozenset({201, 601, 301})


def sections() -> tuple[Section, Section]:
    """A relay box that records nothing, and all the rest, which records."""
    stand = greenhouse()
    scene = Scene(fitted=stand.fitted, harness=stand.harness, fixture=BENCH.fixture, database=None, seed=1)
    bench = SimulatedBench(scene, VirtualClock(scene.advance))
    return Section(bench, scene, DRIVES), Section(bench, scene, REST, records=True)


def test_each_sees_and_switches_its_own() -> None:
    """What one has on the other neither reports nor takes off."""
    box, rest = sections()
    box.set(103, 1)
    rest.set(601, 10e3)
    rest.all_off()

    assert frozenset({103}) == box.energised()
    assert frozenset() == rest.energised()
    for act in (lambda: rest.set(103, 0), lambda: rest.off(103), lambda: box.measure(301), lambda: box.off(201)):
        with pytest.raises(AdapterRefused, match="there is no channel"):
            act()


def test_the_all_off_of_one_leaves_the_recording_of_the_other() -> None:
    """A box that drops its relays does not end a recording; the recorder's own all-off does."""
    box, rest = sections()
    capture = Capture(orders=(), duration=0.01, rate=1000.0, channels=(301,))
    rest.begin(capture)
    box.all_off()
    assert (1, 10) == rest.fetch().codes.shape
    rest.begin(capture)
    rest.all_off()
    with pytest.raises(AdapterRefused, match="nothing is being recorded"):
        rest.fetch()


def test_a_capture_of_a_foreign_channel_is_refused() -> None:
    """Neither watched nor ordered."""
    _, rest = sections()
    for orders, channels in (((), (501,)), ((Order(at=0.0, channel=103, value=1.0),), (301,))):
        with pytest.raises(AdapterRefused):
            rest.begin(Capture(orders=orders, duration=0.01, rate=1000.0, channels=channels))
