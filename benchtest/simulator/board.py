"""The virtual board: supplies, relays, lamps, program and link, put together from one specimen.

Everything that can be measured is a `Signal`. What the board is connected to is the
scene's business.
"""

import math
from functools import partial
from typing import Final

import numpy as np

from benchtest.faults import Kind
from benchtest.messages import Codec
from benchtest.profile.board import CountCode, DigitsCode
from benchtest.profile.document import Profile
from benchtest.simulator.events import Events
from benchtest.simulator.firmware import BROWN_OUT, POWER_GOOD, Firmware
from benchtest.simulator.lamp import (
    GLOW,
    Beat,
    LampBuild,
    Player,
    brightness,
    count_beats,
    digits_beats,
    pulses,
    through,
)
from benchtest.simulator.relay import SHORT, SimulatedRelay
from benchtest.simulator.reporting import Reporter
from benchtest.simulator.signal import DARK, Carried, Combined, Signal, clipped
from benchtest.simulator.specimen import Specimen
from benchtest.simulator.supply import SimulatedSupply
from benchtest.simulator.trace import Samples, Trace

DROPOUT: Final = 3.0
"""Volts that a regulator loses at least: a rail follows the supply below rail + this."""
IRREGULAR: Final = (0.4, 2.2)
"""By how much a disturbed processor stretches what it plays."""
LEADS: Final = 30e-3
"""Ohms from the bench's source to the board and back: 1 m of 1.5 mm² each way, and plugs (IEC 60228: 12 mΩ/m). What
the board works with is not lowered by it: a thousandth of the supply at most."""
TURN: Final = 2 * math.pi
RIPPLE: Final = 300.0
"""Hertz of the ripple behind a worn capacitor: six-fold mains, as far as a slow recording shows it."""


