"""Copper windings: resistance and operate voltage at another temperature, temperature rise by resistance.

R is proportional to k + T with T in degrees Celsius. The constant k is not one number: 234.5 follows from IEC 60028
(0.00393 /K at 20 °C, rounded) and is what relay makers use; 235 is that of rotating machines (IEC 60034-1, from
memory). So it is an argument. The voltage that moves the armature follows the resistance, at constant ampere-turns.
"""

import math
from typing import Final

RELAYS: Final = 234.5
"""Degrees Celsius below zero at which copper's resistance would vanish on the straight line: relay makers, MIL."""
MACHINES: Final = 235.0
"""The same by IEC 60034-1."""
NORMAL: Final = 20.0
"""°C to which coil resistance is normalised. IEC 60028."""


def at_temperature(value: float, *, measured: float, wanted: float, constant: float = RELAYS) -> float:
    """Return a resistance in ohms, or an operate voltage in volts, at another temperature; both in °C.

    Raises ValueError for temperatures at which there is no such copper.
    """
    for temperature in (measured, wanted):
        if not -constant < temperature < math.inf:
            raise ValueError(f"a winding of {temperature!r} °C (expected above -{constant:g} °C)")
    return value * (constant + wanted) / (constant + measured)


def at_20(ohms: float, *, measured: float, constant: float = RELAYS) -> float:
    """Return a winding's resistance in ohms at 20 °C, from one measured at another temperature in °C."""
    return at_temperature(ohms, measured=measured, wanted=NORMAL, constant=constant)


def temperature_rise(
    cold: float, hot: float, *, ambient: float, ambient_hot: float | None = None, constant: float = RELAYS
) -> float:
    """Return kelvins by which a winding is warmer than the air, from its resistance before and after.

    `cold` was measured with the winding at `ambient` °C; `ambient_hot` is the air at the end, by default the same.
    Raises ValueError unless both resistances are above zero.
    """
    if not (0 < cold < math.inf and 0 < hot < math.inf):
        raise ValueError(f"resistances of {cold!r} ohm and {hot!r} ohm (expected two above zero)")
    drift = 0.0 if ambient_hot is None else ambient_hot - ambient
    return (hot / cold - 1) * (constant + ambient) - drift
