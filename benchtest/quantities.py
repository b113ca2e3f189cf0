"""Quantities as people write them, SI floats as the program keeps them.

A quantity has a unit in the text (`24 V`, `15 ms`, `80 mohm`, `125 kbit/s`); a bare number is an error. Reading is
ours, because quantiphy takes the m of `1e3 mA` for part of the unit; printing is quantiphy's. Parsing happens at the
border of documents, printing in `show`; in between there are floats in SI units.
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Final, get_args

from pydantic import BeforeValidator, WithJsonSchema
from pydantic_core import PydanticCustomError
from quantiphy import Quantity

Quantity.set_prefs(map_sf={"u": "µ"}, output_sf="GMkmunp")  # prefixes that `parse` takes; beyond them an exponent


@dataclass(frozen=True, kw_only=True, slots=True)
class Dimension:
    """One kind of quantity: its name, the unit used inside, how it may be written."""

    name: str
    unit: str
    """SI unit used inside and in print."""
    spellings: tuple[str, ...]
    """Unit symbols accepted without prefix."""
    example: str


VOLTAGE: Final = Dimension(name="voltage", unit="V", spellings=("V",), example="24 V")
CURRENT: Final = Dimension(name="current", unit="A", spellings=("A",), example="150 mA")
RESISTANCE: Final = Dimension(name="resistance", unit="Ω", spellings=("ohm", "Ω", "\u2126", "Ohm"), example="80 mohm")
DURATION: Final = Dimension(name="duration", unit="s", spellings=("s", "min", "h"), example="15 ms")
FREQUENCY: Final = Dimension(name="frequency", unit="Hz", spellings=("Hz",), example="50 Hz")
TEMPERATURE: Final = Dimension(name="temperature", unit="°C", spellings=("degC", "°C"), example="23 degC")
WARMTH: Final = Dimension(name="temperature difference", unit="K", spellings=("K",), example="2 K")
BIT_RATE: Final = Dimension(name="bit rate", unit="bit/s", spellings=("bit/s",), example="125 kbit/s")
BYTE_RATE: Final = Dimension(name="byte rate", unit="B/s", spellings=("B/s",), example="1 MB/s")
SAMPLE_RATE: Final = Dimension(name="sample rate", unit="S/s", spellings=("S/s",), example="10 kS/s")
RATIO: Final = Dimension(name="ratio", unit="", spellings=("%", "ppm"), example="0.1 %")

_NUMBER = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?)\s*(\S*)\s*")
_PREFIXES: Final = {"": 0, "p": -12, "n": -9, "u": -6, "µ": -6, "\u03bc": -6, "m": -3, "k": 3, "M": 6, "G": 9}
_RATIOS: Final = {"%": -2, "ppm": -6}
_SAME_UNIT: Final = frozenset({"ohm", "degC"})
"""First spelling of dimensions whose further ones mean the same unit."""
_MINUTES: Final = {"min": 60.0, "h": 3600.0}


def parse(text: object, dimension: Dimension) -> float:
    """Return the SI value of `text`, such as 0.015 for `15 ms`.

    Raises ValueError that says what was found, what was expected, and an example.
    """
    expected = f"expected a {dimension.name} such as '{dimension.example}'"
    match = _NUMBER.fullmatch(str(text))
    if match is None:
        raise ValueError(f"{expected}, got {text!r}")
    number, unit = match.groups()
    if not unit:
        raise ValueError(f"{expected}, got {text!r} without a unit")
    value = _scaled(number, unit, dimension)
    if value is None:
        raise ValueError(f"{expected}, got {text!r}: '{unit}' is not a unit of {dimension.name}")
    if not math.isfinite(value):
        raise ValueError(f"{expected}, got {text!r}, which is too large")
    return value


def _scaled(number: str, unit: str, dimension: Dimension) -> float | None:
    if dimension is RATIO:
        return _shifted(number, _RATIOS[unit]) if unit in _RATIOS else None
    if dimension is DURATION and unit in _MINUTES:
        return float(number) * _MINUTES[unit]
    spelling = next((s for s in dimension.spellings if unit.endswith(s) and s not in _MINUTES), None)
    if spelling is None:
        return None
    prefix = unit.removesuffix(spelling)
    if prefix not in _PREFIXES or (prefix and dimension is TEMPERATURE):
        return None
    return _shifted(number, _PREFIXES[prefix])


def _shifted(number: str, places: int) -> float:
    """Return the number times ten to the power of `places`, rounded once: 0.015 for 15 and -3, not 15 x 0.001."""
    mantissa, _, exponent = number.lower().partition("e")
    return float(f"{mantissa}e{int(exponent or '0') + places}")


def show(value: float, unit: str, *, digits: int = 4) -> str:
    """Return `value` in SI `unit` as a person reads it, `digits` significant digits at most: `14.8 ms`, `24.02 V`."""
    if math.isnan(value):
        return f"not a number {unit}".rstrip()
    if unit in {"", "°C", "flashes", "times"}:
        return f"{value:.{digits}g} {unit}".rstrip()
    if math.isinf(value):
        return f"{'−' if value < 0 else ''}∞ {unit}"
    return str(Quantity(value, unit).render(prec=digits - 1, strip_zeros=True, form="si"))


def _validator(dimension: Dimension) -> Callable[[object], float]:
    def validate(text: object) -> float:
        try:
            return parse(text, dimension)
        except ValueError as problem:
            raise PydanticCustomError("quantity", "{problem}", {"problem": str(problem)}) from None

    return validate


def _written(dimension: Dimension) -> tuple[Any, Any, Dimension]:
    schema = {"type": "string", "description": f"a {dimension.name}, for example {dimension.example}"}
    return (
        BeforeValidator(_validator(dimension)),
        WithJsonSchema({**schema, "examples": [dimension.example]}),
        dimension,
    )


Volts = Annotated[float, *_written(VOLTAGE)]
Amps = Annotated[float, *_written(CURRENT)]
Ohms = Annotated[float, *_written(RESISTANCE)]
Seconds = Annotated[float, *_written(DURATION)]
Hertz = Annotated[float, *_written(FREQUENCY)]
Celsius = Annotated[float, *_written(TEMPERATURE)]
Kelvins = Annotated[float, *_written(WARMTH)]
BitsPerSecond = Annotated[float, *_written(BIT_RATE)]
BytesPerSecond = Annotated[float, *_written(BYTE_RATE)]
SamplesPerSecond = Annotated[float, *_written(SAMPLE_RATE)]
Ratio = Annotated[float, *_written(RATIO)]


def spelled(text: str, dimension: Dimension) -> str:
    """Return a quantity in the usual spelling: `24 V` for `24V`, `0.5 kohm` for `.5kΩ`; other text as it is."""
    match = _NUMBER.fullmatch(text)
    if match is None:
        return text
    number, unit = match.groups()
    first = dimension.spellings[0]
    for other in dimension.spellings[1:] if first in _SAME_UNIT else ():
        unit = unit.removesuffix(other) + first if unit.endswith(other) else unit
    unit = re.sub("^[\u00b5\u03bc]", "u", unit)
    anew = f"{number.replace('.', '0.', 1) if number.lstrip('+-').startswith('.') else number} {unit}"
    try:
        return anew if parse(anew, dimension) == parse(text, dimension) else text
    except ValueError:
        return text


def dimension_of(annotation: Any) -> Dimension | None:
    """Return which quantity a field of a document is, by its annotation; None where it is none."""
    if isinstance(annotation, Dimension):
        return annotation
    inside = (*getattr(annotation, "__metadata__", ()), *get_args(annotation))
    return next((found for part in inside if (found := dimension_of(part)) is not None), None)
