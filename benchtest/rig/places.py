"""Where every adapter of a rig is, each port locked before anything is sent to it."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial

from benchtest.adapters.catalogue import question
from benchtest.adapters.finding import Described, Found, find_port, listed
from benchtest.clock import Clock
from benchtest.errors import PlanError, RigError
from benchtest.fixture.document import Adapter, Fixture
from benchtest.rig.guard import NOT_ASKED
from benchtest.rig.lock import Locks


def places(
    names: Sequence[str],
    fixture: Fixture,
    ports: Mapping[str, str],
    *,
    held: Locks,
    clock: Clock,
    described: Callable[[], Sequence[Described]] = listed,
) -> dict[str, Found]:
    """Return where each named adapter is, and hold all those ports; one without a port of its own is left out.

    Raises PlanError when nothing says where an adapter is, RigError when it is not there, could be at two ports, or is
    somebody else's now.
    """
    found: dict[str, Found] = {}
    for name in dict.fromkeys(names):
        adapter = fixture.adapters[name]
        if adapter.driver in NOT_ASKED:
            continue
        given = ports.get(name) or adapter.port
        if given:
            found[name] = Found(port=given, how="as given")
        else:
            found[name] = _looked_for(name, adapter, described(), fixture=fixture, held=held, clock=clock)
        held.take(found[name].port)
    return found


def _looked_for(
    name: str, adapter: Adapter, ports: Sequence[Described], *, fixture: Fixture, held: Locks, clock: Clock
) -> Found:
    asks = question(adapter.driver) if adapter.identity else None
    if not (adapter.usb_serial or adapter.usb_location) and (asks is None or not ports):
        ways = "give one: --port {0}=/dev/…, or 'port:', 'usb_serial:' or 'usb_location:' in the fixture"
        raise PlanError([f"adapter {name} has no port ({ways.format(name)})"])
    ask = partial(asks, adapter=adapter, limits=fixture.limits, clock=clock) if asks is not None else None
    return find_port(name, adapter, ports, ask=None if ask is None else partial(_answer, ask, held))


def _answer(ask: Callable[..., str], held: Locks, port: str) -> str:
    """Return what a device says of itself; one that somebody else uses, or that says nothing, is not the one."""
    try:
        held.take(port)
    except RigError:
        return ""
    try:
        return ask(port=port)
    except RigError:
        return ""
    finally:
        held.give_back(port)
