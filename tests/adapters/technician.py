"""A person who can be trusted: reads what is asked as a person does, acts on a virtual board, answers what it shows.

Only the words of the conversation lead from a request to the board; nothing of the procedure is known here.
"""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from benchtest.adapters.composed import ComposedBench, Part
from benchtest.adapters.manual import open_manual
from benchtest.cli.documents import Prepared
from benchtest.clock import VirtualClock
from benchtest.faults import parse
from benchtest.fixture.document import Harness
from benchtest.fixture.wiring import channels
from benchtest.instruments import Asker, Link
from benchtest.perform import Kept, Performed, Watcher, perform
from benchtest.readings import Origin
from benchtest.rig import Rig
from benchtest.rig.limited import LimitedBench
from benchtest.simulator.link import SimulatedLink
from benchtest.simulator.scene import Scene
from benchtest.terminals import Pair

PREFIX = {"": 1.0, "k": 1e3, "M": 1e6, "m": 1e-3}
LOOK = 16.0
"""Seconds to watch a lamp: three cycles of the longest code of the shipped boards."""
LONG_PAUSE, BETWEEN_PROBES, SLOW = 1.0, 0.65, 0.16
"""Seconds; what an eye tells apart in the codes of the shipped boards."""


@dataclass
class Technician:
    """Answers requests by acting on a scene."""

    scene: Scene
    clock: VirtualClock
    heard: list[str] = field(default_factory=list)
    """Every prompt."""
    told: list[str] = field(default_factory=list)
    asides: dict[str, list[str]] = field(default_factory=dict)
    """Part of a prompt → what to type there first, one at a time, before the truth."""
    listed: list[str] = field(default_factory=list)

    def tell(self, text: str) -> None:
        """Listen; what is listed to be done is remembered."""
        self.told.append(text)
        if text.startswith("    - "):
            self.listed.append(" ".join(text.removeprefix("    - ").split()))

    def ask(self, prompt: str) -> str:
        """Return what this person types."""
        text = " ".join(prompt.split())
        self.heard.append(text)
        for part, typed in self.asides.items():
            if part in text and typed:
                return typed.pop(0)
        return self.answer(text)

    def knows(self, text: str) -> bool:
        """Return whether this person would know what to do."""
        return any(re.match(pattern, text) for pattern, _ in self._known())

    def answer(self, text: str) -> str:
        """Do what is asked, and return what is seen."""
        for pattern, act in self._known():
            if match := re.match(pattern, text):
                answer = act(*match.groups())
                self.wait(2.0)
                return answer
        raise AssertionError(f"nobody would know what to do with {text!r}")

    def wait(self, seconds: float) -> None:
        """Take one's time."""
        self.clock.sleep_until(self.clock.now() + seconds)

    def _known(self) -> list[tuple[str, Callable[..., str]]]:
        volts, end = r"([0-9.]+) V", r"([A-Z]+[0-9]*\.[0-9]+)"
        return [
            (r"I have read this", lambda: "A. Tester"),
            (r"Switch every supply off", self._everything_off),
            (rf"Supply \S+ at {end}(?: \(\+\))? and {end}.*limit ([0-9.]+) (m?)A, then {volts}", self._source),
            (rf"Is the supply at {end}-{end} in current limit", self._limiting),
            (rf"Volts (?:a\.c\. )?that the supply at {end}-{end} shows", self._shown),
            (rf"Put 24 V on {end} \(\+\) and {end}", lambda high, low: self._set("drive", high, low, 1.0)),
            (rf"Take the 24 V off {end}", lambda high: self._set_level(high, 0.0)),
            (rf"Close the contact between {end} and {end}", lambda a, b: self._set("drive", a, b, 1.0)),
            (rf"Open the contact between {end} and {end}", lambda a, b: self._set("drive", a, b, 0.0)),
            (rf"Set ([0-9.]+) ([kM]?)Ω between {end} and {end}", self._resistance),
            (rf"Leave {end} and {end} open", lambda a, b: self._set("resistance", a, b, np.inf)),
            (rf"Join {end} and {end} with a wire", lambda a, b: self._set("resistance", a, b, 0.0)),
            (rf"Switch off the supply at {end}(?: \(\+\))? and {end}", self._off),
            (rf"Volts across {end} and {end}", lambda a, b: self._read("contact", a, b)),
            (rf"Volts (?:a\.c\. )?between {end} and {end}", lambda a, b: self._read("sense", a, b)),
            (rf"Ohms across {end} and {end}", self._contact_ohms),
            (rf"Ohms between {end} and {end}", self._ohms),
            (rf"Amps of the supply at {end} and {end}", lambda a, b: self._read("current", a, b)),
            (r"Is lamp (\S+) .*1 lit, 0 dark, 2 blinking", self._lamp),
            (r"(?:Once more, to be sure\. )?Watch lamp (\S+) .* for a whole code", self._code),
            (r"Enter when it is off", self._listed_off),
            (r".* failed, and the run ends here", lambda: ""),
        ]

    # ------------------------------------------------------------ hands

    def channel(self, role: str, high: str, low: str) -> int:
        """Return the channel between two terminals."""
        table: dict[Pair, int] = getattr(self.harness, role)
        return table[Pair.parse(f"{high}-{low}")]

    @property
    def harness(self) -> Harness:
        return self.scene.harness

    def _everything_off(self) -> str:
        self.scene.all_off()
        return ""

    def _source(self, high: str, low: str, amps: str, prefix: str, volts: str) -> str:
        channel = self.channel("supply", high, low)
        self.scene.source(channel, volts=float(volts), amps=float(amps) * PREFIX[prefix])
        return ""

    def _off(self, high: str, low: str) -> str:
        self.scene.off(self.channel("supply", high, low))
        return ""

    def _set(self, role: str, high: str, low: str, value: float) -> str:
        self.scene.set(self.channel(role, high, low), value)
        return ""

    def _set_level(self, high: str, value: float) -> str:
        pair = next(pair for pair in self.harness.drive if str(pair.high) == high)
        self.scene.set(self.harness.drive[pair], value)
        return ""

    def _resistance(self, number: str, prefix: str, high: str, low: str) -> str:
        return self._set("resistance", high, low, float(number) * PREFIX[prefix])

    def _listed_off(self) -> str:
        """Do what was listed, in its order."""
        todo, self.listed = self.listed, []
        for text in todo:
            self.answer(text)
        return ""

    # ------------------------------------------------------------ eyes

    def _limiting(self, high: str, low: str) -> str:
        return "y" if self.scene.supply_state(self.channel("supply", high, low)).limiting else "n"

    def _shown(self, high: str, low: str) -> str:
        return f"{self.scene.supply_state(self.channel('supply', high, low)).volts:.3f}"

    def _read(self, role: str, high: str, low: str) -> str:
        value = self.scene.reading(self.channel(role, high, low))
        return f"{value * 1e3:.2f} m" if abs(value) < 0.5 else f"{value:.3f}"

    def _ohms(self, high: str, low: str) -> str:
        value = self.scene.ohms(self.channel("ohms", high, low))
        return "OL" if np.isinf(value) else f"{value:.2f} ohm"

    def _contact_ohms(self, high: str, low: str) -> str:
        test, volts = self.scene.fixture.contact_test, self.scene.reading(self.channel("contact", high, low))
        if volts > 0.98 * test.voltage:
            return "OL"
        return f"{volts * test.series / (test.voltage - volts):.3f}"

    def _light(self, lamp: str) -> list[tuple[bool, float]]:
        """Watch a lamp; return how long it was lit and dark, in turn."""
        self.wait(LOOK)
        step, blend = 0.01, 20  # an eye blends what is quicker than it
        times = np.arange(round(LOOK / step) * blend, dtype=np.float64) * step / blend + (self.clock.now() - LOOK)
        light = np.broadcast_to(self.scene.signal(self.harness.light[lamp]).sample(times), times.shape)
        seen = light.reshape(-1, blend).mean(axis=1) > 0.3
        edges = np.flatnonzero(np.diff(seen)) + 1
        return [(bool(part[0]), len(part) * step) for part in np.split(seen, edges)]

    def _lamp(self, lamp: str) -> str:
        phases = self._light(lamp)
        return "2" if len(phases) > 1 else "1" if phases[0][0] else "0"

    def _code(self, lamp: str) -> str:
        phases = self._light(lamp)
        if len(phases) == 1:
            return "steady" if phases[0][0] else "dark"
        pauses = [place for place, (lit, long) in enumerate(phases) if not lit and long > LONG_PAUSE]
        whole = phases[pauses[0] + 1 : next(place for place in pauses if place > pauses[0])]
        if lamp != "D22":
            return str(sum(lit for lit, _ in whole))
        codes, slow, quick = list[str](), 0, 0
        for lit, long in [*whole, (False, LONG_PAUSE)]:
            slow += lit and long > SLOW
            quick += lit and long <= SLOW
            if not lit and long > BETWEEN_PROBES:
                codes.append(f"{slow}{quick}")
                slow = quick = 0
        return " ".join(codes)


