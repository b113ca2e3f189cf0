"""The coils, inputs and registers of virtual Modbus modules, read from the scene and written to the bench.

A discrete input compares as an input module does: a contact is closed below half the test voltage, a lamp is lit above
the middle of the fixture's dark and lit, a level is high above 10 V, midway between the 5 V and 15 V of a 24 V digital
input (IEC 61131-2 type 1, from memory).
"""

import math
from collections.abc import Callable
from functools import partial
from typing import Final

from pymodbus.constants import ExcCodes
from pymodbus.simulator import DataType, SimData, SimDevice

from benchtest.clock import Clock
from benchtest.errors import AdapterRefused
from benchtest.fixture.modbus import (
    Coil,
    DiscreteInput,
    ModbusAdapter,
    Register,
    ResistanceRegister,
    SupplyRegisters,
    Watchdog,
)
from benchtest.simulator.scene import Scene
from benchtest.simulator.section import Section
from benchtest.simulator.signal import at

HIGH: Final = 10.0
"""Volts."""
BITS: Final = {"coil", "discrete input"}
TABLES: Final = {
    **dict.fromkeys((1, 5, 15), "coil"),
    2: "discrete input",
    **dict.fromkeys((3, 6, 16), "holding register"),
    4: "input register",
}
"""Function code → table (V1.1b3, clause 6)."""
OUTPUTS: Final = (Coil, ResistanceRegister, SupplyRegisters)

Place = tuple[str, int, int]
"""Table, unit, address."""


