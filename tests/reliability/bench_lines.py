"""The adapter's parser of the line protocol, with a bench behind it that writes down what it was told."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from benchtest.clock import VirtualClock
from benchtest.instruments import Capture, Started
from benchtest.simulator.server import LineSide
from benchtest.simulator.wire_state import WireState
from tests.reliability.mutations import Sample
from tests.reliability.orders import Permitted, lines
from tests.reliability.parsers import Misread
from tests.server.table_bench import TableBench

ORDERS: Final = (
    b":SYST:ECHO? 4711;:OUTPut:VALue 1,(@101);:SYST:ERR:ALL?\n",
    b"OUTP:VAL 1,(@101,103:105)\n",
    b"OUTP:VAL 4700.0,(@601);:OUTP:ACT?\r\n",
    b"output:value #H1,(@102);:OUTP:VAL INF,(@602)\n",
    b"SOUR:CURR 1.5,(@201);:SOUR:VOLT 24.0,(@201);:SOUR:STAT ON,(@201);:SYST:ERR:ALL?\n",
    b"SOURce:CURRent 2.4E-1,(@202)\n:SOURce:VOLTage 12,(@202)\n:SOURce:STATe 1,(@202)\nSOUR:VOLT 16,(@202)\n",
    b":RECord:CLEar\n:RECord:ORDer 0.01,1,(@101);:RECord:ORDer 0.06,0,(@101)\n:REC:STAR 0.1,10000,(@401);:REC:TIME?\n",
    b"OUTP:OFF (@101);:OUTP:OFF:ALL\n",
    b"*RST;*CLS;:DEAD:TIME 1.0;:DEAD:ARM\nOUTP:VAL 1,(@110)\n",
    b"DEADman:ARM;:OUTPut:VALue 0,(@101,102)\n",
    b":SYST:ECHO? 7;:SOUR:STAT? (@201);:MEAS? (@301,302);:SYST:ERR:ALL?\n",
    b"*IDN?;:SYST:VERS?;:SYST:PROT?;*OPC?;:DEAD:STAT?\n",
    b":RECord:FORMat?;:RECord:DONE?;:RECord:DATA?;:SYST:ERR?\n",
)
HEAVY: Final = 2000.0
"""Samples that a recording may have here; what is longer is begun and not sampled."""


@dataclass
class Door:
    """A host that has said something once."""

    data: bytes
    name: str = "a door"
    present: bool = True
    said: bytes = b""

    def watched(self) -> int:
        return -1

    def look(self) -> None:
        """See nobody come."""

    def read(self) -> bytes | None:
        data, self.data = self.data, b""
        return data

    def write(self, data: bytes) -> int:
        self.said += data
        return len(data)


@dataclass
class Ledger(TableBench):
    """A bench that writes down what may hurt."""

    told: list[tuple[int, float]] = field(default_factory=list)
    sourced: list[tuple[int, float, float]] = field(default_factory=list)
    begun: list[Capture] = field(default_factory=list)

    def set(self, channel: int, value: float) -> None:
        super().set(channel, value)
        self.told.append((channel, value))

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        super().source(channel, volts=volts, amps=amps)
        self.sourced.append((channel, volts, amps))

    def begin(self, capture: Capture) -> Started:
        self.begun.append(capture)
        if capture.duration * capture.rate * len(capture.channels) > HEAVY:
            return Started(at=self.clock.now(), uncertainty=0.0)
        return super().begin(capture)


class LineSideParser:
    """`simulator.server`, `wire_side`, `commands` and `syntax`; half of the time the adapter is armed before."""

    name = "line protocol, adapter"

    def __init__(self) -> None:
        self.corpus: Sequence[Sample] = [Sample(armed, line) for line in ORDERS for armed in ("armed", "locked")]

    def take(self, sample: Sample) -> bool:
        clock, armed = VirtualClock(), sample.ask == "armed"
        bench = Ledger(clock)
        state = WireState(bench, clock)
        state.armed = armed
        errors = list[int]()
        side = LineSide(Door(sample.data), state, lambda _: None)
        side.turn()
        while state.count_errors():
            errors.append(int(state.take_error().split(b",")[0]))
        permitted = Permitted(armed=armed)
        for line in lines(sample.data):
            permitted.hear(line)
        self._judge(bench, permitted, sample)
        return not errors

    def _judge(self, bench: Ledger, may: Permitted, sample: Sample) -> None:
        wrong = [f"output {channel} {value}" for channel, value in bench.told if (channel, value) not in may.outputs]
        wrong += [
            f"supply {channel} {volts} V {amps} A"
            for channel, volts, amps in bench.sourced
            if not ((channel, volts) in may.volts and (channel, amps) in may.amps and channel in may.on)
        ]
        for capture in bench.begun:
            if (capture.duration, capture.rate) not in may.starts:
                wrong.append(f"a recording of {capture.duration} s")
            wrong += [f"a timed {o}" for o in capture.orders if (o.at, o.value, o.channel) not in may.orders]
        if any(math.isnan(value) for _, value in bench.told):
            wrong.append("NaN")
        if wrong:
            raise Misread(f"{sample.data!r}, {sample.ask}: {'; '.join(wrong)}")