@dataclass(frozen=True, kw_only=True)
class Worked:
    """A board that was put through its profile by hand."""

    done: Performed
    technician: Technician


def virtual_board(prepared: Prepared, *faults: str, seed: int = 1) -> Scene:
    """Return a virtual board on the terminals of a bench by hand."""
    return Scene(
        fitted=prepared.fitted,
        harness=prepared.harness,
        fixture=prepared.fixture.fixture,
        database=prepared.profile.database,
        seed=seed,
        faults=tuple(parse(text, prepared.fitted) for text in faults),
    )


def by_hand(
    prepared: Prepared,
    *faults: str,
    asides: dict[str, list[str]] | None = None,
    watcher: Watcher | None = None,
    kept: Mapping[str, Kept] = MappingProxyType({}),
) -> Worked:
    """Put a virtual board through its profile by hand, in virtual time; the bench itself is on the link if any."""
    scene = virtual_board(prepared, *faults)
    clock = VirtualClock(scene.advance)
    technician = Technician(scene, clock, asides=asides or {})
    harness = prepared.harness
    link = SimulatedLink(scene, clock, scene.codec) if harness.link is not None and scene.codec is not None else None
    done = worked_by(technician, prepared, clock=clock, link=link, watcher=watcher or Watcher(), kept=kept)
    return Worked(done=done, technician=technician)


def worked_by(
    asker: Asker,
    prepared: Prepared,
    *,
    clock: VirtualClock,
    link: Link | None = None,
    watcher: Watcher | None = None,
    kept: Mapping[str, Kept] = MappingProxyType({}),
) -> Performed:
    """Let whoever answers work a bench by hand from its opening to its end."""
    fixture, harness = prepared.fixture.fixture, prepared.harness
    opened = open_manual(
        adapter=fixture.adapters[harness.adapter],
        port="",
        limits=fixture.limits,
        clock=clock,
        procedure=prepared.procedure,
        asker=asker,
    )
    with opened as device:
        part = Part(name="io", device=device, channels=channels(harness), stamp=math.inf, every=1.0)
        roles = {number: channel.role for number, channel in prepared.procedure.channels.items()}
        rig = Rig(
            bench=LimitedBench(ComposedBench([part], clock), limits=fixture.limits, roles=roles, by_hand=True),
            link=link,
            clock=clock,
            origin=Origin.BY_HAND,
            identities={"io": device.identified.identity()},
            fixture=fixture,
            harness=harness,
            beat_every=math.inf,
            person=device.person,
        )
        return perform(prepared.procedure, rig, watcher or Watcher(), kept)
