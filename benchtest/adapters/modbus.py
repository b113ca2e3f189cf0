"""Modbus I/O modules as a bench adapter: coils drive, inputs and registers are read, register sets are supplies.

Neighbouring addresses of the fixture's table are read in one request, so that a look at all inputs takes one or two
exchanges; no address is read that the table does not name. Every write is read back, and what does not follow is a
fault of the bench. The hard limits of the bench are checked here once more. On the way out everything is switched off,
loads first, and read back. Which coil or register is behind a channel, and what a bit means, is the fixture's word
(`fixture.modbus`); framing, deadlines and recovery are `modbus_line`'s.
"""

import logging
import math
import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Final, Protocol

from benchtest.adapters.modbus_line import MOST_BITS, MOST_WORDS, Known, ModbusLine
from benchtest.adapters.ports import leaving, open_port
from benchtest.clock import Clock
from benchtest.errors import AdapterMissing, AdapterRefused, RigError
from benchtest.fixture.adapter import NO_DEAD_MAN
from benchtest.fixture.document import HardLimits
from benchtest.fixture.modbus import (
    Coil,
    DiscreteInput,
    Entry,
    ModbusAdapter,
    Register,
    ResistanceRegister,
    SupplyRegisters,
)
from benchtest.instruments import Device, SupplyState

BEATS: Final = 4
"""Signs of life within the time of a watchdog."""
LARGEST: Final = 0xFFFF

Place = tuple[str, int, int]
"""Table, unit, address."""


class Line(Protocol):
    """What a line with Modbus units can do; `modbus_line` says what each raises."""

    heard: dict[int, float]
    """Unit → when it last answered."""

    def bits(self, table: str, unit: int, address: int, count: int) -> list[bool]: ...
    def words(self, table: str, unit: int, address: int, count: int) -> list[int]: ...
    def write_coil(self, unit: int, address: int, value: bool) -> None: ...
    def write_word(self, unit: int, address: int, value: int) -> None: ...
    def identification(self, unit: int) -> str: ...


