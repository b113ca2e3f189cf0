"""Current and voltage of a coil while it is switched on and off.

Switched on, a d.c. coil's current rises, dips while the armature moves and its motion induces against the supply, and
rises again to the holding current. The dip is the deepest valley: of each moment the lower of the two peaks before and
after it, less the current itself, of a moving average. It counts when it is deeper than the noise left in the average,
and than a share of the holding current; otherwise no dip is said. Switched off, the coil's voltage turns round and is
held by whatever clamps it.

Source: the armature's dip in the coil current is common practice, no source; the share of 63.2 % is the definition of a
time constant (exact for a rising coil only as long as the armature stands still).
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from benchtest.signals.found import Found
from benchtest.signals.series import Moments, Sampled, Uneven, cut

SPREADS: Final = 9.0
"""Deviations of the averaged noise that a dip is deeper than: of 20 000 records of noise alone none was beyond 8.2
(computed, averages of a hundredth of the record)."""
LEAST_DEPTH: Final = 0.02
"""Of the holding current: less is no armature (common practice)."""
TAIL: Final = 0.1
"""Share of the stretch, at its end, that gives the holding current."""
FEWEST: Final = 20
"""Samples without which no coil is looked at."""
NO_LONGER: Final = 0.1
"""Of the clamp voltage: the end of its decay, the other reference level of a 10 to 90 % transition."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Dip:
    """The armature's trace in the coil current; moments are seconds since switching on."""

    begin: Found
    """The current begins to fall: the armature moves."""
    bottom: Found
    """It rises again: the armature has arrived."""
    depth: Found
    """Amperes below the lower of the two peaks beside it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CoilCurrent:
    """A d.c. coil's current after switching on."""

    inrush: Found
    """Largest current in amperes."""
    holding: Found
    """Amperes at the end, a mean; its doubt is what it still drifted."""
    time_constant: Found
    """Seconds to 63.2 % of the holding current."""
    dip: Dip


@dataclass(frozen=True, kw_only=True, slots=True)
class TurnOff:
    """A coil's voltage after switching off."""

    clamp: Found
    """Volts at the coil, against the former polarity: the level that it is held at, without its sign."""
    decay: Found
    """Seconds from switching off until less than a tenth of the clamp voltage is left for good."""
    clipped: bool
    """The record ends at its own extreme, so the clamp voltage may be higher."""


