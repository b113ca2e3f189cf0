"""Coil current and turn-off."""

import numpy as np
import pytest
from scipy import ndimage

from benchtest.signals.inrush import averaged, coil_current, turn_off
from benchtest.signals.series import Moments, Sampled, Uneven

RATE = 1e5
TIMES = np.arange(10_000) / RATE
ON = 0.01


def current(*, holding: float = 0.04, tau: float = 8e-3, dip: float = 0.006, at: float = 9e-3) -> Moments:
    """Return a coil's current: exponential after 10 ms, with a dip of a cosine's shape, 4 ms long."""
    since = np.maximum(TIMES - ON, 0.0)
    trough = np.where(np.abs(since - at) < 2e-3, (1 + np.cos(np.pi * (since - at) / 2e-3)) / 2, 0.0)
    return np.asarray(holding * (1 - np.exp(-since / tau)) - 2 * dip * trough)


def noise(deviation: float, seed: int = 1) -> Moments:
    """Return normal noise."""
    return np.random.default_rng(seed).normal(0.0, deviation, TIMES.size)


def series(values: Moments) -> Sampled:
    """Return it as a recording."""
    return Sampled(values=values, rate=RATE)


def test_the_armature_shows_in_the_dip() -> None:
    """The bottom of the valley is where a plain search between its peaks finds it."""
    clean = current()
    found = coil_current(series(clean + noise(2e-4)), since=ON, until=0.09)
    window = clean[1000:9000]
    peak = int(np.argmax(window[:900]))
    bottom = peak + int(np.argmin(window[peak : peak + 400]))
    assert found.dip.begin.value == pytest.approx(peak / RATE, abs=5e-4)
    assert found.dip.bottom.value == pytest.approx(bottom / RATE, abs=5e-4)
    assert found.dip.depth.value == pytest.approx(window[peak] - window[bottom], rel=0.1)


@pytest.mark.parametrize("seed", range(20))
def test_noise_alone_makes_no_dip(seed: int) -> None:
    """A blocked armature leaves a plain exponential, whatever the noise does."""
    found = coil_current(series(current(dip=0.0) + noise(2e-3, seed)), since=ON, until=0.09)
    assert found.dip.depth.value is None
    assert "no dip" in found.dip.depth.reason


@pytest.mark.parametrize("seed", range(20))
def test_a_dip_below_its_noise_in_single_samples_is_found(seed: int) -> None:
    """Noise of a third of the dip's depth does not hide it from the average."""
    found = coil_current(series(current() + noise(1.5e-3, seed)), since=ON, until=0.09)
    assert found.dip.bottom.value == pytest.approx(9e-3, abs=1e-3)


def test_holding_inrush_and_time_constant() -> None:
    """40 mA, 8 ms to 63.2 %; either polarity; from an uneven column as well."""
    values = current(dip=0.0) + noise(1e-4)
    kept = np.flatnonzero(np.random.default_rng(3).random(values.size) < 0.5)
    for found in (
        coil_current(series(-values), since=ON, until=0.09),
        coil_current(Uneven(values=values[kept], times=TIMES[kept]), since=ON, until=0.09),
    ):
        assert found.holding.value == pytest.approx(0.04, rel=0.01)
        assert found.inrush.value == pytest.approx(0.04, rel=0.02)
        assert found.time_constant.value == pytest.approx(8e-3, abs=2e-4)


def test_an_economised_coil_has_more_inrush_than_holding() -> None:
    """The drive falls back to a third after 40 ms."""
    values = np.where(TIMES < 0.05, 0.04, 0.013) * (TIMES >= ON)
    found = coil_current(series(values + noise(1e-4)), since=ON, until=0.09)
    assert (found.inrush.value, found.holding.value) == pytest.approx((0.04, 0.013), rel=0.02)


@pytest.mark.parametrize(
    ("values", "why"),
    [
        (noise(1e-3), "rest|noise"),
        (0.04 * np.maximum(TIMES - ON, 0), "rest"),
        (np.full(TIMES.size, np.nan), "only 0 samples"),
    ],
    ids=["no current", "still rising", "no numbers"],
)
def test_a_current_that_says_nothing(values: Moments, why: str) -> None:
    """No current, none at rest, none readable: no number comes of it."""
    found = coil_current(series(values), since=ON, until=0.09)
    assert found.holding.value is None or found.inrush.value is None
    assert any(word in found.inrush.reason for word in why.split("|"))
    assert found.dip.bottom.value is None


def test_the_moving_average_is_that_of_scipy() -> None:
    """scipy.ndimage.uniform_filter1d agrees wherever the whole window is inside."""
    values = noise(1.0)
    assert averaged(values, 21) == pytest.approx(ndimage.uniform_filter1d(values, 21)[10:-10], abs=1e-9)


def kick(clamp: float, *, tau: float = 2e-3, supply: float = 24.0) -> Moments:
    """Return a coil's voltage: on until 10 ms, then clamped while its energy lasts, then dying away."""
    since = TIMES - ON
    held = np.where(since < 4e-3, clamp, clamp * np.exp(-(since - 4e-3) / tau))
    return np.where(since < 0, supply, -held)


@pytest.mark.parametrize("clamp", [0.7, 24.7, 60.0])
def test_the_clamp_of_a_diode_and_of_a_zener(clamp: float) -> None:
    """0.7 V, or the zener's voltage on top; a tenth is left ln 10 time constants after the energy is gone."""
    found = turn_off(series(kick(clamp) + noise(0.005)), since=ON, until=0.09)
    assert found.clamp.value == pytest.approx(clamp, rel=0.03)
    assert found.decay.value == pytest.approx(4e-3 + 2e-3 * np.log(10), rel=0.05)
    assert not found.clipped


def test_a_kick_beyond_the_converter_is_a_lower_bound() -> None:
    """Cut off at 30 V, the clamp voltage is undecided and at least that."""
    found = turn_off(series(np.maximum(kick(60.0), -30.0)), since=ON, until=0.09, saturation=(-30.0, 30.0))
    assert found.clipped
    assert "at least 30 V" in found.clamp.reason


def test_what_does_not_turn_round_is_not_a_clamp() -> None:
    """A resistor's voltage just goes; a record that ends early has no decay; one without a before has nothing."""
    gone = np.where(TIMES < ON, 24.0, 0.0) + noise(0.01)
    assert "does not turn round" in turn_off(series(gone), since=ON, until=0.09).clamp.reason
    assert "at the end" in turn_off(series(kick(24.7)), since=ON, until=0.013).decay.reason
    assert "too few" in turn_off(series(kick(24.7)), since=-1.0, until=0.013).clamp.reason
