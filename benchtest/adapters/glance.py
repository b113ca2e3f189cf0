"""What is energised now, asked without resetting, arming or switching anything.

Opening an adapter for a run takes everything off first. Here only its name and its active channels are asked for; a
port that somebody else has open is refused by the system before a byte is sent. A driver that is not named here cannot
be asked in this way.
"""

from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Final

from benchtest.adapters.ports import open_port
from benchtest.adapters.scpi import PATIENCE, ScpiBench
from benchtest.clock import RealClock
from benchtest.errors import AdapterMissing, AdapterRefused
from benchtest.fixture.document import Adapter, HardLimits


def glance_scpi(adapter: Adapter, port: str, limits: HardLimits) -> frozenset[int]:
    """Return the channels that an adapter says are not in their safe state.

    Raises AdapterMissing when the port is not there, is in use, or another adapter is behind it; AdapterSilent and
    AdapterGarbled as at any exchange.
    """
    clock = RealClock()
    with open_port(port, baud=round(adapter.baud)) as line:
        bench = ScpiBench(port=line, adapter=adapter, limits=limits, clock=clock)
        line.drain(now=clock.now, longest=PATIENCE / 2)
        line.write(b"\n")  # ends a line that somebody else began
        with suppress(AdapterRefused):  # older errors wait in its queue; asking takes them out
            bench.check()
        found = bench.identity()
        if not found.startswith(adapter.identity):
            raise AdapterMissing(f"{port}: found {found!r}, expected {adapter.identity!r} (is this the right port?)")
        return bench.energised()


GLANCES: Final[Mapping[str, Callable[[Adapter, str, HardLimits], frozenset[int]]]] = {"scpi": glance_scpi}
"""Driver → how to ask it."""
