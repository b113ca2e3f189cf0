"""The budgets of what this bench reads: one reading, a difference, a contact's resistance, a share, a time.

Plan and judge ask the same functions, the one for the most critical permitted value, the other for the value read.

An accuracy statement `± (of_reading + plus)` is one bound on one error: its two parts add before they are divided. A
share of it may be common to all channels of an instrument in one role (one reference behind one multiplexer); gain and
offset are then two influences of the instrument, and the rest is the channel's own, so that the whole stays as stated.
Where nothing is said, nothing is taken as common: a difference is then less certain than it may be.

Source: JCGM 100:2008 (GUM); clauses at the functions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from benchtest.metrology.budget import Budget, Term, combined, expanded, joined
from benchtest.metrology.distributions import arcsine, rectangular, resolution, triangular

if TYPE_CHECKING:  # whoever has samples has loaded NumPy; planning does not wait for it
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "NO_SCATTER",
    "Budget",
    "Quality",
    "Scatter",
    "Term",
    "arcsine",
    "combined",
    "contact_resistance",
    "difference",
    "divided",
    "effective",
    "expanded",
    "freedom_of_mean",
    "interval",
    "joined",
    "quotient",
    "reading",
    "rectangular",
    "resolution",
    "scatter",
    "scatter_of_mean",
    "triangular",
    "winding",
]

BLOCKS = 20
"""Blocks that a record is cut into for the scatter of its mean: enough for a steady estimate (common practice)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Quality:
    """How good the readings of one channel are; half-widths of what they may be off."""

    channel: str
    """Identity of the channel, such as `X1.1-X1.2 sense`."""
    unit: str
    of_reading: float = 0.0
    """Relative."""
    plus: float = 0.0
    step: float = 0.0
    """Of display or converter."""
    shared: float = 0.0
    """Share of the accuracy that is common to all channels of `instrument`, 0 to 1."""
    instrument: str = ""
    """Identity of what they share: instrument and role."""
    drift: float = 0.0
    """Relative half-width from a temperature other than that of the calibration."""
    emf: float = 0.0
    """Half-width of thermal voltages in the leads; volts, channels of a voltage only."""
    leads: float = 0.0
    """Half-width of the resistance of leads that is read along; ohms, channels of a resistance only."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Scatter:
    """Repeatability of a mean: type A."""

    standard: float
    """Standard uncertainty of the mean."""
    freedom: float
    """Degrees of freedom."""


NO_SCATTER: Final = Scatter(standard=0.0, freedom=math.inf)
"""Of a single reading, or one that is only planned."""


def scatter(samples: NDArray[np.float64]) -> Scatter:
    """Return the repeatability of the mean of successive samples; none for one sample.

    JCGM 100:2008, 4.2.3, on means of blocks where there are enough samples: neighbouring samples of one record are not
    independent (hum, slow drift), and dividing by the root of their number would promise too much.
    """
    if samples.size < 2:
        return NO_SCATTER
    means = samples
    if samples.size >= 2 * BLOCKS:
        length = samples.size // BLOCKS
        means = samples[: length * BLOCKS].reshape(BLOCKS, length).mean(axis=1)
    away = means - means.sum() / means.size
    deviation = math.sqrt((away * away).sum() / (means.size - 1))
    return Scatter(standard=deviation / math.sqrt(means.size), freedom=freedom_of_mean(samples.size))


def scatter_of_mean(samples: NDArray[np.float64]) -> float:
    """Return the standard uncertainty of the mean of successive samples, 0 for one sample. See `scatter`."""
    return scatter(samples).standard


def freedom_of_mean(count: int) -> float:
    """Return the degrees of freedom of `scatter` over so many samples; infinite where it finds none."""
    return float(BLOCKS if count >= 2 * BLOCKS else count) - 1 if count > 1 else math.inf


def reading(value: float, quality: Quality, repeat: Scatter = NO_SCATTER) -> Budget:
    """Return the budget of one reading of one channel, in the channel's unit."""
    of, unit = quality.channel, quality.unit
    return Budget(
        terms=(
            *_calibration(value, quality),
            *_bounded("resolution", of, quality.step / 2, unit),
            *_repeatability(of, repeat, unit),
            *_bounded("temperature", of, abs(value) * quality.drift, unit),
            *_bounded("thermal EMF", of, quality.emf, unit),
            *_bounded("leads", of, quality.leads, unit),
        )
    )


def _calibration(value: float, quality: Quality) -> tuple[Term, ...]:
    """Return the accuracy: whole, or as gain and offset of the instrument and the rest as the channel's own."""
    bound, channel = abs(value) * quality.of_reading + quality.plus, quality.channel
    if not quality.shared:
        return _bounded("calibration", channel, bound, quality.unit)
    share, instrument = quality.shared, quality.instrument
    gain = _bounded("shared gain", instrument, share * quality.of_reading, "", sensitivity=value)
    offset = _bounded("shared offset", instrument, share * quality.plus, quality.unit)
    rest = bound**2 - (value * share * quality.of_reading) ** 2 - (share * quality.plus) ** 2
    own = math.sqrt(rest) if not rest < 0 else 0.0
    return (*_bounded("own calibration", channel, own, quality.unit), *gain, *offset)


