"""Numbers as they are printed, on paper and on a terminal. What is stored is never rounded; this is the last line.

A value and its expanded uncertainty share one SI prefix and end in the same place; the uncertainty has two digits.
Rounding is to nearest, ties to even, on the shortest decimal that names the float, so that 2.5 is not 2.4999.

Source: JCGM 100:2008, 7.2.6 (two digits are enough, the value follows its uncertainty); SI brochure for the prefixes.
"""

import math
from decimal import Decimal
from typing import Final

from benchtest.metrology.decision import inside

HUNDREDTHS: Final = -2  # power of ten of a percent: a ratio is kept as it is and printed times hundred
PREFIXES: Final = {-12: "p", -9: "n", -6: "µ", -3: "m", HUNDREDTHS: "", 0: "", 3: "k", 6: "M", 9: "G"}
PREFIXED: Final = frozenset({"V", "A", "Ω", "s", "Hz", "W", "m", "F", "H"})
"""Units that take a prefix; others (°C, flashes, none) are printed as they are, and % is a ratio times hundred."""
DIGITS: Final = 4
"""Significant digits where no uncertainty says how many."""
FULL: Final = 16
"""Significant digits of a float, at most."""
STATED: Final = 9
"""Significant digits that a limit is written with at most; one with more was worked out, and is rounded."""


def figures(value: float | str | None, uncertainty: float | None, unit: str, *, coverage: float | None = None) -> str:
    """Return what a person reads: `12.034 ± 0.021 V`, `∞ Ω`, `made`, or `–` for nothing.

    With `coverage`, the factor is added where there is an uncertainty: `12.034 ± 0.021 V (k = 2)`.
    """
    if value is None:
        return "–"
    if isinstance(value, str):
        return value
    if math.isnan(value):
        return "not a number"
    if uncertainty is None or math.isinf(value):
        return plain(value, unit)
    text = _with_uncertainty(float(value), float(uncertainty), unit)  # a numpy float prints its type
    return text if coverage is None else f"{text} (k = {coverage:.3g})"


def before_rounding(
    value: float, uncertainty: float | None, unit: str, *, low: float | None, high: float | None
) -> str:
    """Return a value with the digits that tell on which side of a limit it lies, where it is not printed with them.

    What is decided is the value that was read, not the one that is printed: the absolute method of ASTM E29, 6 (from
    memory). Empty where the printed value lies on the same side, or is no number.
    """
    if not math.isfinite(value):
        return ""
    read, lies = Decimal(repr(float(value))), inside(value, low=low, high=high)
    doubted = uncertainty is not None and 0 < uncertainty < math.inf
    place = _last_place(float(uncertainty or 0.0)) if doubted else _leading(float(value)) - DIGITS + 1
    if inside(float(_to_place(read, place)), low=low, high=high) == lies:
        return ""
    enough = range(DIGITS, FULL)
    rounded = (float(_to_place(read, read.adjusted() - digits + 1)) for digits in enough)
    digits = next((n for n, one in zip(enough, rounded, strict=True) if inside(one, low=low, high=high) == lies), FULL)
    return plain(value, unit, digits=digits)


def unusual(coverage: float | None, usual: float = 2.0) -> float | None:
    """Return a coverage factor that prints otherwise than the usual one, to be told beside its reading; else None."""
    return None if coverage is None or f"{coverage:.3g}" == f"{usual:.3g}" else coverage


def percent(share: float) -> str:
    """Return a probability or share as people read it: `71.2 %`, `2.28 %`, `< 0.01 %`, `> 99.99 %`, `0 %`."""
    if math.isnan(share):
        return "not a number"
    if share <= 0 or share >= 1:
        return f"{share:.0%}".replace("%", " %")
    if share < 1e-4:
        return "< 0.01 %"
    return "> 99.99 %" if share > 1 - 1e-4 else f"{share * 100:.3g} %" if share < 0.99 else f"{share * 100:.2f} %"