class ModbusBench:
    """Modules on one line. One thread at a time."""

    def __init__(self, *, line: Line, adapter: ModbusAdapter, limits: HardLimits, name: str, clock: Clock) -> None:
        self._line, self._adapter, self._limits = line, adapter, limits
        self._name, self._clock = name, clock
        self._runs = _runs(place for entry in adapter.channels.values() for place in self._read_from(entry))
        self._watched_over = {place[1]: place for place in map(self._state_of, self._outputs())}
        """Unit that has outputs, each with a watchdog of its own → a place of it that can be read."""

    # ------------------------------------------------------------ who it is, and that we live

    def identity(self) -> str:
        said = self._line.identification(self._adapter.unit)
        return said or f"Modbus unit {self._adapter.unit} at {self._name}, which does not say who it is"

    def beat(self) -> None:
        """Ask every unit that has outputs when nobody else has for a while; without a watchdog nobody waits for it."""
        for unit, place in self._watched_over.items():
            if self._clock.now() - self._line.heard.get(unit, -math.inf) > self._adapter.dead_man / BEATS:
                self._read({place})

    def check(self) -> None:
        """Do nothing: modules keep no errors, each answer is its own."""

    # ------------------------------------------------------------ outputs

    def set(self, channel: int, value: float) -> None:
        match self._adapter.channels.get(channel):
            case Coil() as coil if value in {0, 1}:
                self._write_coil(channel, self._unit(coil), coil.address, bool(value))
            case ResistanceRegister() as decade if value >= 0:
                self._write_word(channel, self._unit(decade), decade.address, self._ohms(channel, decade, value))
            case Coil() | ResistanceRegister():
                raise AdapterRefused(f"channel {channel} cannot be set to {value:g}")
            case _:
                raise AdapterRefused(f"channel {channel} is no output of {self._name}")

    def off(self, channel: int) -> None:
        match self._adapter.channels.get(channel):
            case Coil():
                self.set(channel, 0.0)
            case ResistanceRegister():
                self.set(channel, math.inf)
            case SupplyRegisters() as supply:
                self._write_coil(channel, self._unit(supply), supply.switch, False)
            case _:
                raise AdapterRefused(f"channel {channel} is no output of {self._name}")

    def all_off(self) -> None:
        """Take every output to safety, loads first, whatever becomes of one; then raise the first problem.

        A unit that does not answer is not asked for each of its outputs: the others are waiting.
        """
        problems: list[RigError] = []
        silent: list[int] = []
        for channel in self._outputs():
            unit = self._unit(self._adapter.channels[channel])
            try:
                if unit not in silent:
                    self.off(channel)
            except RigError as problem:
                problems.append(problem)
                silent += [] if isinstance(problem, AdapterRefused) else [unit]
        if problems:
            raise problems[0]

    def energised(self) -> frozenset[int]:
        places = {channel: self._state_of(channel) for channel in self._outputs()}
        found = self._read(set(places.values()))
        return frozenset(channel for channel, place in places.items() if found[place] != self._safe(channel))

    # ------------------------------------------------------------ supplies

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        supply = self._supply(channel)
        if not 0 <= volts <= self._limits.voltage:
            raise AdapterRefused(f"channel {channel}: {volts:g} V is outside the hard limit of this bench")
        if not 0 < amps <= self._limits.current:
            raise AdapterRefused(f"channel {channel}: {amps:g} A is outside the hard limit of this bench")
        unit = self._unit(supply)
        limit = math.floor(amps / supply.amps + 1e-9)  # never above what was asked for
        self._write_word(channel, unit, supply.set_amps, self._count(channel, limit, f"{amps:g} A"))
        self._write_word(
            channel, unit, supply.set_volts, self._count(channel, round(volts / supply.volts), f"{volts:g} V")
        )
        self._write_coil(channel, unit, supply.switch, True)

    def supply_state(self, channel: int) -> SupplyState:
        supply = self._supply(channel)
        on, volts, amps, limiting = self._places(supply)
        found = self._read({on, volts, amps, limiting})
        return SupplyState(
            on=bool(found[on]),
            volts=found[volts] * supply.volts,
            amps=found[amps] * supply.amps,
            limiting=bool(found[limiting]),
        )

    # ------------------------------------------------------------ readings

    def measure(self, channel: int) -> float:
        return self.look([channel])[0]

    def look(self, channels: Sequence[int]) -> Sequence[float]:
        entries = [self._reading(channel) for channel in channels]
        places = [self._place(entry) for entry in entries]
        found = self._read(set(places))
        return [
            entry.level(bool(found[place])) if isinstance(entry, DiscreteInput) else entry.reading(found[place])
            for entry, place in zip(entries, places, strict=True)
        ]

    # ------------------------------------------------------------ writing, read back

    def _write_coil(self, channel: int, unit: int, address: int, value: bool) -> None:
        self._line.write_coil(unit, address, value)
        (found,) = self._line.bits("coil", unit, address, 1)
        if found != value:
            raise AdapterRefused(f"{self._name}: channel {channel} does not follow, coil {address} reads {found:d}")

    def _write_word(self, channel: int, unit: int, address: int, value: int) -> None:
        self._line.write_word(unit, address, value)
        (found,) = self._line.words("holding register", unit, address, 1)
        if found != value:
            reads = f"register {address} reads {found} instead of {value}"
            raise AdapterRefused(f"{self._name}: channel {channel} does not follow, {reads}")

    def _ohms(self, channel: int, decade: ResistanceRegister, value: float) -> int:
        if math.isinf(value):
            return decade.open
        count = self._count(channel, round(value / decade.scale), f"{value:g} ohm")
        if count == decade.open:
            raise AdapterRefused(f"channel {channel}: {value:g} ohm is what opens the circuit here")
        return count

    @staticmethod
    def _count(channel: int, count: int, what: str) -> int:
        if not 0 <= count <= LARGEST:
            raise AdapterRefused(f"channel {channel}: {what} does not fit into a register of sixteen bits")
        return count

    # ------------------------------------------------------------ reading, neighbours at once

    def _read(self, places: Collection[Place]) -> Mapping[Place, int]:
        """Return what stands at the places, in as few requests as the fixture's table allows."""
        found: dict[Place, int] = {}
        for run in self._runs:
            wanted = [place for place in run if place in places]
            if wanted:
                (table, unit, first), (_, _, last) = wanted[0], wanted[-1]
                reader = self._line.bits if table in {"coil", "discrete input"} else self._line.words
                values = reader(table, unit, first, last - first + 1)
                found |= {(table, unit, first + offset): int(value) for offset, value in enumerate(values)}
        return found

    def _read_from(self, entry: object) -> tuple[Place, ...]:
        """Return every place that is ever read for a channel."""
        match entry:
            case SupplyRegisters() as supply:
                return self._places(supply)
            case Coil() | DiscreteInput() | Register() | ResistanceRegister():
                return (self._place(entry),)
            case _:
                return ()

    def _place(self, entry: Coil | DiscreteInput | Register | ResistanceRegister) -> Place:
        table = "holding register" if isinstance(entry, ResistanceRegister) else entry.kind
        return table, self._unit(entry), entry.address

    def _places(self, supply: SupplyRegisters) -> tuple[Place, Place, Place, Place]:
        """Return where a supply says that it is on, its volts, its amps, and that it is limiting."""
        unit = self._unit(supply)
        return (
            ("coil", unit, supply.switch),
            ("input register", unit, supply.read_volts),
            ("input register", unit, supply.read_amps),
            ("discrete input", unit, supply.limiting),
        )

    # ------------------------------------------------------------ the fixture's table

    def _outputs(self) -> list[int]:
        """Return the channels that can be on, loads first."""
        kinds = Coil | ResistanceRegister | SupplyRegisters
        outputs = [channel for channel, entry in self._adapter.channels.items() if isinstance(entry, kinds)]
        return sorted(outputs, key=lambda channel: isinstance(self._adapter.channels[channel], SupplyRegisters))

    def _state_of(self, channel: int) -> Place:
        return self._read_from(self._adapter.channels[channel])[0]

    def _safe(self, channel: int) -> int:
        entry = self._adapter.channels[channel]
        return entry.open if isinstance(entry, ResistanceRegister) else 0

    def _supply(self, channel: int) -> SupplyRegisters:
        entry = self._adapter.channels.get(channel)
        if not isinstance(entry, SupplyRegisters):
            raise AdapterRefused(f"channel {channel} is no supply of {self._name}")
        return entry

    def _reading(self, channel: int) -> DiscreteInput | Register:
        entry = self._adapter.channels.get(channel)
        if not isinstance(entry, DiscreteInput | Register):
            raise AdapterRefused(f"channel {channel} is no input of {self._name}")
        return entry

    def _unit(self, entry: Entry) -> int:
        return entry.unit or self._adapter.unit

    # ------------------------------------------------------------ coming and going

    def device(self) -> Device:
        """Return what it can do for a bench."""
        kinds = {type(entry) for entry in self._adapter.channels.values()}
        return Device(
            identified=self,
            outputs=self,
            supplies=self if SupplyRegisters in kinds else None,
            meter=self,
            panel=self,
        )

    def enter(self) -> None:
        """Make sure who it is, start its watchdog, and begin with everything off. AdapterMissing when it is another."""
        if self._adapter.identity and not (found := self.identity()).startswith(self._adapter.identity):
            raise AdapterMissing(f"{self._name}: found {found!r}, expected {self._adapter.identity!r}")
        if self._adapter.watchdog is not None and self._adapter.dead_man != NO_DEAD_MAN:
            watchdog = self._adapter.watchdog
            count = max(1, math.floor(self._adapter.dead_man / watchdog.scale + 1e-9))
            for unit in self._watched_over:
                self._line.write_word(unit, watchdog.address, count)
        self.leave()

    def leave(self) -> None:
        """Everything off, read back. AdapterRefused when something stays on."""
        self.all_off()
        if left := sorted(self.energised()):
            raise AdapterRefused(f"{self._name}: channels {', '.join(map(str, left))} are still on")