def coil_current(amps: Sampled | Uneven, *, since: float, until: float, smoothing: float | None = None) -> CoilCurrent:
    """Return what a coil's current did between switching on and `until`, in seconds.

    `smoothing` is the length in seconds of the moving average, by default a hundredth of the stretch. The current is
    taken without its sign. Undecided when there is no current, or when it has not come to rest.
    """
    moments, values = cut(amps, since=since, until=until)
    if values.size < FEWEST:
        return _nothing(f"only {values.size} samples between {since:g} s and {until:g} s (expected {FEWEST})")
    tail = max(2, round(values.size * TAIL))
    sign = math.copysign(1.0, float(values[-tail:].mean()))
    values, moments = values * sign, moments - since
    width = _width(moments, smoothing)
    smooth, noise = averaged(values, width), _noise(values) / math.sqrt(width)
    holding = _holding(values, tail)
    if holding.value is None or holding.value <= SPREADS * noise:
        return _nothing(holding.reason or "no current that could be told from noise")
    moments = moments[width // 2 : width // 2 + smooth.size]
    top = int(np.argmax(smooth))
    return CoilCurrent(
        inrush=Found.known(smooth[top], 2 * noise),
        holding=holding,
        time_constant=_time_constant(moments, smooth, holding.value),
        dip=_dip(moments, smooth, least=max(SPREADS * noise, LEAST_DEPTH * holding.value), gap=_gap(moments) * width),
    )


def _nothing(reason: str) -> CoilCurrent:
    nothing = Found.unknown(reason)
    dip = Dip(begin=nothing, bottom=nothing, depth=nothing)
    return CoilCurrent(inrush=nothing, holding=nothing, time_constant=nothing, dip=dip)


def _gap(moments: Moments) -> float:
    return float(moments[-1] - moments[0]) / (moments.size - 1)


def _width(moments: Moments, smoothing: float | None) -> int:
    """Return the samples of the moving average, an odd number."""
    span = float(moments[-1] - moments[0])
    wanted = span / 100 if smoothing is None else smoothing
    return 2 * min(round(wanted / _gap(moments) / 2), moments.size // 8) + 1


def averaged(values: Moments, width: int) -> Moments:
    """Return the moving average over an odd number of samples, only where all of them are there."""
    sums = np.concatenate(([0.0], np.cumsum(values)))
    return np.asarray((sums[width:] - sums[:-width]) / width)


def _noise(values: Moments) -> float:
    """Return the standard deviation of noise from second differences, which a smooth course does not enter."""
    second = values[2:] - 2 * values[1:-1] + values[:-2]
    return float(np.median(np.abs(second))) / (0.6745 * math.sqrt(6))


def _holding(values: Moments, tail: int) -> Found:
    """Return the mean at the end, with the drift between its halves as doubt; undecided while it still moves."""
    last, half = values[-tail:], tail // 2
    drift = abs(float(last[half:].mean() - last[:half].mean()))
    mean = float(last.mean())
    return Found.known(mean, drift) if drift <= 0.05 * mean else Found.unknown("the current has not come to rest")


def _time_constant(moments: Moments, smooth: Moments, holding: float) -> Found:
    level = holding * (1 - math.exp(-1))
    after = int(np.argmax(smooth >= level))
    if after == 0:
        return Found.unknown("the current was on already at the begin")
    share = (level - smooth[after - 1]) / (smooth[after] - smooth[after - 1])
    gap = moments[after] - moments[after - 1]
    return Found.known(float(moments[after - 1] + share * gap), float(gap))


def _dip(moments: Moments, smooth: Moments, *, least: float, gap: float) -> Dip:
    """Return the deepest valley of the averaged current."""
    before = np.maximum.accumulate(smooth)
    after = np.maximum.accumulate(smooth[::-1])[::-1]
    depths = np.minimum(before, after) - smooth
    bottom = int(np.argmax(depths))
    depth = float(depths[bottom])
    if depth < least:
        none = Found.unknown(f"no dip deeper than {least:.3g} A")
        return Dip(begin=none, bottom=none, depth=none)
    peak = int(np.argmax(smooth[: bottom + 1]))
    return Dip(
        begin=Found.known(moments[peak], gap),
        bottom=Found.known(moments[bottom], gap),
        depth=Found.known(depth, least / SPREADS),
    )


def turn_off(
    volts: Sampled | Uneven, *, since: float, until: float, saturation: tuple[float, float] | None = None
) -> TurnOff:
    """Return how a coil's voltage is clamped after switching off at `since`, in seconds.

    `saturation` is where the converter ends, in volts: a clamp beyond it was not seen. Undecided when the voltage does
    not turn round, or has not died away by `until`.
    """
    moments, values = cut(volts, since=since, until=until)
    _, earlier = cut(volts, until=since)
    if not earlier.size or values.size < FEWEST:
        why = Found.unknown(f"too few samples around {since:g} s (expected {FEWEST} after it)")
        return TurnOff(clamp=why, decay=why, clipped=False)
    against = -values * math.copysign(1.0, float(np.median(earlier)))
    highest = float(against.max())
    if not highest > SPREADS * _noise(values):
        why = Found.unknown("the voltage does not turn round: no clamp, or the record looks at something else")
        return TurnOff(clamp=why, decay=why, clipped=False)
    clipped = saturation is not None and bool((values <= saturation[0]).any() or (values >= saturation[1]).any())
    held = against[against >= 0.9 * highest]
    clamp = Found.known(float(np.median(held)), float(held.max() - held.min()))
    if clipped:
        clamp = Found.unknown(f"at least {highest:g} V: the converter was at its end")
    return TurnOff(
        clamp=clamp, decay=_decay(moments - since, against, NO_LONGER * float(np.median(held))), clipped=clipped
    )


def _decay(moments: Moments, against: Moments, level: float) -> Found:
    """Return when a voltage falls below a level for good."""
    last = int(np.flatnonzero(against >= level)[-1])
    if last + 1 == against.size:
        return Found.unknown(f"still above {level:.3g} V at the end")
    high, low = float(against[last]), float(against[last + 1])
    gap = float(moments[last + 1] - moments[last])
    return Found.known(float(moments[last]) + gap * (high - level) / (high - low), gap)
