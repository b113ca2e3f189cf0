"""What a light sensor sees: the lamp, the pulses that dim it, and the light of the room, which swings with its mains.

Outside judges: an integration of the sensor's equation by scipy, spectra by numpy's transform.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from benchtest.cli.documents import prepare
from benchtest.errors import DocumentError
from benchtest.fixture.document import Fixture
from benchtest.plan import plan
from benchtest.procedure import LampCode, Record
from benchtest.profile import load_profile
from benchtest.simulator.lamp import GLOW, pulses
from benchtest.simulator.noise import Chance
from benchtest.simulator.room import MAINS, room
from benchtest.studies.known import subject_of
from benchtest.studies.trial import Subject, Trial, try_one
from tests.simulator.stand import ROOT, carwash, greenhouse

QUICK = 380.0
"""Hertz; 375 samples a second, which that code gets from a steady lamp, fold it into the code's own rhythm."""


def spectrum(samples: np.ndarray, rate: float) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies, and the amplitude of each."""
    amplitudes = 2 * np.abs(np.fft.rfft(samples - samples.mean())) / samples.size
    return np.fft.rfftfreq(samples.size, 1 / rate), amplitudes


@pytest.mark.parametrize(("hertz", "share"), [(100.0, 0.3), (240.0, 0.6), (1e3, 0.05), (5e3, 0.9)])
def test_a_sensor_smooths_pulses_by_its_time_constant(hertz: float, share: float) -> None:
    """Within 0.1 % of an integration over 40 time constants and more, after which it swings evenly."""
    period = 1 / hertz
    cycles = int(np.ceil(40 * GLOW / period))
    seen, level = [], 0.0
    for _ in range(cycles):
        for begin, end, light in ((0.0, share * period, 1.0), (share * period, period, 0.0)):
            found = solve_ivp(
                lambda _t, y, light=light: (light - y) / GLOW, (begin, end), [level], rtol=1e-8, atol=1e-10
            )
            level = float(found.y[0, -1])
            seen.append((found.t, found.y[0]))
    times, levels = (np.concatenate(part) for part in zip(*seen[-2:], strict=True))

    assert pulses(hertz, share, times + 7 * period) == pytest.approx(levels, abs=1e-3)


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_the_light_of_the_room_swings_twice_a_cycle_of_its_mains(seed: int) -> None:
    """A dark lamp shows one line, at 100 or 120 Hz, as high as its share of the room's light (2 to 4 %) is deep."""
    stand = greenhouse(seed=seed)
    recording = stand.record(stand.light("D1"), seconds=1.0, rate=2500.0)
    samples = recording.samples(stand.light("D1"))
    frequencies, amplitudes = spectrum(samples, 2500.0)
    highest = int(amplitudes.argmax())
    drawn = room(Chance(seed))

    assert frequencies[highest] in [2 * mains for mains in MAINS]
    assert frequencies[highest] == drawn.hertz
    assert 0.019 < amplitudes[highest] / drawn.depth < 0.041
    assert np.median(amplitudes) < amplitudes[highest] / 50


def test_the_room_is_one_for_all_sensors() -> None:
    """Two dark lamps swing together."""
    stand = greenhouse()
    recording = stand.record(stand.light("D1"), stand.light("D2"), seconds=1.0, rate=2500.0)
    one, other = (recording.samples(stand.light(lamp)) for lamp in ("D1", "D2"))

    assert np.corrcoef(one, other)[0, 1] > 0.95


def test_a_dimmed_lamp_pulses_while_it_is_lit() -> None:
    """The status lamp of the car-wash board is lit by 240 pulses a second of its own clock."""
    stand = carwash()
    stand.power()
    recording = stand.record(stand.light("D6"), seconds=2.0, rate=10e3)
    samples = recording.samples(stand.light("D6"))
    moments = np.arange(samples.size) / 10e3
    lit = moments[samples > 0.5]
    flash = samples[(moments > lit[0]) & (moments < lit[0] + 0.15)]
    frequencies, amplitudes = spectrum(flash, 10e3)

    assert frequencies[amplitudes.argmax()] == pytest.approx(240, rel=0.03)
    assert flash.min() < 0.4
    assert flash.max() > 0.6


@pytest.fixture
def dimmed(tmp_path: Path) -> Path:
    """The greenhouse profile with the lamp of its probes dimmed."""
    for name in ("greenhouse.yaml", "greenhouse.dbc"):
        (tmp_path / name).write_text((ROOT / "profiles" / name).read_text(encoding="utf-8"), encoding="utf-8")
    path, steady = tmp_path / "greenhouse.yaml", "{colour: blue, use: probes, code: probes}"
    text = path.read_text(encoding="utf-8")
    pulsing = steady.replace("}", f", dimmed: {{frequency: {QUICK} Hz, share: 60 %}}}}")
    assert text.count(steady) == 1
    path.write_text(text.replace(steady, pulsing), encoding="utf-8")
    return path