def plain(value: float, unit: str, *, digits: int = DIGITS) -> str:
    """Return a value without uncertainty, trailing zeros dropped: `14.8 ms`, `250 mV`, `−∞ V`."""
    if math.isnan(value):
        return "not a number"
    if math.isinf(value):
        return _joined("−∞" if value < 0 else "∞", unit)
    if value == 0:
        return _joined("0", unit)
    rounded = _to_place(Decimal(repr(float(value))), _leading(float(value)) - digits + 1)
    power = _power(abs(rounded), unit)
    number = format(_shifted(rounded, power), "f")
    return _joined(_minus(number.rstrip("0").rstrip(".") if "." in number else number), PREFIXES[power] + unit)


def permitted(low: float | None, high: float | None, unit: str) -> str:
    """Return an interval as a person reads it: `4.8 V to 5.2 V`, `≤ 60 ms`, `≥ 500 Ω`, `0`, or `any`."""
    if low is not None and low == high:
        return limit(low, unit)
    if low is not None and high is not None:
        return f"{limit(low, unit)} to {limit(high, unit)}"
    if high is not None:
        return f"≤ {limit(high, unit)}"
    return "any" if low is None else f"≥ {limit(low, unit)}"


def limit(value: float, unit: str) -> str:
    """Return a limit with every digit it was written with: 12.345 V is not 12.34 V to whoever is held to it."""
    written = len(Decimal(f"{value:.12g}").normalize().as_tuple().digits)
    return plain(value, unit, digits=max(DIGITS, written) if written <= STATED else DIGITS)


def chance(probability: float) -> str:
    """Return a probability that is never quite 0 or 1: `71.2 %`, `< 0.01 %`, `> 99.99 %`."""
    return percent(min(max(probability, 1e-9), 1 - 1e-9)) if not math.isnan(probability) else "not a number"


def _with_uncertainty(value: float, uncertainty: float, unit: str) -> str:
    if not 0 < uncertainty < math.inf:  # no last place to follow
        words = {0.0: "0", math.inf: "∞"}
        number, _, shown_unit = plain(value, unit).partition(" ")
        return _joined(f"{number} ± {words.get(uncertainty, 'not a number')}", shown_unit)
    place = _last_place(uncertainty)
    rounded, doubt = _to_place(Decimal(repr(value)), place), _to_place(Decimal(repr(uncertainty)), place)
    power = _power(max(abs(rounded), doubt), unit)
    shown = _minus(format(_shifted(rounded, power), "f"))
    return _joined(f"{shown} ± {_shifted(doubt, power):f}", PREFIXES[power] + unit)


def _last_place(uncertainty: float) -> int:
    """Return the power of ten of the second digit of an uncertainty, in which its value ends too."""
    place = _leading(uncertainty) - 1
    rounded = _to_place(Decimal(repr(uncertainty)), place)
    return place + 1 if rounded.adjusted() > _leading(uncertainty) else place  # 0.0996 rounds up into a new digit


def _leading(value: float) -> int:
    """Return the power of ten of the first significant digit."""
    return Decimal(repr(value)).adjusted()


def _to_place(number: Decimal, place: int) -> Decimal:
    """Round to a multiple of ten to the power of `place`."""
    return Decimal(round(number.scaleb(-place))).scaleb(place)


def _power(size: Decimal, unit: str) -> int:
    if unit == "%":
        return HUNDREDTHS
    if unit not in PREFIXED or size == 0:
        return 0
    return max(-12, min(9, size.adjusted() // 3 * 3))


def _shifted(number: Decimal, power: int) -> Decimal:
    return number.scaleb(-power)


def _minus(number: str) -> str:
    """Put a true minus sign, and none before a zero."""
    if not number.startswith("-"):
        return number
    return "−" + number[1:] if number.strip("-0.") else number[1:]


def _joined(number: str, unit: str) -> str:
    return f"{number} {unit}".rstrip()
