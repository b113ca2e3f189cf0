"""A small made-up bench for the judge: a procedure of one recording, and recordings drawn by hand.

Channels: 401, 402 contacts behind 12 V and 120 Ω; 311 a coil pad; 301 and 303 supply voltages; 501 a lamp; 701 an
ohmmeter; 201 a supply whose current is channel 801.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from benchtest.instruments import Message, Order, Recording, Role
from benchtest.judge import judge_check
from benchtest.procedure import (
    Channel,
    Check,
    ContactTest,
    DecisionRule,
    Interval,
    LinkOrder,
    Measurand,
    Measure,
    Procedure,
    Record,
    Source,
    Step,
    Timing,
)
from benchtest.readings import Evidence, Origin, Readings, Recorded
from benchtest.results import Result
from benchtest.signals.levels import Samples

RATE = 10_000.0
OPEN, MADE = 12.0, 0.004
"""Volts across a contact."""
STEP = 2e-3


def channel(role: Role, terminals: str, *, plus: float, low: float = 0.0, high: float = 0.0) -> Channel:
    """Return a channel of the usual accuracy."""
    return Channel(
        role=role,
        terminals=terminals,
        of_reading=0.0005,
        plus=plus,
        resolution=plus / 2,
        low=low,
        high=high,
        instrument="daq",
    )


CHANNELS: Mapping[int, Channel] = {
    201: replace(channel(Role.SUPPLY, "X1.1-X1.2", plus=0.0), of_reading=0.0, instrument=""),
    301: channel(Role.SENSE, "X1.1-X1.2", plus=0.003, low=6.0, high=15.0),
    303: channel(Role.SENSE, "X2.1-X2.2", plus=0.003, low=6.0, high=15.0),
    311: channel(Role.SENSE, "TP.1-X1.2", plus=0.003, low=6.0, high=15.0),
    401: channel(Role.CONTACT, "X11.1-X11.2", plus=0.001, low=1.2, high=9.6),
    402: channel(Role.CONTACT, "X11.3-X11.4", plus=0.001, low=1.2, high=9.6),
    501: channel(Role.LIGHT, "lamp D1", plus=0.02, low=0.2, high=0.5),
    701: channel(Role.OHMS, "X10.1-X10.2", plus=0.02),
    801: channel(Role.CURRENT, "X1.1-X1.2", plus=0.001),
}
TIMING = Timing(clock=50e-6, stamp=20e-6, link_stamp=1e-3)


def steps_of(*turns: tuple[float, float], duration: float, rate: float = RATE) -> Samples:
    """Return samples that take each value from its moment on: `steps_of((0.0, OPEN), (0.015, MADE), duration=0.1)`."""
    moments = np.arange(round(duration * rate)) / rate
    begins = np.array([moment for moment, _ in turns]) - 1e-9
    values = np.array([value for _, value in turns])
    samples: Samples = values[np.searchsorted(begins, moments, side="right") - 1]
    return samples


def recorded(
    waves: Mapping[int, Samples],
    *,
    rate: float = RATE,
    done: Sequence[Order] = (),
    said: Sequence[float] = (),
    messages: Sequence[Message] = (),
    overrun: bool = False,
) -> Recorded:
    """Return waves in volts (or shares, or amps) as a converter of 2 mV a step would have given them."""
    codes = np.array([np.round(wave / STEP) for wave in waves.values()]).astype(np.int16)
    recording = Recording(
        rate=rate,
        channels=tuple(waves),
        codes=codes,
        scale=(STEP,) * len(waves),
        offset=(0.0,) * len(waves),
        done=tuple(done),
        overrun=overrun,
    )
    return Recorded(recording=recording, messages=tuple(messages), said=tuple(said), start_uncertainty=0.5e-3)


@dataclass(frozen=True, kw_only=True)
class Bench:
    """One procedure with the evidence of its moves."""

    orders: tuple[Order, ...] = ()
    link_orders: tuple[LinkOrder, ...] = ()
    evidence: Mapping[str, Evidence] = field(default_factory=dict)
    channels: Mapping[int, Channel] = field(default_factory=lambda: CHANNELS)
    decision: DecisionRule = field(default_factory=lambda: DecisionRule(guard=1.0, accept_conditional=False))

    def procedure(self, *checks: Check) -> Procedure:
        """Return a procedure of one step that makes all the evidence there is."""
        record = Record(
            name="e",
            orders=self.orders,
            link_orders=self.link_orders,
            duration=0.1,
            rate=RATE,
            channels=tuple(self.channels),
        )
        moves = (
            Source(name="on", channel=201, volts=24.0, amps=1.0, settle=0.1),
            Measure(name="bridge", channel=701),
            Measure(name="contact", channel=401),
            record,
        )
        return Procedure(
            part="T-1",
            board="test board",
            variant=None,
            options=(),
            not_fitted=(),
            channels=self.channels,
            timing=TIMING,
            decision=self.decision,
            contact_test=ContactTest(voltage=12.0, series=120.0, tolerance=0.01),
            link=None,
            loads=(),
            supplies=(201,),
            steps=(Step(id="s", title="s", moves=moves, checks=checks, duration=0.1),),
        )

    def judge(
        self, measurand: Measurand, permitted: Interval | str, *, unit: str = "", evidence: Evidence | None = None
    ) -> Result:
        """Return the result of one question to this bench; `evidence` is that of the recording."""
        check = question(measurand, permitted, unit=unit)
        found = dict(self.evidence) if evidence is None else {**self.evidence, "e": evidence}
        return judge_check(check, self.procedure(check), Readings(origin=Origin.SIMULATED, evidence=found))


def question(measurand: Measurand, permitted: Interval | str, *, unit: str = "", name: str = "s.K1.x") -> Check:
    """Return a check of K1."""
    return Check(
        id=name, subject="K1", title="K1 something", measurand=measurand, unit=unit, permitted=permitted, probe="X11"
    )


def within(low: float | None, high: float | None) -> Interval:
    """Return a permitted interval."""
    return Interval(low=low, high=high)