def codes(subject: Subject) -> set[str]:
    """What is wrong with the lamp's codes on two good boards."""
    tried = [try_one(subject, Trial(faults=(), seed=seed)) for seed in (1, 2)]
    return {word for one in tried for check, word in one.symptoms.items() if ".D22." in check}


def test_pulses_are_recorded_quickly_enough_to_be_told_from_the_code(dimmed: Path) -> None:
    """Planned with what the profile says of them every code is read; at the rate that a steady lamp gets it is not."""
    prepared = prepare(dimmed, ROOT / "fixtures/simulated.yaml", "two-bay", ("dosing",))
    known = subject_of(prepared)
    slower = tuple(
        replace(
            step,
            moves=tuple(
                replace(move, rate=375.0) if isinstance(move, Record) and move.rate == 2.5 * QUICK else move
                for move in step.moves
            ),
        )
        for step in known.procedure.steps
    )
    unknown = replace(known, procedure=replace(known.procedure, steps=slower))

    assert slower != known.procedure.steps
    assert codes(known) == set()
    assert codes(unknown) != set()


def test_short_pulses_of_light_do_not_fall_between_two_samples(dimmed: Path) -> None:
    """A lamp that gets light for 5 % of each period is looked at as often as that takes, and a good board passes."""
    text = dimmed.read_text(encoding="utf-8").replace(
        f"frequency: {QUICK} Hz, share: 60 %", "frequency: 60 Hz, share: 5 %"
    )
    dimmed.write_text(text, encoding="utf-8")
    prepared = prepare(dimmed, ROOT / "fixtures/simulated.yaml", "two-bay", ("dosing",))
    moves = [move for step in prepared.procedure.steps for move in step.moves if isinstance(move, Record)]
    rates = {move.rate for move in moves if move.name == "code-7-watch"}

    assert 1500.0 == pytest.approx(min(rates))
    assert codes(subject_of(prepared)) == set()


def test_a_bench_too_slow_for_the_pulses_says_so(dimmed: Path) -> None:
    """As far as the bench goes, the code is not tested; else the plan is refused, with both rates."""
    prepared = prepare(dimmed, ROOT / "fixtures/simulated.yaml", "two-bay", ("dosing",))
    bench = prepared.fixture.fixture
    slow = bench.adapters["io"].model_copy(update={"rate": 500.0})
    fixture: Fixture = bench.model_copy(update={"adapters": {**bench.adapters, "io": slow}})
    procedure = plan(
        prepared.fitted,
        database=prepared.profile.database,
        fixture=fixture,
        harness=prepared.harness,
        partial=True,
    )
    absent = {check.id: check for step in procedure.steps for check in step.checks if ".D22.code" in check.id}

    assert absent
    for check in absent.values():
        assert not isinstance(check.measurand, LampCode)
        assert "looked at 500 times a second; its pulses take 950 times" in str(check.measurand)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("dimmed: {frequency: 0 Hz, share: 60 %}", "above 0 Hz"),
        ("dimmed: {frequency: 240 Hz, share: 100 %}", "between 0 % and 100 %"),
        ("dimmed: {frequency: 240, share: 60 %}", "without a unit"),
    ],
)
def test_pulses_that_are_none_are_refused(dimmed: Path, written: str, said: str) -> None:
    """With the line of the lamp, and what is expected."""
    text = dimmed.read_text(encoding="utf-8").replace(f"dimmed: {{frequency: {QUICK} Hz, share: 60 %}}", written)
    dimmed.write_text(text, encoding="utf-8")

    with pytest.raises(DocumentError, match=r"greenhouse\.yaml:225") as refused:
        load_profile(dimmed)
    assert said in str(refused.value)


def test_a_lamp_across_a_coil_is_not_dimmed_by_the_program(dimmed: Path) -> None:
    """Its light follows the coil; saying otherwise is refused."""
    text = dimmed.read_text(encoding="utf-8")
    wrong = text.replace('use: "24 V d.c. there"', 'use: "24 V d.c. there", dimmed: {frequency: 240 Hz, share: 60 %}')
    dimmed.write_text(wrong, encoding="utf-8")

    with pytest.raises(DocumentError, match="only a lamp that the program lights"):
        load_profile(dimmed)