class Modules:
    """Every place of the fixture's table: how it is read, and how it is written."""

    def __init__(self, adapter: ModbusAdapter, scene: Scene, section: Section, clock: Clock) -> None:
        self.adapter = adapter
        self._fixture, self._scene, self._bench, self._clock = scene.fixture, scene, section, clock
        self._reads: dict[Place, Callable[[], int]] = {}
        self._writes: dict[Place, Callable[[int], None]] = {}
        self._words: dict[Place, int] = {}
        """What was written to set-points."""
        self._heard: dict[int, float] = {}
        self._time_out: dict[int, float] = {}
        """Unit → when it was last asked, and what its watchdog bears."""
        for channel, entry in adapter.channels.items():
            self._remember(entry)
            if channel in scene.roles:
                self._wire(channel, entry)
        self._wire_own()

    # ------------------------------------------------------------ the watchdog

    def judge_watchdog(self) -> None:
        """Drop the outputs of each unit that nobody has asked for its watchdog's time."""
        gone = [unit for unit, bears in self._time_out.items() if self._clock.now() - self._heard[unit] > bears]
        if gone:
            for channel in sorted(self._bench.energised(), key=self._is_supply):  # loads first
                if self._unit(self.adapter.channels[channel].unit) in gone:
                    self._bench.off(channel)

    def _is_supply(self, channel: int) -> bool:
        return isinstance(self.adapter.channels[channel], SupplyRegisters)

    def all_off(self) -> None:
        self._bench.all_off()

    # ------------------------------------------------------------ what pymodbus asks for

    def devices(self) -> list[SimDevice]:
        """Return one device per unit of the table."""
        places = {*self._reads, *self._words}
        return [
            SimDevice(unit, simdata=self._blocks(unit), action=partial(self._act, unit))
            for unit in sorted({unit for _, unit, _ in places})
        ]

    def _blocks(self, unit: int) -> tuple[list[SimData], list[SimData], list[SimData], list[SimData]]:
        def block(table: str) -> list[SimData]:
            known = [address for kind, owner, address in (*self._reads, *self._words) if (kind, owner) == (table, unit)]
            last = max(known, default=0)
            if table in BITS:
                return [SimData(0, values=[False] * (last // 16 + 1) * 16, datatype=DataType.BITS)]
            return [SimData(0, count=last + 1, values=0, datatype=DataType.REGISTERS)]

        return block("coil"), block("discrete input"), block("holding register"), block("input register")

    async def _act(
        self,
        unit: int,
        function: int,
        start: int,
        address: int,
        count: int,
        registers: list[int],
        values: list[int] | list[bool] | None,
    ) -> ExcCodes | None:
        """Write what is to be written, then bring what is read up to date."""
        table = TABLES[function]
        try:
            for offset, value in enumerate(values or ()):
                self.write(table, unit, address + offset, int(value))
        except AdapterRefused:
            return ExcCodes.ILLEGAL_VALUE
        if table in BITS:
            for at in range(address // 16 * 16, address // 16 * 16 + 16 * count):
                bit, word = 1 << at % 16, at // 16 - start
                on = self.read(table, unit, at)
                registers[word] = registers[word] | bit if on else registers[word] & ~bit
        else:
            for at in range(address, address + count):
                registers[at - start] = self.read(table, unit, at)
        return None

    def read(self, table: str, unit: int, address: int) -> int:
        """Return what stands at a place now."""
        self._heard[unit] = self._clock.now()
        reader = self._reads.get((table, unit, address))
        return reader() if reader is not None else self._words.get((table, unit, address), 0)

    def write(self, table: str, unit: int, address: int, value: int) -> None:
        """Write to a place; AdapterRefused when the bench behind it does."""
        self._heard[unit] = self._clock.now()
        place = (table, unit, address)
        self._writes.get(place, partial(self._words.__setitem__, place))(value)

    # ------------------------------------------------------------ what is behind each place

    def _remember(self, entry: object) -> None:
        """Let the places of a channel be memory, for a cable set that leaves it free."""
        match entry:
            case Coil() | DiscreteInput() | Register():
                self._words[entry.kind, self._unit(entry.unit), entry.address] = 0
            case ResistanceRegister():
                self._words["holding register", self._unit(entry.unit), entry.address] = entry.open
            case SupplyRegisters():
                unit = self._unit(entry.unit)
                self._words["coil", unit, entry.switch] = self._words["discrete input", unit, entry.limiting] = 0
                for address in (entry.set_volts, entry.set_amps):
                    self._words["holding register", unit, address] = 0
                for address in (entry.read_volts, entry.read_amps):
                    self._words["input register", unit, address] = 0
            case _:
                pass

    def _wire(self, channel: int, entry: object) -> None:
        match entry:
            case Coil():
                place = ("coil", self._unit(entry.unit), entry.address)
                self._reads[place] = lambda: int(channel in self._bench.energised())
                self._writes[place] = lambda value: self._bench.set(channel, float(value))
            case DiscreteInput():
                self._reads["discrete input", self._unit(entry.unit), entry.address] = partial(
                    self._bit, channel, entry
                )
            case Register():
                self._reads[entry.kind, self._unit(entry.unit), entry.address] = partial(self._counts, channel, entry)
            case ResistanceRegister():
                place = ("holding register", self._unit(entry.unit), entry.address)
                self._reads[place] = lambda: self._words[place] if channel in self._bench.energised() else entry.open
                self._writes[place] = partial(self._set_ohms, channel, entry, place)
            case SupplyRegisters():
                self._wire_supply(channel, entry)
            case _:
                pass

    def _wire_supply(self, channel: int, supply: SupplyRegisters) -> None:
        unit, state = self._unit(supply.unit), partial(self._bench.supply_state, channel)
        volts, amps = ("holding register", unit, supply.set_volts), ("holding register", unit, supply.set_amps)

        def follow() -> None:
            self._bench.source(
                channel,
                volts=self._words.get(volts, 0) * supply.volts,
                amps=self._words.get(amps, 0) * supply.amps,
            )

        def set_word(place: Place, value: int) -> None:
            self._words[place] = value
            if channel in self._bench.energised():
                follow()

        def switch(value: int) -> None:
            follow() if value else self._bench.off(channel)

        self._writes[volts], self._writes[amps] = partial(set_word, volts), partial(set_word, amps)
        self._writes["coil", unit, supply.switch] = switch
        self._reads["coil", unit, supply.switch] = lambda: int(channel in self._bench.energised())
        self._reads["input register", unit, supply.read_volts] = lambda: _count(state().volts / supply.volts)
        self._reads["input register", unit, supply.read_amps] = lambda: _count(state().amps / supply.amps)
        self._reads["discrete input", unit, supply.limiting] = lambda: int(state().limiting)

    def _wire_own(self) -> None:
        """Wire what belongs to no channel: the known register and the watchdog."""
        known, watchdog = self.adapter.known, self.adapter.watchdog
        if known is not None:
            self._reads[known.kind, self._unit(known.unit), known.address] = lambda: known.reads
        if watchdog is not None:
            outputs = (one for one in self.adapter.channels.values() if isinstance(one, OUTPUTS))
            for unit in {self._unit(one.unit) for one in outputs}:
                self._wire_watchdog(unit, watchdog)

    def _wire_watchdog(self, unit: int, watchdog: Watchdog) -> None:
        place = ("holding register", unit, watchdog.address)
        self._words[place] = 0

        def start(value: int) -> None:
            self._words[place] = value
            self._time_out[unit] = value * watchdog.scale if value else math.inf

        self._writes[place] = start

    def _set_ohms(self, channel: int, decade: ResistanceRegister, place: Place, value: int) -> None:
        self._words[place] = value
        self._bench.set(channel, math.inf if value == decade.open else value * decade.scale)

    def _bit(self, channel: int, entry: DiscreteInput) -> int:
        self._bench.beat()  # lets the scene run up to now
        seen = at(self._scene.signal(channel), self._scene.now)
        light = self._fixture.light
        if entry.made is not None:
            return int((abs(seen) < self._fixture.contact_test.voltage / 2) == bool(entry.made))
        if entry.lit is not None:
            return int((seen > (light.dark + light.lit) / 2) == bool(entry.lit))
        return int((seen > HIGH) == bool(entry.high))

    def _counts(self, channel: int, entry: Register) -> int:
        value = self._bench.measure(channel)
        if math.isinf(value):
            return entry.over if entry.over is not None else 0xFFFF
        offset = entry.offset.value if entry.offset is not None else 0.0
        count = round((value - offset) / entry.scale.value)
        if entry.signed:
            return max(-0x8000, min(0x7FFF, count)) & 0xFFFF
        return _count(count)

    def _unit(self, own: int | None) -> int:
        return own or self.adapter.unit


def _count(value: float) -> int:
    return max(0, min(0xFFFF, round(value)))
