"""Current of a d.c. relay coil whose armature moves, in closed form, piece by piece; nothing is stepped.

The flux linkage obeys d(L·i)/dt + R·i = V. L rests at one value while the armature is open and at a larger one while it
is closed; while it travels L goes from one to the other on a straight line L(t) = L0 + k·t. With G = R + k, and time
stretched to x = ∫dt/L = ln(1 + k·t/L0)/k (t/L0 where k is 0), every piece has one and the same course:

    i(t) = i0 + (V - G·i0)·(1 - exp(-G·x))/G

so a moment at which the current reaches a threshold is a logarithm, and samples are one pass of numpy per piece.

Not modelled: force and speed of the armature (a travel once begun ends in its time, whatever the current does
meanwhile), iron that saturates, eddy currents, supply that changes during a course, switching during a travel.
Source: the circuit's own equation (Faraday, Ohm), solved here; copper of IEC 60028; the shares are marked below.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from benchtest.simulator.trace import Samples

COPPER: Final = 234.5
"""Degrees Celsius below zero at which copper's resistance would vanish on the straight line (IEC 60028, rounded)."""
PULL_IN: Final = 0.7
"""Pull-in current of a fitted coil as share of V/R (24 V relays: 65 to 75 %, common practice, no source)."""
DROP_OUT: Final = 0.3
"""Its drop-out current as share of V/R (20 to 40 %, common practice, no source; IEC 61810-1 asks for 5 %, memory)."""
CLOSED_TO_OPEN: Final = 2.0
"""Its inductance with the armature closed, as multiple of that with it open, where the release time allows it (no
source)."""
TRAVEL: Final = 0.35
"""Share of the operate time for which its armature travels, where the time constant is free to choose (no source)."""
LEAST_TRAVEL: Final = 0.1
"""Smallest share of either time: no armature arrives as soon as it leaves (no source)."""
MOST_TRAVEL: Final = 0.75
"""Largest share of the release time (no source)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Coil:
    """A d.c. coil, its armature and the suppression across it."""

    resistance: float
    """Ohms at 20 °C (`hot` for other temperatures)."""
    open_inductance: float
    """Henry with the armature open."""
    closed_inductance: float
    """Henry with it closed; larger."""
    pull_in: float
    """Amperes at which the open armature begins to move: its ampere-turns, and the turns do not change."""
    drop_out: float
    """Amperes at which the closed armature begins to move back."""
    travel_on: float
    """Seconds from beginning to move to landing, when pulled in."""
    travel_off: float
    """Seconds from beginning to move to landing, when let go."""
    clamp: float
    """Volts across the coil after switching off: 0.7 for a diode, 0.7 and the Zener voltage for both in series, the
    avalanche of the driver for none."""

    def __post_init__(self) -> None:
        """Refuse what cannot be a coil."""
        _positive({name: getattr(self, name) for name in Coil.__slots__})
        if not self.open_inductance < self.closed_inductance:
            least = self.open_inductance
            raise ValueError(f"closed inductance {self.closed_inductance:g} H is not above open inductance {least:g} H")
        if not self.drop_out < self.pull_in:
            raise ValueError(f"drop-out current {self.drop_out:g} A is not below pull-in current {self.pull_in:g} A")


@dataclass(frozen=True, kw_only=True, slots=True)
class Piece:
    """A stretch of time with constant voltage, in which the inductance rests or changes on a straight line."""

    begin: float
    """Seconds from switching; it ends where the next piece begins."""
    amps: float
    """Current at its beginning."""
    volts: float
    """Volts that drive the current; negative while it is clamped."""
    resistance: float
    """Ohms."""
    inductance: float
    """Henry at its beginning."""
    slope: float = 0.0
    """Henry per second, which are ohms: the motional term."""

    def at(self, times: Samples) -> Samples:
        """Return the amperes at moments within this piece (seconds from switching)."""
        passed = times - self.begin
        if self.slope == 0.0:
            stretched = passed / self.inductance
        else:
            stretched = np.log1p(passed * (self.slope / self.inductance)) / self.slope
        damping = self.resistance + self.slope
        gained = stretched if damping == 0.0 else -np.expm1(-damping * stretched) / damping
        return self.amps + (self.volts - damping * self.amps) * gained

    def reaches(self, amps: float) -> float | None:
        """Return the seconds from switching at which the current is `amps`, were this piece long enough, or None."""
        damping = self.resistance + self.slope
        drive = self.volts - damping * self.amps  # L·di/dt at the beginning
        if amps == self.amps:
            return self.begin
        if drive == 0.0 or damping * (self.amps - amps) / drive <= -1.0:
            return None
        change = (amps - self.amps) / drive
        stretched = change if damping == 0.0 else -math.log1p(-damping * change) / damping
        if stretched < 0.0:
            return None
        grown = stretched if self.slope == 0.0 else math.expm1(self.slope * stretched) / self.slope
        return self.begin + self.inductance * grown


@dataclass(frozen=True, kw_only=True, slots=True)
class Course:
    """The current of a coil after it was switched, for ever after."""

    pieces: tuple[Piece, ...]
    """In order of time; the last one does not end."""
    moves: float | None = None
    """Seconds from switching at which the armature begins to move; None when it stays."""
    lands: float | None = None
    """Seconds from switching at which it has arrived."""
    clamped_until: float | None = None
    """Seconds from switching off at which the current has died away and the suppression lets go; None when on."""

    def at(self, times: Samples) -> Samples:
        """Return the amperes at `times` (seconds from switching, in any order; before it as at that moment)."""
        times = np.maximum(times, 0.0)
        rows = np.searchsorted([piece.begin for piece in self.pieces], times, side="right") - 1
        values = np.empty(times.shape)
        for row, piece in enumerate(self.pieces):
            here = rows == row
            values[here] = piece.at(times[here])
        return values


def energise(coil: Coil, volts: float, amps: float = 0.0, closed: bool = False) -> Course:
    """Return the course of a coil connected to `volts`, from a current of `amps` and an armature open or `closed`.

    An open armature moves if V/R is above the pull-in current, a closed one if V/R is below the drop-out current.
    """
    if not 0.0 <= volts < math.inf:
        raise ValueError(f"{volts:g} V is not a voltage to energise a d.c. coil with")
    return _course(coil, volts, amps, closed=closed)


def release(coil: Coil, amps: float, closed: bool = True) -> Course:
    """Return the course of a coil cut off at `amps`: the clamp takes the current down to nothing and no further."""
    course = _course(coil, -coil.clamp, amps, closed=closed)
    ends = [*(piece.begin for piece in course.pieces[1:]), math.inf]
    zeros = [_zero(piece) for piece in course.pieces]
    last = next(row for row, end in enumerate(ends) if zeros[row] <= end)
    nothing = replace(course.pieces[last], begin=zeros[last], amps=0.0, volts=0.0, slope=0.0)
    return replace(course, pieces=(*course.pieces[: last + 1], nothing), clamped_until=zeros[last])


def hot(coil: Coil, celsius: float) -> Coil:
    """Return a coil given at 20 °C as it is at `celsius`: another resistance, the same ampere-turns (IEC 60028)."""
    if not -COPPER < celsius < math.inf:
        raise ValueError(f"{celsius:g} °C is no temperature for copper: its line ends at {-COPPER:g} °C")
    return replace(coil, resistance=coil.resistance * (COPPER + celsius) / (COPPER + 20.0))


def fitted(
    *, operate: float, release: float, resistance: float, volts: float, clamp: float, tau: float | None = None
) -> Coil:
    """Return a coil that lands `operate` seconds after switching on and `release` seconds after switching off.

    Both at `volts` and 20 °C, off from V/R. `tau` is L/R in seconds with the armature open, and what it leaves of the
    times is travel; without it L/R is chosen so that the travel takes its share and the current dips where it can.
    Raises ValueError where a `tau` leaves no time to travel.
    """
    _positive({"operate time": operate, "release time": release, "resistance": resistance, "voltage": volts})
    _positive({"clamp": clamp})
    rise = -math.log1p(-PULL_IN)  # time constants until the armature moves, on and off
    decay = math.log((volts + clamp) / (DROP_OUT * volts + clamp))
    if tau is None:
        tau = min((1 - TRAVEL) * operate / rise, (1 - LEAST_TRAVEL) * release / (CLOSED_TO_OPEN * decay))
    longest = (1 - LEAST_TRAVEL) * min(operate / rise, release / decay)
    if not 0.0 < tau < longest:
        raise ValueError(
            f"no coil with L/R = {tau:g} s operates in {operate:g} s and releases in {release:g} s with a clamp of "
            f"{clamp:g} V: L/R must be above 0 and below {longest:.3g} s"
        )
    away = min(max(release - CLOSED_TO_OPEN * decay * tau, LEAST_TRAVEL * release), MOST_TRAVEL * release)
    return Coil(
        resistance=resistance,
        open_inductance=tau * resistance,
        closed_inductance=(release - away) / decay * resistance,
        pull_in=PULL_IN * volts / resistance,
        drop_out=DROP_OUT * volts / resistance,
        travel_on=operate - rise * tau,
        travel_off=away,
        clamp=clamp,
    )


def _positive(values: dict[str, float]) -> None:
    for name, value in values.items():
        if not 0.0 < value < math.inf:  # also catches NaN
            raise ValueError(f"{name.replace('_', ' ')} {value:g} is not above zero")


def _course(coil: Coil, volts: float, amps: float, *, closed: bool) -> Course:
    """Return a course with one movement at most, in which a clamp would drive the current past nothing."""
    if not 0.0 <= amps < math.inf:
        raise ValueError(f"{amps:g} A is not a current of a d.c. coil")
    here, there = coil.open_inductance, coil.closed_inductance
    if closed:
        here, there = there, here
    resting = Piece(begin=0.0, amps=amps, volts=volts, resistance=coil.resistance, inductance=here)
    moves = _leaves(coil, resting, closed=closed)
    if moves is None:
        return Course(pieces=(resting,))
    travel = coil.travel_off if closed else coil.travel_on
    going = replace(resting, begin=moves, amps=_amps(resting, moves), slope=(there - here) / travel)
    lands = moves + travel
    landed = replace(going, begin=lands, amps=_amps(going, lands), inductance=there, slope=0.0)
    return Course(pieces=(resting, going, landed), moves=moves, lands=lands)


def _leaves(coil: Coil, resting: Piece, *, closed: bool) -> float | None:
    """Return when the armature begins to move; never when the current at last reached would not have it so."""
    steady = resting.volts / resting.resistance
    threshold = coil.drop_out if closed else coil.pull_in
    if not (steady < threshold if closed else steady > threshold):
        return None
    already = resting.amps <= threshold if closed else resting.amps >= threshold
    return 0.0 if already else resting.reaches(threshold)


def _amps(piece: Piece, moment: float) -> float:
    return float(piece.at(np.asarray(moment)))


def _zero(piece: Piece) -> float:
    """Return when a clamped current has died away, rounding included; infinite when this piece does not do it."""
    moment = piece.begin if piece.amps <= 0.0 else piece.reaches(0.0)
    return math.inf if moment is None else moment
