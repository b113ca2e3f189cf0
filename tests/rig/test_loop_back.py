"""Two link adapters on one bus hear one another, or the bench is told that they do not; python-can's own bus."""

import math
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace

import pytest

from benchtest.adapters.can_link import open_can
from benchtest.cli.documents import Prepared
from benchtest.clock import RealClock
from benchtest.errors import AdapterRefused
from benchtest.fixture.document import Adapter
from benchtest.procedure import LinkPlan, LoopBack
from benchtest.readings import LoopedBack
from benchtest.rig import Rig, Virtual, open_rig
from benchtest.rig.timing import asked_of_the_bench

DATABASE = """VERSION ""
BU_: board host
BO_ 291 Order: 3 host
 SG_ Valve : 0|8@1+ (1,0) [0|200] "" board
"""
CLOCK = RealClock()
PLAN = LinkPlan(database=DATABASE, bit_rate=125e3, heartbeat="Order", every=0.02, terminals="X6.1-X6.2")
ADAPTER = Adapter(driver="can", interface="virtual")
MOVE = LoopBack(name="bench link", message="Order")


@contextmanager
def linked(prepared: Prepared, *buses: str) -> Iterator[Rig]:
    """A bench with link adapters on these buses."""
    with ExitStack() as stack:
        rig = stack.enter_context(
            open_rig(
                prepared.procedure,
                prepared.fitted,
                fixture=prepared.fixture.fixture,
                harness=prepared.harness,
                ports={},
                virtual=Virtual(),
            )
        )
        links = [stack.enter_context(open_can(adapter=ADAPTER, port=bus, plan=PLAN, clock=CLOCK)) for bus in buses]
        yield replace(rig, clock=CLOCK, link=links[0], peer=links[1] if links[1:] else None)


def test_what_one_sends_the_other_hears_both_ways(guarded: Prepared) -> None:
    """Within a few milliseconds on one bus."""
    with linked(guarded, "loop", "loop") as rig:
        found = asked_of_the_bench(rig, MOVE)

    assert isinstance(found, LoopedBack)
    assert 0 <= found.out < 0.4
    assert 0 <= found.back < 0.4


def test_adapters_on_two_buses_do_not_hear_one_another(guarded: Prepared) -> None:
    """A wire that is not there is infinite, not late."""
    with linked(guarded, "here", "there") as rig:
        assert LoopedBack(out=math.inf, back=math.inf) == asked_of_the_bench(rig, MOVE)


def test_a_bench_with_one_link_adapter_says_how_to_add_another(guarded: Prepared) -> None:
    """It names the key."""
    with linked(guarded, "alone") as rig, pytest.raises(AdapterRefused, match="link_peer in self_check"):
        asked_of_the_bench(rig, MOVE)
