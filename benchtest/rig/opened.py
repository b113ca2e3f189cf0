"""The bench as opened: an adapter, perhaps a link, and the clock that belongs to them.

Acting is always inside `with open_rig(…)`: everything is ordered off on the way in and on every way out, loads first,
supplies last, and then read back (`in_use`).
"""

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import dataclass, replace
from typing import Any

from benchtest.adapters.catalogue import find
from benchtest.adapters.finding import Found
from benchtest.adapters.replay import Recalled
from benchtest.clock import Clock, RealClock, VirtualClock
from benchtest.errors import PlanError
from benchtest.faults import Fault, Mishap
from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.wiring import adapters_of, channels_of, self_checking
from benchtest.instruments import VIRTUAL, Asker, BenchAdapter, Device, Link, Person, Ticking
from benchtest.procedure import Procedure
from benchtest.profile.fitting import FittedProfile
from benchtest.readings import Origin
from benchtest.rig.guard import LOOK_EVERY
from benchtest.rig.in_use import Rig
from benchtest.rig.limited import LimitedBench
from benchtest.rig.lock import locks
from benchtest.rig.places import places

BEATS_PER_DEAD_MAN = 5  # an adapter may miss four beats to a stalled host before it takes everything off
MUTE = frozenset({"frames", "manual", "replay"})
"""Drivers whose word for who they are comes from no exchange on a wire."""
LONGEST_WAIT = 0.2  # s until a stop is heeded, where no dead-man wants a sign of life sooner