class VirtualBoard:
    """One board on the bench."""

    def __init__(self, events: Events, specimen: Specimen, codec: Codec | None) -> None:
        self._events, self._specimen = events, specimen
        self._rng = specimen.chance.stream("codes")
        self.profile: Profile = specimen.profile
        self.supplies = {
            name: SimulatedSupply(events, specimen.supply(name, supply))
            for name, supply in self.profile.supplies.items()
        }
        self.power = min(self.supplies.values(), key=lambda supply: supply.build.alternating)
        """The supply that feeds program and coils: the first d.c. one."""
        build = specimen.firmware()
        self.relays = {
            name: SimulatedRelay(
                events,
                specimen.relay(name, relay, nominal=self.power.build.nominal, firmware=build),
                self.power,
                specimen.chance.stream(f"{name} movements"),
            )
            for name, relay in self.profile.relays.items()
        }
        self.firmware = Firmware(events, build, self.profile, self.relays, specimen.chance.stream("inputs"))
        for one, other in specimen.pairs(Kind.BRIDGED).items():
            self.relays[one].bridged.append(self.relays[other])
        self._lamps = {name: specimen.lamp(name) for name in self.profile.lamps}
        self._glow: dict[str, Signal] = {}
        self._counts: dict[tuple[str, frozenset[str]], int] = {}
        self._counting = next((name for name, code in self.profile.codes.items() if isinstance(code, CountCode)), None)
        self._connect_power()
        self._connect_lamps()
        self.reporter = None if codec is None else Reporter(events, specimen, self.firmware, codec, self.power)
        if self.reporter is not None:
            self.reporter.code = self._shown

    def _connect_power(self) -> None:
        nominal = self.power.build.nominal
        self.power.watch(POWER_GOOD * nominal, BROWN_OUT * nominal, self.firmware.power)
        for name, supply in self.supplies.items():
            there = partial(self.firmware.supply, name)
            supply.watch(0.7 * supply.build.nominal, 0.5 * supply.build.nominal, there)
            if self._specimen.has(Kind.SUPPLY_SHORTED, name):
                supply.load("short", 1 / SHORT)

    def _connect_lamps(self) -> None:
        for name, relay in self.profile.relays.items():
            if relay.lamp is not None:
                self._glow[relay.lamp] = self._coil_lamp(self.relays[name])
        for name, supply in self.profile.supplies.items():
            if supply.lamp is not None:
                self._glow[supply.lamp] = self._steady(self.supplies[name])
        for name, lamp in self.profile.lamps.items():
            if lamp.code is not None:
                self._glow[name] = self._code_lamp(name, lamp.code)

    def _coil_lamp(self, relay: SimulatedRelay) -> Signal:
        light = Trace()
        nominal = self.power.build.nominal

        def follow() -> None:
            target = float(brightness(relay.pad.target, nominal))
            light.set(self._events.now, target, tau=max(relay.pad.tau, GLOW))

        relay.on_coil.append(follow)
        return light

    def _steady(self, supply: SimulatedSupply) -> Signal:
        """Follow the voltage; an a.c. lamp sits behind rectifier and capacitor and does not flicker."""
        return Combined(partial(brightness, nominal=supply.build.nominal), supply.inside)

    def _code_lamp(self, name: str, code: str) -> Signal:
        light = Trace()
        player = Player(self._events, light, partial(self._beats, name, code), pace=self.firmware.build.pace)
        self.firmware.on_boot.append(player.start)
        self.firmware.on_reset.append(player.stop)
        dimmed = self.profile.lamps[name].dimmed
        if dimmed is None:
            return light
        return Carried(light, partial(pulses, dimmed.frequency / self.firmware.build.pace, dimmed.share))

    def _beats(self, lamp: str, name: str) -> list[Beat]:
        code = self.profile.codes[name]
        wrong = self._specimen.has(Kind.CODE_WRONG, lamp)
        if self._specimen.has(Kind.CODE_MISSING, lamp):
            return [(True, 1.0)]
        if isinstance(code, CountCode):
            beats = list(count_beats(code, self._count(name) + wrong))
        else:
            beats = list(digits_beats(code, tuple(self._digits(code, probe, wrong=wrong) for probe in code.probes)))
        if not self._specimen.has(Kind.CODE_IRREGULAR, lamp):
            return beats
        return [(lit, seconds * float(self._rng.uniform(*IRREGULAR))) for lit, seconds in beats]

    def _count(self, name: str) -> int:
        """Return what a counting code says now; looked up once for each state of the board."""
        true = self.firmware.truth()
        known = self._counts.get((name, true))
        if known is None:
            code = self.profile.codes[name]
            assert isinstance(code, CountCode)
            meanings = code.meanings.items()
            shown = (count for count, meaning in meanings if meaning.when is None or meaning.when.holds(true))
            known = self._counts[name, true] = next(shown, 0)
        return known

    def _digits(self, code: DigitsCode, probe: str, *, wrong: bool) -> tuple[int, int]:
        state = self.firmware.state_of(probe)
        pair = next((digits for digits, meaning in code.meanings.items() if meaning == state), "11")
        return int(pair[0]) % 9 + 1 if wrong else int(pair[0]), int(pair[1])

    def _shown(self) -> int:
        """Return what the first counting code says now, for the board's heartbeat."""
        return 0 if self._counting is None else self._count(self._counting)

    # ---- what can be measured

    def light(self, lamp: str) -> Signal:
        """Return the reading of the sensor over a lamp."""
        build = self._under(lamp)
        glow = self._lit_by_power() if build.always else self._glow.get(build.name, DARK)
        if build.gaps:
            glow = Carried(glow, partial(through, build.gaps))
        return Combined(partial(_over_ambient, build), DARK if build.dark else glow)

    def ambient(self, lamp: str) -> float:
        """Return what the sensor over a lamp sees of the room, as share of full scale, on the mean."""
        return self._under(lamp).ambient

    def _under(self, lamp: str) -> LampBuild:
        """Return the lamp that is under the sensor of one."""
        return self._lamps[self._specimen.pairs(Kind.LAMPS_SWAPPED).get(lamp, lamp)]

    def _lit_by_power(self) -> Signal:
        return self._steady(self.power)

    def rail(self, name: str) -> Signal:
        """Return the voltage of a rail, which the supply must exceed."""
        volts, share = self._specimen.rail(name), self._specimen.ripple(name)
        steady = Combined(lambda supply: clipped(supply - DROPOUT, 0.0, volts), self.power.inside)
        return steady if not share else Carried(steady, lambda times: 1 + share * np.sin(TURN * RIPPLE * times))

    def terminals(self, supply: str) -> Signal:
        """Return the voltage at a supply's terminals, which sags behind the leads with what the board takes."""
        return self._behind(supply, LEADS)

    def passed_on(self, supply: str) -> Signal:
        """Return the voltage on the way out to the next board."""
        ohms = self._specimen.pass_through(supply)
        return DARK if math.isinf(ohms) else self._behind(supply, LEADS + ohms)

    def _behind(self, supply: str, ohms: float) -> Signal:
        source = self.supplies[supply].terminals
        return Combined(lambda volts, amps: volts - ohms * amps, source, self.current(supply))

    def current(self, supply: str) -> Signal:
        """Return the current that the board takes from a supply."""
        source = self.supplies[supply]
        coils = [relay.amps for relay in self.relays.values()] if source is self.power else []
        return Combined(lambda *amps: sum(amps), source.idle, *coils)

    def amps(self, supply: str) -> float:
        """Return the current of a supply now (r.m.s. for a.c.)."""
        source, now = self.supplies[supply], self._events.now
        coils = sum([relay.amps.at(now) for relay in self.relays.values()]) if source is self.power else 0.0
        return source.idle_amps(now) + coils


def _over_ambient(build: LampBuild, glow: Samples | float) -> Samples | float:
    return build.ambient + build.bright * glow
