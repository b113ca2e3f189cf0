"""Quantities are read with their unit and printed so that they can be read again.

Source for the prefixes and their symbols: the SI Brochure, 9th edition, table 7 (from memory).
"""

import math
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest import quantities
from benchtest.quantities import (
    BIT_RATE,
    CURRENT,
    DURATION,
    FREQUENCY,
    RATIO,
    RESISTANCE,
    SAMPLE_RATE,
    TEMPERATURE,
    VOLTAGE,
    Dimension,
    parse,
    show,
)

READ = [
    ("24 V", VOLTAGE, 24.0),
    ("24V", VOLTAGE, 24.0),
    (" -1.5 kV ", VOLTAGE, -1500.0),
    ("15 ms", DURATION, 0.015),
    ("2 min", DURATION, 120.0),
    ("0.5 h", DURATION, 1800.0),
    ("20 us", DURATION, 20e-6),
    ("20 µs", DURATION, 20e-6),
    ("20 \u03bcs", DURATION, 20e-6),  # the Greek letter, which keyboards give
    ("80 mohm", RESISTANCE, 0.08),
    ("80 mΩ", RESISTANCE, 0.08),
    ("80 m\u2126", RESISTANCE, 0.08),  # the ohm sign, which some tools write
    ("32.6 kohm", RESISTANCE, 32600.0),
    ("125 kbit/s", BIT_RATE, 125e3),
    ("10 kS/s", SAMPLE_RATE, 10e3),
    ("23 degC", TEMPERATURE, 23.0),
    ("50 Hz", FREQUENCY, 50.0),
    ("0.1 %", RATIO, 1e-3),
    ("50 ppm", RATIO, 50e-6),
    ("1e3 mA", CURRENT, 1.0),
    ("24\u00a0V", VOLTAGE, 24.0),  # a no-break space, as word processors put it
]


@pytest.mark.parametrize(("text", "dimension", "value"), READ, ids=[row[0] for row in READ])
def test_a_quantity_is_read_in_si_units(text: str, dimension: Dimension, value: float) -> None:
    """The common spellings of a quantity give its SI value."""
    assert value == pytest.approx(parse(text, dimension), rel=1e-12)


REFUSED = [
    ("24", VOLTAGE, "expected a voltage such as '24 V', got '24' without a unit"),
    (24, VOLTAGE, "got 24 without a unit"),
    ("24 A", VOLTAGE, "'A' is not a unit of voltage"),
    ("24 xV", VOLTAGE, "'xV' is not a unit of voltage"),
    ("24 mmV", VOLTAGE, "'mmV' is not a unit of voltage"),
    ("24 kmin", DURATION, "'kmin' is not a unit of duration"),
    ("24 mdegC", TEMPERATURE, "'mdegC' is not a unit of temperature"),
    ("24 V V", VOLTAGE, "got '24 V V'"),
    ("nan V", VOLTAGE, "got 'nan V'"),
    ("inf V", VOLTAGE, "got 'inf V'"),
    ("1e999 V", VOLTAGE, "too large"),
    ("1,5 V", VOLTAGE, "got '1,5 V'"),
    ("\u0663 V", VOLTAGE, "got '\u0663 V'"),  # an Arabic digit
    ("", VOLTAGE, "got ''"),
    (True, VOLTAGE, "got True"),
    (None, VOLTAGE, "got None"),
    (["24 V"], VOLTAGE, "got ['24 V']"),
]


@pytest.mark.parametrize(("text", "dimension", "said"), REFUSED, ids=[repr(row[0]) for row in REFUSED])
def test_what_is_no_quantity_is_refused_with_an_example(text: object, dimension: Dimension, said: str) -> None:
    """A bare number, a wrong unit and plain nonsense are refused in a sentence."""
    with pytest.raises(ValueError, match=r"^expected a ") as refused:
        parse(text, dimension)

    assert said in str(refused.value)


SHOWN = [
    (0.0148, "s", "14.8 ms"),
    (24.024, "V", "24.02 V"),
    (15e-6, "s", "15 µs"),
    (0.08, "Ω", "80 mΩ"),
    (32600.0, "Ω", "32.6 kΩ"),
    (-30e-6, "A", "-30 µA"),
    (125e3, "bit/s", "125 kbit/s"),
    (0.0, "V", "0 V"),
    (999.96, "V", "1 kV"),
    (1e-15, "V", "1e-15 V"),
    (3.0, "flashes", "3 flashes"),
    (0.25, "", "0.25"),
    (23.5, "°C", "23.5 °C"),
    (math.inf, "Ω", "∞ Ω"),
    (-math.inf, "V", "−∞ V"),
    (math.nan, "V", "not a number V"),
]


@pytest.mark.parametrize(("value", "unit", "text"), SHOWN, ids=[row[2] for row in SHOWN])
def test_a_quantity_is_shown_as_people_read_it(value: float, unit: str, text: str) -> None:
    """A value is printed with four digits, an SI prefix and the symbols µ and Ω."""
    assert text == show(value, unit)


DIMENSIONS = [VOLTAGE, CURRENT, RESISTANCE, DURATION, FREQUENCY, BIT_RATE, SAMPLE_RATE]


@given(
    value=st.floats(min_value=-1e15, max_value=1e15, allow_subnormal=False),
    dimension=st.sampled_from(DIMENSIONS),
    digits=st.integers(3, 9),
)
def test_what_is_shown_can_be_read_again(value: float, dimension: Dimension, digits: int) -> None:
    """Reading what was printed gives the value back, within half of the last digit printed."""
    text = show(value, dimension.unit, digits=digits)

    assert value == pytest.approx(parse(text, dimension), rel=0.51 * 10.0 ** (1 - digits), abs=1e-300)


@given(st.text(max_size=20) | st.integers() | st.floats() | st.none() | st.booleans())
def test_reading_gives_a_finite_number_or_a_sentence(text: object) -> None:
    """Whatever is given, parse gives a finite float or raises ValueError."""
    for dimension in (*DIMENSIONS, TEMPERATURE, RATIO):
        with suppress(ValueError):
            assert math.isfinite(parse(text, dimension))


def test_every_dimension_reads_its_own_example() -> None:
    """The example that an error gives is one that would be taken."""
    dimensions = [thing for thing in vars(quantities).values() if isinstance(thing, Dimension)]

    assert 11 == len(dimensions)
    assert all(math.isfinite(parse(dimension.example, dimension)) for dimension in dimensions)
