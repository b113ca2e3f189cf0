"""Numbers as they are printed."""

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.metrology.figures import before_rounding, chance, figures, percent, permitted, plain, unusual


@pytest.mark.parametrize(
    ("value", "uncertainty", "unit", "text"),
    [
        (12.03417, 0.0213, "V", "12.034 ± 0.021 V"),
        (12.03417, 0.0996, "V", "12.03 ± 0.10 V"),  # rounds up into a new digit
        (12345.6, 234.0, "", "12350 ± 230"),
        (0.99921, 0.00016, "%", "99.921 ± 0.016 %"),  # a ratio inside, hundredths in print
        (12345.6, 234.0, "Ω", "12.35 ± 0.23 kΩ"),
        (0.0148, 0.00012, "s", "14.80 ± 0.12 ms"),
        (0.0009996, 2e-6, "s", "999.6 ± 2.0 µs"),
        (0.99996, 0.0012, "V", "1.0000 ± 0.0012 V"),  # the value rounds up into a new prefix
        (0.0, 0.01, "V", "0 ± 10 mV"),
        (-0.00001, 0.0021, "V", "0.0 ± 2.1 mV"),  # no minus before a zero
        (-0.5, 0.021, "V", "−500 ± 21 mV"),
        (1.2, 340.0, "V", "0 ± 340 V"),
        (23.456, 0.5, "°C", "23.46 ± 0.50 °C"),
        (0.025, 0.0025, "", "0.0250 ± 0.0025"),
        (5.0, 0.0, "V", "5 ± 0 V"),
        (5.0, math.inf, "V", "5 ± ∞ V"),
        (5.0, math.nan, "V", "5 ± not a number V"),
        (math.inf, None, "Ω", "∞ Ω"),
        (-math.inf, 0.1, "V", "−∞ V"),
        (math.nan, 0.1, "V", "not a number"),
        (None, None, "V", "–"),
        ("made", None, "", "made"),
        (0.0148, None, "s", "14.8 ms"),
        (3.0, None, "", "3"),
        (3, None, "", "3"),
        (250e3, None, "Ω", "250 kΩ"),
        (100.0, None, "Ω", "100 Ω"),
        (24.0049, None, "V", "24 V"),
        (np.float64(12.03417), np.float64(0.0213), "V", "12.034 ± 0.021 V"),
    ],
)
def test_value_and_uncertainty_end_in_the_same_place(
    value: float | str | None, uncertainty: float | None, unit: str, text: str
) -> None:
    """A printed value carries the last place of its uncertainty, no more, under one prefix."""
    assert text == figures(value, uncertainty, unit)


def test_the_coverage_factor_is_named_where_there_is_an_uncertainty() -> None:
    """`k` stands behind an uncertainty and nowhere else."""
    assert figures(12.0, 0.02, "V", coverage=2.0) == "12.000 ± 0.020 V (k = 2)"
    assert figures(12.0, None, "V", coverage=2.0) == "12 V"


def test_a_coverage_factor_is_told_where_it_prints_otherwise_than_two() -> None:
    """2.004 prints as 2 and is not told; 2.13 is, with three digits."""
    assert [None, None, 2.13, 1.96] == [unusual(k) for k in (None, 2.004, 2.13, 1.96)]
    assert figures(12.0, 0.02, "V", coverage=unusual(2.1314)) == "12.000 ± 0.020 V (k = 2.13)"


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.71234, "71.2 %"),
        (0.02276, "2.28 %"),
        (0.9987, "99.87 %"),
        (1e-6, "< 0.01 %"),
        (0.999999, "> 99.99 %"),
        (0.0, "0 %"),
        (1.0, "100 %"),
        (math.nan, "not a number"),
    ],
)
def test_shares_are_read_as_percent(share: float, text: str) -> None:
    """Three digits, and no false nines."""
    assert text == percent(share)