@dataclass(frozen=True, kw_only=True, slots=True)
class Virtual:
    """What makes a simulated board this one and no other."""

    seed: int = 1
    faults: tuple[Fault, ...] = ()
    mishaps: tuple[Mishap, ...] = ()
    """Guards of the simulated bench that trip during the run, and what is wrong with the bench itself."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Company:
    """Who and what takes part beside the adapters."""

    asker: Asker | None = None
    """How a person is talked with, for driver `manual`."""
    recalled: Recalled | None = None
    """The recorded run, for driver `replay`."""


@contextmanager
def open_rig(
    procedure: Procedure,
    fitted: FittedProfile,
    *,
    fixture: Fixture,
    harness: Harness,
    ports: Mapping[str, str],
    virtual: Virtual,
    company: Company | None = None,
) -> Iterator[Rig]:
    """Open every adapter that the harness names; everything is off when this returns and when it ends.

    `company` is who and what takes part beside the adapters, where drivers `manual` or `replay` ask for it.
    Raises RigError when an adapter is not there, is not who it must be, or does not answer.
    """
    with ExitStack() as stack:
        match fixture.adapters[harness.adapter].driver:
            case "simulated":
                rig = _simulated(procedure, fitted, fixture, harness, virtual)
            case "replay":
                rig = _replayed(fixture, harness, company.recalled if company else None)
            case _:
                rig = _real(stack, procedure, fixture, harness, ports, company.asker if company else None)
        roles = {number: channel.role for number, channel in procedure.channels.items()}
        roles |= self_checking(fixture)
        by_hand = rig.person is not None
        rig = replace(rig, bench=LimitedBench(rig.bench, limits=fixture.limits, roles=roles, by_hand=by_hand))
        stack.callback(rig.make_safe, procedure)
        rig.bench.all_off()
        yield rig


def _simulated(
    procedure: Procedure, fitted: FittedProfile, fixture: Fixture, harness: Harness, virtual: Virtual
) -> Rig:
    database = procedure.link.database if procedure.link else None
    opened = find("simulated")(
        fitted=fitted,
        harness=harness,
        fixture=fixture,
        database=database,
        seed=virtual.seed,
        faults=virtual.faults,
        mishaps=virtual.mishaps,
    )
    return Rig(
        bench=opened.bench,
        link=opened.link if procedure.link else None,
        clock=opened.clock,
        origin=Origin.SIMULATED,
        identities={harness.adapter: opened.bench.identity()},
        fixture=fixture,
        harness=harness,
        beat_every=LOOK_EVERY if fixture.guards else 1e9,  # nobody has to be shown alive; guards are looked at
        sides={harness.adapter: opened.bench},
        ticking=_ticking(opened.bench),
    )


def _replayed(fixture: Fixture, harness: Harness, recalled: Recalled | None) -> Rig:
    if recalled is None:
        raise PlanError([f"adapter {harness.adapter} replays a run folder (give one: --port {harness.adapter}=runs/…)"])
    opened = find("replay")(recalled)
    return Rig(
        bench=opened,
        link=None,
        clock=VirtualClock(),
        origin=Origin.REPLAYED,
        identities={harness.adapter: opened.identity()},
        fixture=fixture,
        harness=harness,
        beat_every=1e9,
        recall=opened.recall,
    )


def _real(  # what makes a rig is five documents and choices
    stack: ExitStack,
    procedure: Procedure,
    fixture: Fixture,
    harness: Harness,
    ports: Mapping[str, str],
    asker: Asker | None,
) -> Rig:
    clock = RealClock()
    held = stack.enter_context(locks(fixture.bench.name))  # given back after the last port is closed
    linked = [harness.link] if procedure.link is not None and harness.link is not None else []
    linked += [peer] if linked and (peer := fixture.self_check.link_peer) is not None else []
    found = places([*adapters_of(fixture, harness), *linked], fixture, ports, held=held, clock=clock)
    ports = {name: place.port for name, place in found.items()}
    told = _Told(procedure=procedure, fixture=fixture, ports=ports, clock=clock, asker=asker)
    devices = {name: stack.enter_context(_opened(name, told)) for name in adapters_of(fixture, harness)}
    links = [stack.enter_context(_linked(name, told)) for name in linked]
    identities = {name: _who(name, device.identified.identity(), found) for name, device in devices.items()}
    person = next((device.person for device in devices.values() if device.person is not None), None)
    bench, due = _one_bench(devices, fixture, harness, clock)
    return Rig(
        bench=bench,
        link=links[0] if links else None,
        peer=links[1] if links[1:] else None,
        clock=clock,
        origin=_origin(identities, person),
        identities=identities,
        fixture=fixture,
        harness=harness,
        beat_every=min(LONGEST_WAIT, *(fixture.adapters[name].dead_man / BEATS_PER_DEAD_MAN for name in devices)),
        due=due,
        sides={n: one.identified for n, one in devices.items() if fixture.adapters[n].driver not in MUTE},
        ticking=next((t for one in devices.values() if (t := _ticking(one.recorder)) is not None), None),
        person=person,
    )


def _origin(identities: Mapping[str, str], person: Person | None) -> Origin:
    if any(who.startswith(VIRTUAL) for who in identities.values()):
        return Origin.SIMULATED
    return Origin.MEASURED if person is None else Origin.BY_HAND


def _ticking(recorder: object) -> Ticking | None:
    return recorder if isinstance(recorder, Ticking) else None


@dataclass(frozen=True, kw_only=True, slots=True)
class _Told:
    """What drivers are told when they are opened."""

    procedure: Procedure
    fixture: Fixture
    ports: Mapping[str, str]
    clock: Clock
    asker: Asker | None


@contextmanager
def _opened(name: str, told: _Told) -> Iterator[Device]:
    """Open one adapter; one that can do everything is a device too. A person is told of the procedure as well."""
    adapter, about = told.fixture.adapters[name], dict[str, Any]()
    if adapter.driver == "manual":
        if told.asker is None:
            raise PlanError([f"adapter {name} is a person, and there is no way to talk with one here"])
        about = {"port": "", "procedure": told.procedure, "asker": told.asker}
    else:
        about = {"port": _port(name, told.fixture, told.ports)}
    limits, clock = told.fixture.limits, told.clock
    with find(adapter.driver)(adapter=adapter, limits=limits, clock=clock, **about) as opened:
        yield opened if isinstance(opened, Device) else Device.whole(opened)


def _linked(name: str, told: _Told) -> AbstractContextManager[Link]:
    """Return one adapter on the board's link, to be opened."""
    about, port = told.fixture.adapters[name], _port(name, told.fixture, told.ports)
    link: AbstractContextManager[Link] = find(about.driver)(
        adapter=about, port=port, plan=told.procedure.link, clock=told.clock
    )
    return link


def _one_bench(
    devices: Mapping[str, Device], fixture: Fixture, harness: Harness, clock: Clock
) -> tuple[BenchAdapter, Callable[[], float]]:
    """Return the devices as one bench adapter, and when the host must tend to it."""
    whole = next(iter(devices.values()))
    if len(devices) == 1 and whole.recorder is not None:
        bench: Any = whole.recorder  # an adapter that can do everything needs no host to help it
        return bench, lambda: math.inf
    from benchtest.adapters.composed import ComposedBench, Part  # noqa: PLC0415 - brings numpy, which starting does without

    parts = [
        Part(
            name=name,
            device=device,
            channels=channels_of(name, fixture, harness),
            stamp=fixture.adapters[name].stamp,
            every=1 / fixture.adapters[name].rate,
        )
        for name, device in devices.items()
    ]
    composed = ComposedBench(parts, clock)
    return composed, composed.due


def _port(name: str, fixture: Fixture, ports: Mapping[str, str]) -> str:
    port = ports.get(name) or fixture.adapters[name].port
    if not port:
        raise PlanError([f"adapter {name} has no port (give one: --port {name}=/dev/…, or 'port:' in the fixture)"])
    return port


def _who(name: str, answer: str, found: Mapping[str, Found]) -> str:
    """Return what an adapter answered when asked who it is, and how it was found, for the record of the run."""
    return f"{answer}; at {found[name].port}, {found[name].how}" if name in found else answer