def _runs(places: Iterable[Place]) -> list[list[Place]]:
    """Return the places in runs of neighbours, none longer than one request may read."""
    runs: list[list[Place]] = []
    for place in sorted(set(places)):
        table, unit, address = place
        most = MOST_BITS if table in {"coil", "discrete input"} else MOST_WORDS
        if runs and runs[-1][-1] == (table, unit, address - 1) and len(runs[-1]) < most:
            runs[-1].append(place)
        else:
            runs.append([place])
    return runs


@contextmanager
def open_modbus(*, adapter: ModbusAdapter, port: str, limits: HardLimits, clock: Clock) -> Iterator[Device]:
    """Open the modules at `port` (or the fixture's), compare their identity; everything off on the way in and out.

    Raises AdapterMissing, AdapterSilent, AdapterGarbled or AdapterRefused; on the way out only when nothing else is
    being raised already.
    """
    logging.getLogger("pymodbus").addHandler(logging.NullHandler())  # what goes wrong is said by us, once
    name = port or adapter.port
    tcp = re.fullmatch(r"tcp://([A-Za-z0-9.-]+:[0-9]{1,5})", name)
    with open_port(f"socket://{tcp[1]}" if tcp else name, baud=round(adapter.baud)) as opened:
        line = ModbusLine(
            port=opened,
            clock=clock,
            baud=None if tcp else adapter.baud,
            slowest=adapter.slowest,
            known=_known(adapter),
        )
        bench = ModbusBench(line=line, adapter=adapter, limits=limits, name=name, clock=clock)
        bench.enter()
        with leaving(bench.leave):
            yield bench.device()


def _known(adapter: ModbusAdapter) -> Known | None:
    known = adapter.known
    if known is None:
        return None
    return Known(table=known.kind, unit=known.unit or adapter.unit, address=known.address, reads=known.reads)