def test_no_probability_is_printed_as_certain() -> None:
    """What rounds to 0 or 1 is still only likely."""
    assert ["< 0.01 %", "> 99.99 %", "50 %"] == [chance(p) for p in (0.0, 1.0, 0.5)]


@pytest.mark.parametrize(
    ("low", "high", "unit", "text"),
    [
        (4.8, 5.2, "V", "4.8 V to 5.2 V"),
        (None, 0.06, "s", "≤ 60 ms"),
        (500.0, None, "Ω", "≥ 500 Ω"),
        (0.0, 0.0, "", "0"),
        (0.9, None, "%", "≥ 90 %"),
        (None, None, "V", "any"),
        (12.345, 100.25, "V", "12.345 V to 100.25 V"),
        (0.99955, None, "%", "≥ 99.955 %"),
        (24.0 * 0.85, 24.0 * 1.1, "V", "20.4 V to 26.4 V"),
        (12 * 1 / 3.7, None, "V", "≥ 3.243 V"),
        (-math.inf, math.inf, "V", "−∞ V to ∞ V"),
    ],
)
def test_permitted_intervals_read_as_people_write_them(
    low: float | None, high: float | None, unit: str, text: str
) -> None:
    """Limits are printed without false digits, and with every digit that they were written with."""
    assert text == permitted(low, high, unit)


@given(st.integers(1, 999_999), st.sampled_from([-6, -4, -2, 0]))
def test_a_limit_is_printed_as_it_was_written(number: int, power: int) -> None:
    """Who is held to a limit of six digits reads six: ISO/IEC 17025, 7.8.6, has the specification stated (memory)."""
    assert permitted(None, float(f"{number}e{power}"), "") == f"≤ {Decimal(number).scaleb(power).normalize():f}"


@pytest.mark.parametrize(
    ("value", "uncertainty", "unit", "low", "high", "text"),
    [
        (0.0168725, 0.0012, "A", 0.0169, 0.018, "16.87 mA"),  # prints 16.9 ± 1.2 mA
        (0.01689961, 0.0012, "A", 0.0169, 0.018, "16.8996 mA"),
        (0.0168725, 0.0012, "A", None, 0.01689, "16.87 mA"),  # passes and prints 16.9
        (0.0167, 0.0012, "A", 0.0169, 0.018, ""),
        (0.0169, 0.0012, "A", 0.0169, 0.018, ""),
        (0.250004, None, "V", None, 0.25, "250.004 mV"),  # without uncertainty it prints 250 mV
        (-0.250004, None, "V", -0.25, None, "−250.004 mV"),
        (math.inf, None, "Ω", None, 1.0, ""),
        (math.nan, 0.1, "Ω", None, 1.0, ""),
        (0.0, 0.0, "", 0.0, 0.0, ""),
    ],
)
def test_a_value_that_is_printed_across_a_limit_is_told_in_full(
    value: float, uncertainty: float | None, unit: str, low: float | None, high: float | None, text: str
) -> None:
    """What is decided is what was read, and whoever compares the printed numbers sees why (ASTM E29, from memory)."""
    assert text == before_rounding(value, uncertainty, unit, low=low, high=high)


magnitudes = st.floats(1e-9, 1e9)


@given(magnitudes, magnitudes)
def test_printing_never_moves_a_value_by_more_than_a_digit_of_its_uncertainty(value: float, uncertainty: float) -> None:
    """What is printed, read back, is within half a unit of the second digit of U."""
    number, _, doubt = figures(value, uncertainty, "").partition(" ± ")
    assert abs(float(number) - value) <= uncertainty * 0.051
    assert abs(float(doubt) - uncertainty) <= uncertainty * 0.051


@given(magnitudes)
def test_printing_without_uncertainty_keeps_four_digits(value: float) -> None:
    """A plain number is within half a unit of its fourth digit."""
    assert math.isclose(float(plain(value, "")), value, rel_tol=0.00051)
