"""A finished run as the bench would leave it, made by arithmetic: 14 relays, supplies, rails, inputs, two lamp codes.

The board is the greenhouse board of the profiles; the traces have an operate time, bounce and a lamp that follows.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchtest.instruments import Message, Order, Recording, Role
from benchtest.procedure import (
    Absent,
    AllOff,
    Bounce,
    Cause,
    Channel,
    Check,
    ContactResistance,
    ContactTest,
    CountRhythm,
    DecisionRule,
    Delay,
    DigitsRhythm,
    Interval,
    LampCode,
    Limiting,
    LinkPlan,
    Measurand,
    Measure,
    OpenShare,
    Procedure,
    Record,
    Scalar,
    Source,
    State,
    StateOf,
    Step,
    Still,
    StillOn,
    Timing,
)
from benchtest.readings import Evidence, Left, Origin, Readings, Recorded, Supplied, Value
from benchtest.results import Instrument, Job, Outcome, Result, Run, SafeState, Verdict

RATE: Final = 10e3  # samples per second
RELAYS: Final = tuple(range(1, 15))
WELDED: Final = 7
"""The relay that stays made in the failing run."""
CONTACT, COIL, LAMP = 300, 400, 500
"""Channel of a relay's contact, coil and lamp: one of these plus the relay's number."""


def _channel(role: Role, terminals: str, low: float, high: float) -> Channel:
    return Channel(
        role=role,
        terminals=terminals,
        of_reading=5e-4,
        plus=1e-3,
        resolution=5e-4,
        low=low,
        high=high,
        instrument="daq",
    )


def _channels() -> Mapping[int, Channel]:
    found = {101: _channel(Role.SUPPLY, "X1.1-X1.2", 0.0, 0.0)}
    for n in RELAYS:
        found[CONTACT + n] = _channel(Role.CONTACT, f"X11.{2 * n - 1}-X11.{2 * n}", 1.0, 10.8)
        found[COIL + n] = _channel(Role.SENSE, f"TP.{n}-X1.2", 6.0, 18.0)
    for n in (*RELAYS, 19, 20):
        found[LAMP + n] = _channel(Role.LIGHT, f"lamp D{n}", 0.2, 0.5)
    return found


# ---------------------------------------------------------------- traces


def _trace(rows: Mapping[int, NDArray[np.float64]], orders: tuple[Order, ...] = ()) -> Recorded:
    scale = 0.5e-3  # volts, or share of light, per code
    recording = Recording(
        rate=RATE,
        channels=tuple(rows),
        codes=np.array([np.round(row / scale) for row in rows.values()]).astype(np.int16),
        scale=(scale,) * len(rows),
        offset=(0.0,) * len(rows),
        done=orders,
    )
    heard = Message(at=0.05, name="STATUS", signals={"k3": 1.0}, frame="181#04", sent=False)
    return Recorded(recording=recording, messages=(heard,), said=(0.02,), start_uncertainty=2e-3)


def _switching(n: int, *, makes: bool, sticks: bool) -> Recorded:
    """Return 0.25 s around an order at 20 ms: the contact follows after 4 to 9 ms and bounces for about 1 ms."""
    at = np.arange(round(0.25 * RATE)) / RATE
    after = at - 0.02 - (0.006 if makes else 0.004) - 0.0002 * n
    closed = after >= 0 if makes else after < 0
    if makes:
        closed &= ~((after > 0.0004) & (after < 0.0007)) & ~((after > 0.0010) & (after < 0.0011))
    if sticks:
        closed = np.ones_like(closed)
    powered = (at >= 0.02) == makes
    hum = 0.02 * np.sin(2 * np.pi * 50 * at)
    rows = {
        CONTACT + n: np.where(closed, 0.008, 12.0) + hum / 10,
        COIL + n: np.where(powered, 0.7, 15.5) + hum,
        LAMP + n: np.where(powered, 0.8, 0.01),
    }
    return _trace(rows, (Order(at=0.02, channel=200 + n, value=float(makes)),))


def _flashing(channel: int, marks: tuple[float, ...]) -> Recorded:
    """Return a lamp that is dark and lit in turn for the given seconds, twice over."""
    twice = (*marks, *marks, 0.5)
    lit = np.concatenate([np.full(round(mark * RATE), 0.8 if i % 2 else 0.01) for i, mark in enumerate(twice)])
    return _trace({channel: lit})


# ---------------------------------------------------------------- checks and what came of them


@dataclass(frozen=True, kw_only=True, slots=True)
class Looked:
    """A check with what came of it."""

    check: Check
    value: float | str | None
    uncertainty: float | None = None
    verdict: Verdict = Verdict.PASS
    note: str = ""


def _check(identity: str, measurand: Measurand, permitted: Interval | str, *, unit: str = "", probe: str) -> Check:
    _, subject, what = identity.split(".")
    return Check(
        id=identity,
        subject=subject,
        title=f"{subject} {what.replace('_', ' ')}",
        measurand=measurand,
        unit=unit,
        permitted=permitted,
        probe=probe,
        place="greenhouse.yaml:93",
    )


def _upto(high: float) -> Interval:
    return Interval(low=None, high=high)


def _times(n: int, *, sticks: bool) -> list[Looked]:
    on, off, contact, probe = f"exercise.K{n}.on", f"exercise.K{n}.off", CONTACT + n, f"X11.{2 * n - 1}-X11.{2 * n}"
    cause = Cause(at=0.02, order="bench")
    made = Delay(evidence=on, channel=contact, state="made", since=cause)
    broken = Delay(evidence=off, channel=contact, state="broken", since=cause)
    lamp = Delay(evidence=on, channel=LAMP + n, state="lit", since=cause)
    bounce = Bounce(evidence=on, channel=contact, since=0.02, until=0.2)
    release = _check(f"exercise.K{n}.release", broken, Interval(low=1e-3, high=10e-3), unit="s", probe=probe)
    stuck = Looked(check=release, value=None, verdict=Verdict.FAIL, note="never broken within the recording")
    opened = Looked(check=release, value=0.004 + 0.0002 * n, uncertainty=1.2e-4)
    operate = _check(f"exercise.K{n}.operate", made, Interval(low=1e-3, high=12e-3), unit="s", probe=probe)
    return [
        Looked(check=operate, value=0.006 + 0.0002 * n, uncertainty=1.2e-4),
        stuck if sticks else opened,
        Looked(
            check=_check(f"exercise.K{n}.bounce", bounce, _upto(5e-3), unit="s", probe=probe),
            value=1.1e-3,
            uncertainty=1e-4,
        ),
        Looked(
            check=_check(f"exercise.K{n}.lamp_delay", lamp, _upto(60e-3), unit="s", probe=f"lamp D{n}"),
            value=0.0,
            uncertainty=1e-4,
        ),
    ]


def _levels(n: int, *, sticks: bool) -> list[Looked]:
    on, off, contact, probe = f"exercise.K{n}.on", f"exercise.K{n}.off", CONTACT + n, f"X11.{2 * n - 1}-X11.{2 * n}"
    closed = ContactResistance(evidence=on, channel=contact, start=0.1, end=0.2)
    share = OpenShare(evidence=off, channel=contact, start=0.1, end=0.2)
    bad = Verdict.FAIL if sticks else Verdict.PASS
    looked = [
        Looked(
            check=_check(f"exercise.K{n}.resistance", closed, _upto(0.2), unit="Ω", probe=probe),
            value=0.041 + 0.003 * n,
            uncertainty=0.0123,
        ),
        Looked(
            check=_check(f"exercise.K{n}.open_share", share, Interval(low=0.9, high=None), probe=probe),
            value=0.002 if sticks else 0.998,
            uncertainty=0.011,
            verdict=bad,
        ),
        Looked(
            check=_check(
                f"exercise.K{n}.others", Still(evidence=on, channels=(301, 302), start=0.0, end=0.2), "0", probe="all"
            ),
            value="0",
        ),
    ]
    states: tuple[tuple[str, str, int, State], ...] = (
        ("contact_on", on, contact, "made"),
        ("contact_off", off, contact, "broken"),
        ("lamp_on", on, LAMP + n, "lit"),
        ("lamp_off", off, LAMP + n, "dark"),
        ("coil_on", on, COIL + n, "low"),
        ("coil_off", off, COIL + n, "high"),
    )
    for what, evidence, channel, state in states:
        stuck = sticks and what == "contact_off"
        measurand = StateOf(evidence=evidence, channel=channel, start=0.1, end=0.2)
        check = _check(f"exercise.K{n}.{what}", measurand, state, probe=_channels()[channel].terminals)
        looked.append(Looked(check=check, value="made" if stuck else state, verdict=bad if stuck else Verdict.PASS))
    return looked


def _supply() -> list[Looked]:
    idle = Interval(low=0.025, high=0.095)
    current = Scalar(evidence="power.main", field="amps")
    ends = "X1.1-X1.2"
    return [
        Looked(
            check=_check("power.main.limit", Limiting(evidence="power.main"), "free", probe="X1.1-X1.2"), value="free"
        ),
        Looked(
            check=_check("power.main.idle_current", current, idle, unit="A", probe=ends),
            value=0.0512,
            uncertainty=0.0011,
        ),
        Looked(
            check=_check(
                "power.main.unpowered",
                Scalar(evidence="power.ohms"),
                Interval(low=500, high=None),
                unit="Ω",
                probe=ends,
            ),
            value=math.inf,
            uncertainty=1.0,
            note="over-range",
        ),
    ]


def _rails() -> list[Looked]:
    looked = []
    for i in range(60):
        rail = Scalar(evidence=f"rails.{i}")
        check = _check(f"rails.rail_{i}.voltage", rail, Interval(low=4.8, high=5.2), unit="V", probe=f"TP.{i + 1}-X1.2")
        looked.append(Looked(check=check, value=5.01 + i * 1e-3, uncertainty=0.0062))
    return looked


def _codes() -> list[Looked]:
    counted = LampCode(evidence="codes.D19", channel=LAMP + 19, rhythm=CountRhythm(flash=0.2, gap=0.2, pause=1.0))
    digits = DigitsRhythm(slow=0.6, quick=0.2, between_digits=0.8, between_probes=1.2, pause=2.0, probes=1)
    spelled = LampCode(evidence="codes.D20", channel=LAMP + 20, rhythm=digits)
    return [
        Looked(check=_check("codes.D19.code", counted, "3", probe="lamp D19"), value="3"),
        Looked(check=_check("codes.D20.code", spelled, "12", probe="lamp D20"), value="12"),
    ]


def _left_out() -> list[Looked]:
    reason = "no channel of this bench reaches TP.19"
    absent = _check("safe.probe_supply.ripple", Absent(reason=reason), _upto(0.05), unit="V", probe="TP.19-X1.2")
    still = _check("safe.bench.left", StillOn(evidence="off"), "0", probe="bench")
    return [
        Looked(check=still, value="0"),
        Looked(check=absent, value=None, verdict=Verdict.NOT_TESTED, note=reason),
    ]


# ---------------------------------------------------------------- the whole


def _steps(*, welded: int | None) -> list[tuple[Step, list[Looked]]]:
    relays = [look for n in RELAYS for sticks in [n == welded] for look in _times(n, sticks=sticks)]
    relays += [look for n in RELAYS for sticks in [n == welded] for look in _levels(n, sticks=sticks)]
    source = Source(name="power.main", channel=101, volts=24.0, amps=1.5, settle=0.2)
    record = Record(
        name="exercise.K1.on",
        orders=(Order(at=0.02, channel=201, value=math.inf),),
        link_orders=(),
        duration=0.25,
        rate=RATE,
        channels=(301, 401, 501),
    )
    parts = (
        ("power", "First power", (source, Measure(name="power.ohms", channel=101)), _supply()),
        ("rails", "Rails", (), _rails()),
        ("exercise", "Every relay in turn", (record,), relays),
        ("codes", "Lamp codes", (), _codes()),
        ("safe", "Everything off", (AllOff(name="off"),), _left_out()),
    )
    return [
        (Step(id=i, title=t, moves=moves, checks=tuple(look.check for look in looked), duration=2.0), looked)
        for i, t, moves, looked in parts
    ]


def _procedure(steps: tuple[Step, ...]) -> Procedure:
    return Procedure(
        part="GZ-2140",
        board="Greenhouse zone relay board",
        variant="two-bay",
        options=("dosing",),
        not_fitted=("heated rail",),
        channels=_channels(),
        timing=Timing(clock=50e-6, stamp=20e-6, link_stamp=2e-3),
        decision=DecisionRule(guard=1.0, accept_conditional=False),
        contact_test=ContactTest(voltage=12.0, series=120.0, tolerance=0.01),
        link=LinkPlan(database='VERSION ""\n', bit_rate=125e3, heartbeat="CONTROL", every=0.1, terminals="X6.1-X6.2"),
        loads=tuple(200 + n for n in RELAYS),
        supplies=(101,),
        steps=steps,
    )


def finished_readings(*, welded: int | None = None, origin: Origin = Origin.SIMULATED) -> Readings:
    """Return the evidence of the run: two recordings per relay, two lamp codes, scalars."""
    evidence: dict[str, Evidence] = {
        "power.main": Supplied(volts=24.0, amps=0.0512, limiting=False),
        "power.ohms": Value(value=math.inf),
        "off": Left(channels=()),
        "codes.D19": _flashing(LAMP + 19, (1.0, 0.2, 0.2, 0.2, 0.2, 0.2)),
        "codes.D20": _flashing(LAMP + 20, (2.0, 0.6, 0.8, 0.2, 0.2, 0.2)),
    }
    evidence |= {f"rails.{i}": Value(value=5.01 + i * 1e-3) for i in range(60)}
    for n in RELAYS:
        evidence[f"exercise.K{n}.on"] = _switching(n, makes=True, sticks=n == welded)
        evidence[f"exercise.K{n}.off"] = _switching(n, makes=False, sticks=n == welded)
    return Readings(origin=origin, evidence=evidence)


def finished_run(*, welded: int | None = None, origin: Origin = Origin.SIMULATED, serial: str = "GZ-000417") -> Run:
    """Return a run that passed in all that was asked, or one with a welded relay."""
    parts = _steps(welded=welded)
    results = [
        Result(
            check=look.check,
            value=look.value,
            uncertainty=look.uncertainty,
            coverage=None if look.uncertainty is None else 2.0,
            verdict=look.verdict,
            note=look.note,
            origin=origin,
        )
        for _, looked in parts
        for look in looked
    ]
    failed = sum(result.verdict is Verdict.FAIL for result in results)
    return Run(
        format="benchtest-run/1",
        id="3f9a12c4",
        number="BT-20260314-3f9a12c4",
        software="benchtest 0.1.0",
        started="2026-03-14T10:15:00+01:00",
        ended="2026-03-14T10:15:42.5+01:00",
        job=Job(
            serial=serial,
            technician="A. Sample",
            work_order="WO-1182",
            customer="Nursery at the Lock",
            revision="C",
            phase="as left",
        ),
        profile="greenhouse.yaml",
        profile_digest="ab" * 32,
        fixture="simulated.yaml",
        fixture_digest="cd" * 32,
        bench="Simulated bench",
        place="inside this computer",
        ambient=23.0,
        instruments=(
            Instrument(
                name="data acquisition and multiplexer",
                serial="D-0001",
                certificate="none, invented",
                calibrated="2026-03-02",
                due="2027-03-02",
            ),
            Instrument(
                name="four-wire ohmmeter",
                serial="R-0002",
                certificate="none, invented",
                calibrated="2026-03-02",
                due="2027-03-02",
            ),
        ),
        identities={"io": "Benchtest,virtual bench,0,0.1.0", "can": "Benchtest,virtual link,0,0.1.0"},
        seed=7,
        faults=() if welded is None else (f"K{welded} welded",),
        procedure=_procedure(tuple(step for step, _ in parts)),
        results=tuple(results),
        outcome=Outcome.FAIL if failed else Outcome.PASS,
        reason=f"{failed} checks failed, the first: K{welded} release" if failed else "every required check passed",
        safe=SafeState(reached=True, verified=True),
        origin=origin,
        recordings={},
        journal_head="0" * 64,
    )
