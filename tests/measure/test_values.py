"""`measure` of coils, supplies and contact resistances: drawn captures with known answers."""

import numpy as np
import pytest

from benchtest.measure.coil import CoilFile, measure_coil
from benchtest.measure.measured import Unmeasurable
from benchtest.measure.resistance import ResistanceFile, measure_resistance
from benchtest.measure.stated import Instrument
from benchtest.measure.supply import SupplyFile, measure_supply
from benchtest.signals.resistance import CC0
from benchtest.signals.series import Sampled
from tests.measure.drawn import channel, contact, stamped, told

NOTHING_SAID = Instrument()
RNG = np.random.default_rng(3)


def sampled(values: object, rate: float) -> Sampled:
    """Return a record."""
    return Sampled(values=np.asarray(values, float), rate=rate)


def switched_coil(rate: float = 50e3, clamp: float = 25.0) -> tuple[Sampled, Sampled]:
    """Return volts and amps of 600 Ω switched on from 20 ms to 120 ms, a dip at 26 ms, clamped for 1.5 ms."""
    t = np.arange(round(0.2 * rate)) / rate
    on = (t >= 0.02) & (t < 0.12)
    since = np.clip(t - 0.02, 0, None)
    amps = np.where(on, 0.04 * (1 - np.exp(-since / 4e-3)) - 8e-3 * np.exp(-(((since - 6e-3) / 1.2e-3) ** 2)), 0.0)
    volts = np.where(on, 24.0, np.where((t >= 0.12) & (t < 0.1215), -clamp, 0.0))
    return sampled(volts + RNG.normal(0, 0.01, t.size), rate), sampled(amps + RNG.normal(0, 5e-5, t.size), rate)


@pytest.mark.parametrize("clamp", [0.7, 25.0, 60.0])
def test_a_switched_coil_shows_resistance_dip_and_clamp_whatever_the_clamp(clamp: float) -> None:
    """24 V over 40 mA is 600 Ω; at 23 °C that is 593 Ω at 20 °C (k = 234.5, IEC 60028); the dip bottoms near 5.8 ms."""
    volts, amps = switched_coil(clamp=clamp)
    asked = CoilFile(volts=channel(volts, "u"), amps=channel(amps, "i", "A"), temperature=23.0)
    found = told(measure_coil("coil.csv", asked, NOTHING_SAID, NOTHING_SAID))

    assert found["coil resistance"].value == pytest.approx(600, rel=2e-3)
    assert found["coil resistance at 20 °C"].value == pytest.approx(600 * 254.5 / 257.5, rel=2e-3)
    assert found["holding current"].value == pytest.approx(40e-3, rel=5e-3)
    assert found["armature seated"].value == pytest.approx(5.8e-3, abs=0.6e-3)
    assert found["clamp voltage"].value == pytest.approx(clamp, rel=0.05)


def test_a_resistance_at_20_degrees_needs_the_temperature() -> None:
    """Nobody said how warm the winding was: not observed, and what to say."""
    volts, amps = switched_coil()
    asked = CoilFile(volts=channel(volts, "u"), amps=channel(amps, "i", "A"))
    found = told(measure_coil("coil.csv", asked, NOTHING_SAID, NOTHING_SAID))

    assert found["coil resistance at 20 °C"].value is None
    assert "--temperature" in found["coil resistance at 20 °C"].note


def test_operate_and_release_voltage_by_ramp() -> None:
    """0 V to 24 V and back in 4 s; made from 15 V up until 6 V down."""
    rate = 2000.0
    t = np.arange(round(4 * rate)) / rate
    volts = 24 * (1 - np.abs(t - 2) / 2)
    made = contact((1.25, 3.5), duration=4.0, rate=rate)
    asked = CoilFile(volts=channel(sampled(volts, rate), "u"), contacts=(channel(made),), method="ramp")
    found = told(measure_coil("ramp.csv", asked, NOTHING_SAID, NOTHING_SAID))

    assert found["operate voltage"].value == pytest.approx(15.0, abs=0.02)
    assert found["release voltage"].value == pytest.approx(6.0, abs=0.02)
    assert "MIL-PRF-28776F" in found["operate voltage"].note


def test_a_coil_without_any_channel_or_with_states_is_refused() -> None:
    """Nothing named, only zeros, or edges where samples are needed."""
    with pytest.raises(Unmeasurable, match="--voltage"):
        measure_coil("x.csv", CoilFile(), NOTHING_SAID, NOTHING_SAID)
    dead = CoilFile(volts=channel(sampled(np.zeros(100), 1e3)))
    with pytest.raises(Unmeasurable, match="never switched on"):
        measure_coil("x.csv", dead, NOTHING_SAID, NOTHING_SAID)
    with pytest.raises(Unmeasurable, match="states"):
        measure_coil("x.csv", CoilFile(volts=channel(stamped((0.05, 0.1)))), NOTHING_SAID, NOTHING_SAID)


