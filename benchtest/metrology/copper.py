"""Copper coils: resistance at another temperature, and what not knowing the temperature does to it.

R2 = R1 · (k + t2) / (k + t1) with k = 234.5 °C below zero, where the straight line through copper's resistance meets
nothing. A thermometer that is off by 1 K moves a coil's resistance by 0.39 %, more than the ohmmeter does.

Source: 1/0.00393 - 20 of IEC 60028 (1925), as relay makers' application notes use it (read second hand).
"""

from typing import Final

from benchtest.metrology.budget import Budget, Term, joined
from benchtest.metrology.distributions import rectangular

ZERO: Final = 234.5  # °C below zero
REFERENCE: Final = 20.0  # °C


def at_temperature(ohms: float, *, now: float, then: float = REFERENCE) -> float:
    """Return the resistance at `then` of a coil that has `ohms` at `now`; both in °C."""
    return ohms * (ZERO + then) / (ZERO + now)


def normalised(coil: Budget, *, ohms: float, now: float, within: float, then: float = REFERENCE) -> Budget:
    """Return the budget of `at_temperature`: that of the resistance, and of a temperature known within ±`within` K."""
    temperature = Term(
        name="coil temperature",
        influence="coil temperature",
        standard=rectangular(within),
        unit="K",
        distribution="rectangular",
        sensitivity=-at_temperature(ohms, now=now, then=then) / (ZERO + now),
    )
    return joined(coil.scaled((ZERO + then) / (ZERO + now)), Budget(terms=(temperature,)))
