"""One relay alone, with round numbers: operate and release time exclude bounce and count to the right contact.

Source: operate time ends with the closing of the make contact, release time with the return of the break contact,
bounce excluded (MIL-R-5757J, 6.8, from a public copy); where within its flight a change-over armature is at the
release time is our own convention.
"""

from itertools import pairwise

import numpy as np
import pytest

from benchtest.simulator.coil import fitted
from benchtest.simulator.contact import FRITTING, ContactBuild, SimulatedContact
from benchtest.simulator.events import Events
from benchtest.simulator.relay import DIODE, RelayBuild, SimulatedRelay
from benchtest.simulator.supply import SimulatedSupply, SupplyBuild
from benchtest.simulator.trace import Trace

OPERATE, RELEASE, TRANSFER, BOUNCE = 0.010, 0.008, 0.002, 0.003
CONTACT = ContactBuild(closed_volts=0.01, open_volts=12.0, bounce=BOUNCE)
BUILD = RelayBuild(
    name="K1",
    coil=fitted(operate=OPERATE, release=RELEASE, resistance=1400.0, volts=24.0, clamp=DIODE),
    transfer=TRANSFER,
    make=CONTACT,
    break_=CONTACT,
)
TOLERANCE = 0.02  # movements differ by 1.5 %


def powered() -> tuple[Events, SimulatedSupply, SimulatedRelay]:
    events = Events()
    build = SupplyBuild(name="main", nominal=24.0, alternating=False, conductance=1e-3, unpowered=1e3)
    supply = SimulatedSupply(events, build)
    relay = SimulatedRelay(events, BUILD, supply, np.random.default_rng(1))
    supply.source(volts=24.0, amps=1.0)
    events.advance(1.0)
    return events, supply, relay


def changes(trace: Trace, since: float) -> list[float]:
    """Seconds after `since` at which the contact changes."""
    return [moment - since for moment, _ in trace.changes(since, since + 0.1)]


def switched(events: Events, relay: SimulatedRelay, *, on: bool) -> tuple[list[float], list[float]]:
    """Changes of make and break contact after the coil is switched."""
    assert relay.make is not None
    assert relay.break_ is not None
    begun = events.now
    relay.drive(on=on)
    events.advance(begun + 0.1)
    return changes(relay.make.volts, begun), changes(relay.break_.volts, begun)


def test_operate_time_ends_with_the_first_making_of_the_make_contact() -> None:
    """The break contact leaves a transfer time before; bouncing follows and lasts as long as it should."""
    events, _, relay = powered()
    make, break_ = switched(events, relay, on=True)

    assert make[0] == pytest.approx(OPERATE, rel=TOLERANCE)
    assert break_ == [pytest.approx(make[0] - TRANSFER)]
    assert make[-1] - make[0] == pytest.approx(BOUNCE)
    assert len(make) % 2 == 1


def test_release_time_is_in_the_middle_of_the_flight_back() -> None:
    """The make contact leaves half a transfer time before, the break contact returns half a transfer time after."""
    events, _, relay = powered()
    switched(events, relay, on=True)
    make, break_ = switched(events, relay, on=False)

    assert make == [pytest.approx(RELEASE - TRANSFER / 2, rel=TOLERANCE)]
    assert break_[0] == pytest.approx(make[0] + TRANSFER)
    assert break_[-1] - break_[0] == pytest.approx(BOUNCE)


def test_bounces_get_shorter() -> None:
    """Each hop of a bouncing contact is shorter than the one before, as of a ball."""
    events, _, relay = powered()
    make, _ = switched(events, relay, on=True)
    hops = np.diff(make)

    assert (np.diff(hops[::2]) < 0).all()


@pytest.mark.parametrize(("share", "pulled"), [(0.65, False), (0.75, True)])
def test_it_pulls_in_at_seven_tenths_of_nominal(share: float, pulled: bool) -> None:
    """Below 70 % of nominal the armature stays, above it moves (common practice, no source)."""
    events, supply, relay = powered()
    supply.off()
    events.advance(1.2)
    supply.source(volts=24.0 * share, amps=1.0)
    events.advance(1.4)
    make, _ = switched(events, relay, on=True)

    assert bool(make) is pulled


@pytest.mark.parametrize(("share", "holds"), [(0.35, True), (0.25, False)])
def test_it_holds_down_to_three_tenths_of_nominal(share: float, holds: bool) -> None:
    """Once pulled in it holds above 30 % of nominal and lets go below (common practice, no source)."""
    events, supply, relay = powered()
    switched(events, relay, on=True)
    begun = events.now
    supply.source(volts=24.0 * share, amps=1.0)
    events.advance(begun + 0.2)
    assert relay.make is not None

    assert (changes(relay.make.volts, begun) == []) is holds


def test_a_supply_that_returns_in_time_is_not_noticed() -> None:
    """A dip too short to reach the drop-out voltage leaves the contact alone, also later."""
    events, supply, relay = powered()
    switched(events, relay, on=True)
    begun = events.now
    supply.off()
    events.advance(begun + 0.002)
    supply.source(volts=24.0, amps=1.0)
    events.advance(begun + 0.2)
    assert relay.make is not None

    assert changes(relay.make.volts, begun) == []


def test_the_supply_gives_the_coil_nothing_once_the_driver_has_let_go() -> None:
    """V/R flows while the coil is on; afterwards its current runs through the diode and not from the supply."""
    events, _, relay = powered()
    switched(events, relay, on=True)
    assert relay.amps.at(events.now) == pytest.approx(24.0 / 1400.0)
    relay.drive(on=False)

    assert relay.amps.at(events.now) == 0.0
    assert relay.pad.at(events.now) == -0.7
    events.advance(events.now + 0.1)
    assert relay.pad.at(events.now) == 0.0


def closings(film: float, count: int = 6) -> list[float]:
    """Volts of a film at each of some closings of a contact that has lain about."""
    build = ContactBuild(closed_volts=0.01, open_volts=12.0, bounce=BOUNCE, film=film)
    contact = SimulatedContact(Events(), build, np.random.default_rng(1), closed=False)
    seen = []
    for _ in range(count):
        contact.close()
        seen.append(contact.volts.target - build.closed_volts)
        contact.open()
    return seen


def test_a_film_is_wiped_away_closing_by_closing() -> None:
    """The first closing tells of a film; after some more the contact is as good as a clean one."""
    seen = closings(0.1)

    assert seen[0] == pytest.approx(0.1)
    assert all(later < earlier for earlier, later in pairwise(seen))
    assert seen[-1] < 0.01


def test_a_high_current_breaks_a_film_down() -> None:
    """However thick a film is, it bears a few tenths of a volt: at a high current its resistance is the lower one."""
    assert closings(10.0)[0] == pytest.approx(FRITTING)
    assert closings(2.0)[0] == pytest.approx(closings(4.0)[0])