def test_a_direct_supply_has_a_mean_three_ripples_and_its_sag() -> None:
    """24 V with 1 V peak to peak of 100 Hz and one dip to 18 V of 50 ms."""
    t = np.arange(0, 1, 1e-4)
    volts = 24 + 0.5 * np.sin(2 * np.pi * 100 * t)
    quiet = told(measure_supply("psu.csv", SupplyFile(supply=channel(sampled(volts, 1e4))), NOTHING_SAID))
    volts[4000:4500] = 18
    dipped = SupplyFile(supply=channel(sampled(volts, 1e4)), nominal=24.0)
    found = told(measure_supply("psu.csv", dipped, NOTHING_SAID))

    assert quiet["mean"].value == pytest.approx(24.0, rel=1e-6)
    assert quiet["ripple, peak to peak"].value == pytest.approx(1 / 24, rel=1e-3)
    assert quiet["ripple, half of it"].value == pytest.approx(0.5 / 24, rel=1e-3)
    assert quiet["ripple, r.m.s."].value == pytest.approx(0.5 / np.sqrt(2) / 24, rel=1e-3)
    assert found["sags"].value == 1.0
    assert found["sag 1, depth"].value == pytest.approx(6.0)
    assert found["sag 1, duration"].value == pytest.approx(0.05, abs=2e-4)


def test_an_alternating_supply_is_told_over_whole_cycles() -> None:
    """24 V r.m.s. at 50 Hz over 10.3 cycles with 0.3 V of offset: sqrt(24² + 0.3²), 50 Hz."""
    t = np.arange(0, 0.206, 1e-4)
    volts = 24 * np.sqrt(2) * np.sin(2 * np.pi * 50 * t + 1) + 0.3
    measured = measure_supply("ac.csv", SupplyFile(supply=channel(sampled(volts, 1e4))), NOTHING_SAID)
    found = told(measured)

    assert found["r.m.s."].value == pytest.approx(np.hypot(24, 0.3), rel=2e-4)
    assert found["frequency"].value == pytest.approx(50.0, rel=2e-4)
    assert found["d.c. part"].value == pytest.approx(0.3, abs=0.02)
    assert any("a.c." in note for note in measured.notes)


def test_a_clipped_supply_says_so() -> None:
    """Peaks cut at 20 V: without a word about the converter a warning, with it no r.m.s. at all."""
    t = np.arange(0, 0.2, 1e-4)
    volts = np.clip(24 * np.sqrt(2) * np.sin(2 * np.pi * 50 * t), -20, 20)
    warned = measure_supply("ac.csv", SupplyFile(supply=channel(sampled(volts, 1e4))), NOTHING_SAID)
    refused = SupplyFile(supply=channel(sampled(volts, 1e4)), saturation=(-20.0, 20.0))

    assert any("clipped" in note for note in warned.notes)
    assert told(measure_supply("ac.csv", refused, NOTHING_SAID))["r.m.s."].value is None


def test_what_was_said_of_the_instrument_is_in_the_uncertainty() -> None:
    """0.5 % of reading and 20 mV at 24 V: U = 2 · (0.12 + 0.02)/√3 (JCGM 100:2008, 4.3.7)."""
    record = SupplyFile(supply=channel(sampled(np.full(1000, 24.0), 1e4)))
    said = told(measure_supply("psu.csv", record, Instrument(of_reading=0.005, plus=0.02)))["mean"]
    silent = told(measure_supply("psu.csv", record, NOTHING_SAID))["mean"]

    assert said.uncertainty == pytest.approx(2 * 0.14 / np.sqrt(3))
    assert silent.uncertainty is None


def reversing(ohms: list[float], emf: float) -> tuple[Sampled, Sampled]:
    """Return volts and amps of 100 mA one way and the other, once per actuation of these resistances."""
    amps = np.concatenate([np.repeat([0.0, 0.1, 0.0, -0.1, 0.0], 200) for _ in ohms])
    each = np.repeat(ohms, 1000)
    volts = amps * each + emf * (amps != 0)
    return sampled(volts, 1e3), sampled(amps, 1e3)


def test_current_reversal_takes_the_thermal_voltage_out() -> None:
    """50 mΩ with 20 µV of thermal e.m.f.: one direction alone would read 50.2 mΩ."""
    volts, amps = reversing([50e-3, 80e-3, 55e-3], 20e-6)
    asked = ResistanceFile(volts=channel(volts, "v"), amps=channel(amps, "i", "A"), open_volts=6.0)
    found = told(measure_resistance("r.csv", asked, NOTHING_SAID, NOTHING_SAID))

    assert [found[f"contact resistance {n}"].value for n in (1, 2, 3)] == pytest.approx([50e-3, 80e-3, 55e-3])
    assert found["thermal e.m.f. 1"].value == pytest.approx(20e-6)
    assert found["worst"].value == pytest.approx(80e-3)


def test_a_test_supply_beyond_its_category_measures_nothing() -> None:
    """6 V is no dry circuit (CC0: 30 mV, IEC 61810-7 second hand): it would have broken the film."""
    volts, amps = reversing([50e-3], 0.0)
    asked = ResistanceFile(volts=channel(volts, "v"), amps=channel(amps, "i", "A"), open_volts=6.0, category=CC0)
    measured = measure_resistance("r.csv", asked, NOTHING_SAID, NOTHING_SAID)

    assert told(measured)["contact resistance"].value is None
    assert not measured.settled
