"""A simulated bench with what tests say of it in one word: power it, record, find edges."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchtest.clock import VirtualClock
from benchtest.faults import parse
from benchtest.fixture import Harness, load_fixture
from benchtest.instruments import BenchAdapter, Capture, Link, Message, Order, Recording
from benchtest.profile import load_profile
from benchtest.profile.document import Profile
from benchtest.profile.fitting import FittedProfile, fit
from benchtest.simulator.bench import open_simulated
from benchtest.terminals import Pair

ROOT = Path(__file__).parents[2]
GREENHOUSE = load_profile(ROOT / "profiles/greenhouse.yaml")
CARWASH = load_profile(ROOT / "profiles/carwash.yaml")
BENCH = load_fixture(ROOT / "fixtures/simulated.yaml")
RATE = 10e3


@dataclass
class Stand:
    """One board on the simulated bench."""

    fitted: FittedProfile
    harness: Harness
    bench: BenchAdapter
    link: Link | None
    clock: VirtualClock
    traffic: list[Message] = field(default_factory=list)

    @property
    def profile(self) -> Profile:
        return self.fitted.profile

    def power(self, *, alive: bool = True) -> None:
        """Supplies on, inputs and probes at rest, program booted, link alive."""
        for name, supply in self.profile.supplies.items():
            self.bench.source(self.supply(name), volts=supply.nominal, amps=supply.current_limit)
        for name, port in self.profile.inputs.items():
            if port.kind == "probe":
                self.bench.set(self.input(name), port.states[port.rest])
            elif port.rest in {"closed", "high"}:
                self.bench.set(self.input(name), 1)
        if self.link is not None and alive:
            self.link.heartbeat("ControllerHeartbeat", every=0.2)
        self.wait(1.0)

    def wait(self, seconds: float) -> None:
        self.clock.sleep_until(self.clock.now() + seconds)

    def say(self, **signals: float) -> None:
        assert self.link is not None
        self.link.send("ZoneCommand", signals)

    def input(self, name: str) -> int:
        wired = {**self.harness.drive, **self.harness.resistance}
        return wired[self.profile.inputs[name].terminals]

    def supply(self, name: str) -> int:
        return self.harness.supply[self.profile.supplies[name].terminals]

    def current(self, name: str) -> int:
        return self.harness.current[self.profile.supplies[name].terminals]

    def coil(self, relay: str) -> int:
        pads = self.profile.relays[relay].coil
        assert pads is not None
        return self.harness.sense[pads]

    def contact(self, relay: str, side: str = "") -> int:
        contact = self.profile.relays[relay].contact
        pair = {"make": contact.make, "break": contact.break_}.get(side, contact.make or contact.break_)
        assert pair is not None
        return self.harness.contact[pair]

    def light(self, lamp: str) -> int:
        return self.harness.light[lamp]

    def sense(self, pair: str) -> int:
        return self.harness.sense[Pair.parse(pair)]

    def everything(self) -> tuple[int, ...]:
        """Every channel that can be recorded."""
        parts = (self.harness.sense, self.harness.contact, self.harness.light, self.harness.current)
        return tuple(channel for part in parts for channel in part.values())

    def record(
        self,
        *channels: int,
        orders: tuple[Order, ...] = (),
        seconds: float = 0.2,
        rate: float = RATE,
        say: Mapping[str, float] | None = None,
    ) -> Recording:
        """Record; what is said on the link goes out 20 ms after the start."""
        started = self.bench.begin(
            Capture(orders=orders, duration=seconds, rate=rate, channels=channels or self.everything())
        )
        if say is not None:
            self.clock.sleep_until(started.at + 0.02)
            self.say(**say)
        recording = self.bench.fetch()
        if self.link is not None:
            self.traffic.extend(self.link.messages())
        return recording

    def closed(self, relay: str, side: str = "") -> bool:
        """Whether a contact is closed now: less than half of the test voltage across it."""
        return self.bench.measure(self.contact(relay, side)) < 6.0

    def energised(self, relay: str) -> bool:
        return self.bench.measure(self.coil(relay)) > 12.0


def greenhouse(
    *faults: str, seed: int = 1, variant: str = "two-bay", without_link: Mapping[str, str] | None = None
) -> Stand:
    """A greenhouse board with its dosing option and these faults; `without_link` changes what relays do then."""
    relays = dict(GREENHOUSE.profile.relays)
    for name, behaviour in (without_link or {}).items():
        relays[name] = relays[name].model_copy(update={"without_link": behaviour})
    profile = GREENHOUSE.profile.model_copy(update={"relays": relays})
    fitted = fit(profile, variant=variant, options=("dosing",))
    return _stand(fitted, BENCH.harnesses["GZ-2140"], GREENHOUSE.database, faults, seed)


def carwash(*faults: str, seed: int = 1) -> Stand:
    """A car-wash board with these faults."""
    return _stand(fit(CARWASH.profile), BENCH.harnesses["CW-0410"], None, faults, seed)


def _stand(fitted: FittedProfile, harness: Harness, database: str | None, faults: tuple[str, ...], seed: int) -> Stand:
    opened = open_simulated(
        fitted=fitted,
        harness=harness,
        fixture=BENCH.fixture,
        database=database,
        seed=seed,
        faults=tuple(parse(fault, fitted) for fault in faults),
    )
    return Stand(fitted=fitted, harness=harness, bench=opened.bench, link=opened.link, clock=opened.clock)


def edges(recording: Recording, channel: int, *, above: float) -> NDArray[np.float64]:
    """Seconds in the recording at which a channel crosses a level, between two samples."""
    high = recording.samples(channel) > above
    return np.asarray((np.flatnonzero(np.diff(high.astype(np.int8))) + 0.5) / recording.rate, dtype=np.float64)
