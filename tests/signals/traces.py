"""Brightness traces as a bench may get them: a coded lamp, dimmed, under a room lamp, drifting, noisy, quantised.

The signal-to-noise ratio is 20 lg(step / r.m.s. noise), in decibels, of single samples: the step is from the dark lamp
to the mean of the lit one, the noise is white and normal. (By the power of the alternating part of a lamp that is lit
half the time it would be 6 dB less.) Dimming, mains flicker, drift and quantisation come on top and are not counted as
noise.

A sample is either taken in an instant or is the mean over the whole interval before it, as of a sensor that integrates.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from benchtest.procedure import CountRhythm, DigitsRhythm, Rhythm
from benchtest.signals.series import Sampled, Uneven

Numbers = NDArray[np.float64]
FULL_SCALE = 4.0
"""Of the converter, in steps of the lamp."""
STRONG = 0.15
"""Amplitude of a harmonic of the dimming, in steps of the lamp, that matters."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Conditions:
    """How a lamp is looked at."""

    rate: float = 1000.0
    """Samples per second."""
    flash: float = 0.2
    """Seconds of the shortest flash."""
    snr: float = 40.0
    """Decibels; see above."""
    bits: int = 16
    dimming: float = 0.0
    """Hertz of the pulse-width modulation of the lit lamp; 0 for none."""
    share: float = 0.5
    """Of each period that a dimmed lamp is on."""
    mains: float = 0.0
    """Hertz of the flicker of the room's lamps; 0 for none."""
    drift: Literal["none", "ramp", "wave"] = "none"
    """One step of the lamp up over the record, or a wave of half a step either way."""
    dropped: float = 0.0
    """Share of the samples that are missing."""
    integrating: bool = False
    """Each sample is the mean over the interval before it."""
    kind: Literal["count", "digits", "two probes"] = "count"

    @property
    def samples(self) -> float:
        """Samples per shortest flash."""
        return self.rate * self.flash

    @property
    def folded(self) -> float:
        """Hertz of the slowest strong part of the dimming that the samples show; infinite where they show none."""
        if not self.dimming or self.integrating:
            return np.inf
        harmonics = np.arange(1, 40)
        strong = harmonics[2 * np.abs(np.sinc(harmonics * self.share)) > STRONG] * self.dimming
        return float(np.abs(strong - self.rate * np.round(strong / self.rate)).min())

    @property
    def ambiguous(self) -> bool:
        """Whether the sampling itself makes slow light and dark out of the dimming: no decoder can know."""
        return self.folded < 4 / self.flash


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Trace:
    """A record and what the lamp gave in it."""

    series: Sampled | Uneven
    rhythm: Rhythm
    word: str


def rhythm_of(conditions: Conditions) -> Rhythm:
    """Return the rhythm, scaled to the shortest flash."""
    flash = conditions.flash
    if conditions.kind == "count":
        return CountRhythm(flash=flash, gap=flash, pause=6 * flash)
    probes = 2 if conditions.kind == "two probes" else 1
    return DigitsRhythm(
        slow=3 * flash,
        quick=flash,
        between_digits=6 * flash,
        between_probes=10 * flash,
        pause=18 * flash,
        probes=probes,
    )


def durations(rhythm: Rhythm, word: str) -> list[float]:
    """Return lit, dark, lit, … of one repeat; the last one is the pause."""
    if isinstance(rhythm, CountRhythm):
        return [rhythm.flash, rhythm.gap] * (int(word) - 1) + [rhythm.flash, rhythm.pause]
    repeat: list[float] = []
    for code in word.split():
        slow, quick = (int(digit) for digit in code)
        repeat += [rhythm.slow, rhythm.slow] * (slow - 1) + [rhythm.slow, rhythm.between_digits]
        repeat += [rhythm.quick, rhythm.quick] * (quick - 1) + [rhythm.quick, rhythm.between_probes]
    return [*repeat[:-1], rhythm.pause]


def word_for(rhythm: Rhythm, rng: np.random.Generator) -> str:
    """Return some code of a rhythm."""
    if isinstance(rhythm, CountRhythm):
        return str(rng.integers(1, 10))
    return " ".join(f"{slow}{quick}" for slow, quick in rng.integers(1, 4, (rhythm.probes, 2)))


def trace(conditions: Conditions, rng: np.random.Generator, *, word: str | None = None, repeats: float = 4) -> Trace:
    """Return a record of so many repeats and a pause, from any phase, with ±5 % in the board's clock."""
    rhythm = rhythm_of(conditions)
    word = word or word_for(rhythm, rng)
    repeat = np.array(durations(rhythm, word)) * rng.uniform(0.95, 1.05)
    moments = np.arange(round((repeats * repeat.sum() + repeat[-1]) * conditions.rate)) / conditions.rate
    if conditions.dropped:
        moments = moments[rng.random(moments.size) >= conditions.dropped]
    light = lamp(moments, repeat, conditions, rng) + room(moments, conditions, rng)
    light += rng.normal(0.0, 10 ** (-conditions.snr / 20), moments.size)
    codes = np.clip(np.round(light / FULL_SCALE * 2**conditions.bits), 0, 2**conditions.bits - 1).astype(np.int32)
    if conditions.dropped:
        return Trace(series=Uneven(values=codes, times=moments), rhythm=rhythm, word=word)
    return Trace(series=Sampled(values=codes, rate=conditions.rate), rhythm=rhythm, word=word)


def lamp(moments: Numbers, repeat: Numbers, conditions: Conditions, rng: np.random.Generator) -> Numbers:
    """Return the light of the lamp, in steps."""
    bounds = np.concatenate(([0.0], np.cumsum(repeat)))
    sums = np.concatenate(([0.0], np.cumsum(np.where(np.arange(repeat.size) % 2 == 0, repeat, 0.0))))
    since = moments + rng.uniform(0, bounds[-1])
    aperture = 1 / conditions.rate if conditions.integrating else 1e-6
    lit = (_upto(since, bounds, sums) - _upto(since - aperture, bounds, sums)) / aperture
    if not conditions.dimming:
        return lit
    period, on = 1 / conditions.dimming, conditions.share / conditions.dimming
    gate = np.array([0.0, on, period]), np.array([0.0, on, on])
    turning = moments + rng.uniform(0, period)
    aperture = aperture if conditions.integrating else period * 1e-6
    return lit * (_upto(turning, *gate) - _upto(turning - aperture, *gate)) / aperture / conditions.share


def _upto(moments: Numbers, bounds: Numbers, sums: Numbers) -> Numbers:
    """Return the integral of a repeated pattern up to each moment."""
    whole, rest = np.divmod(moments, bounds[-1])
    return np.asarray(whole * sums[-1] + np.interp(rest, bounds, sums))


def room(moments: Numbers, conditions: Conditions, rng: np.random.Generator) -> Numbers:
    """Return the light of the surroundings, in steps of the lamp: it flickers by a quarter of a step either way."""
    light = np.full(moments.size, rng.uniform(0.8, 1.2))
    if conditions.mains:
        turns = 2 * np.pi * conditions.mains * rng.uniform(0.999, 1.001) * moments + rng.uniform(0, 2 * np.pi)
        seen = np.sinc(conditions.mains / conditions.rate) if conditions.integrating else 1.0
        light += 0.25 * seen * np.sin(turns)
    share = moments / moments[-1]
    if conditions.drift == "ramp":
        light += share
    if conditions.drift == "wave":
        light += 0.5 * np.sin(2 * np.pi * share + rng.uniform(0, 2 * np.pi))
    return light