def difference(one: Budget, other: Budget, *, repeat: Scatter, unit: str) -> Budget:
    """Return the budget of one reading minus another; `repeat` is the repeatability of the difference itself."""
    less = other.scaled(-1.0)
    both = joined(one, replace(less, terms=tuple(replace(term, name=f"− {term.name}") for term in less.terms)))
    return joined(both, Budget(terms=_repeatability("difference", repeat, unit)))


def effective(value: float, quality: Quality, *, repeat: Scatter, ends: float) -> Budget:
    """Return the budget of an r.m.s. value; `ends` is the half-width of what broken samples at the ends may change."""
    window = _bounded("window", quality.channel, ends, quality.unit)
    return joined(reading(value, quality, repeat), Budget(terms=window))


def interval(
    seconds: float,
    *,
    clock: float,
    stamps: tuple[float, ...],
    sampled: tuple[float, ...] = (),
    latency: float = 0.0,
) -> Budget:
    """Return the budget of a time between two moments.

    `clock` is the relative error of the time base; `stamps` are the half-widths of stamped moments; `sampled` are the
    sample intervals of moments found between two samples, where they may lie anywhere; `latency` is how much later than
    its stamp an order may have come to the terminals, one way or the other. All in seconds.
    """
    bounds = [
        *((f"stamp {number}", half) for number, half in enumerate(stamps, 1)),
        *((f"sampling {number}", step / 2) for number, step in enumerate(sampled, 1)),
        ("latency", latency),
    ]
    stamped = tuple(term for name, half in bounds for term in _bounded(name, "bench", half, "s"))
    return Budget(terms=(*_bounded("clock", "bench", clock, "", sensitivity=abs(seconds)), *stamped))


def clock_rate(seconds: float, *, stamps: tuple[float, ...]) -> Budget:
    """Return the budget of a relative deviation between two clocks, each read twice, `seconds` apart.

    `stamps` are the half-widths within which the two readings of one clock fell on the other, in seconds.
    """
    bounds = ((f"reading {number}", half / seconds) for number, half in enumerate(stamps, 1))
    return Budget(terms=tuple(term for name, half in bounds for term in _bounded(name, "bench clock", half, "")))


def contact_resistance(
    drop: Budget, *, volts: float, source: float, series: float, tolerance: float, leads: float = 0.0
) -> Budget:
    """Return the budget of a contact's resistance, in ohms.

    The contact drops `volts` behind `series` ohms at `source` volts: R = volts·series / (source - volts). `drop` is the
    budget of `volts`, an offset of the channel included; `tolerance` the relative half-width of the test current;
    `leads` the half-width of the resistance that is read along, in ohms.
    """
    left = source - volts
    ohms = volts * series / left
    drops = drop.scaled(series * source / (left * left))  # dR/dvolts, JCGM 100:2008, 5.1.3
    current = _bounded("test current", "contact test", tolerance, "", sensitivity=abs(ohms))
    return joined(drops, Budget(terms=(*current, *_bounded("leads", "contact test", leads, "Ω"))))


def quotient(numerator: Budget, *, value: float, divisor: float, tolerance: float) -> Budget:
    """Return the budget of `value` / `divisor` where the divisor is known within ±`tolerance` (relative)."""
    known = _bounded("test voltage", "contact test", tolerance, "", sensitivity=abs(value / divisor))
    return joined(numerator.scaled(1 / abs(divisor)), Budget(terms=known))


def divided(resistance: Budget, *, ohms: float, series: float) -> Budget:
    """Return the budget of the share of a voltage that stands across `ohms` behind `series` ohms.

    The share is R / (R + series), and series is what the question is about: it is exact.
    """
    return resistance.scaled(series / (ohms + series) ** 2)  # 5.1.3


def winding(coil: Budget, *, ohms: float, now: float, then: float, within: float, constant: float = 234.5) -> Budget:
    """Return the budget of a copper winding's resistance brought from `now` to `then`, in °C.

    `coil` is the budget of `ohms` at `now`, which is known within ±`within` kelvins; `constant` is that of copper. R is
    proportional to constant + temperature, so that 1 K of doubt is 0.39 % of R, more than an ohmmeter's. 234.5 is of
    relay makers' notes, from 0.00393 /K of IEC 60028 (second hand).
    """
    factor = (constant + then) / (constant + now)
    slope = abs(ohms) * factor / (constant + now)
    temperature = _bounded("coil temperature", "coil", within, "K", sensitivity=-slope)
    return joined(coil.scaled(factor), Budget(terms=temperature))


@lru_cache(maxsize=4096)
def _bounded(name: str, of: str, half_width: float, unit: str, *, sensitivity: float = 1.0) -> tuple[Term, ...]:
    """Return the term of an error of which only a bound is known, none when it is zero; what is not a number stays.

    Of a resolution the bound is half a step: d/√12 is (d/2)/√3. Most bounds of a bench are the same at every reading.
    """
    if half_width == 0 or sensitivity == 0:
        return ()
    term = Term(
        name=name,
        influence=f"{of} {name}",
        standard=rectangular(half_width),
        unit=unit,
        distribution="rectangular",
        sensitivity=sensitivity,
    )
    return (term,)


def _repeatability(of: str, repeat: Scatter, unit: str) -> tuple[Term, ...]:
    if repeat.standard == 0:
        return ()
    term = Term(
        name="repeatability",
        influence=f"{of} repeatability",
        standard=repeat.standard,
        unit=unit,
        distribution="normal",
        freedom=repeat.freedom,
    )
    return (term,)
