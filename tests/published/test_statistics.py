"""NIST Statistical Reference Datasets, univariate and line.

Certified values and data from a public copy of the StRD files; every certified value was recomputed with 40 digits. The
data of PiDigits are the first 5000 digits of pi with one digit as NIST's file has it.
"""

import math
from decimal import Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.metrology.statistics import line, moments
from tests.published.tables import column, rows

CERTIFIED = {
    row["dataset"]: (float(row["certified_mean"]), float(row["certified_sd_n_minus_1"]))
    for row in rows("nist_strd_univariate_certified")
}
FILES = ("Mavro", "Michelso", "Lew", "Lottery", "NumAcc1")


def alternating(base: str) -> list[Decimal]:
    """Return the readings of NumAcc2 to NumAcc4 as decimals: base + 0.2 once, then + 0.1 and + 0.3, 500 times."""
    high, low = Decimal(base) + Decimal("0.3"), Decimal(base) + Decimal("0.1")
    return [Decimal(base) + Decimal("0.2"), *[low, high] * 500]


def digits_of_pi(count: int) -> list[int]:
    """Return decimal digits of pi, by Machin's formula in whole numbers."""
    scale: int = 10 ** (count + 20)

    def arctangent(n: int) -> int:
        total = part = scale // n
        k, sign = 1, 1
        while part:
            part //= n * n
            k, sign = k + 2, -sign
            total += sign * (part // k)
        return total

    rest, digits = 4 * (4 * arctangent(5) - arctangent(239)), list[int]()
    blocks = (count + 20) // 500  # in blocks, since Python writes no number of more than 4300 digits
    for block in range(blocks, -1, -1):
        head, rest = divmod(rest, 10 ** (500 * block))
        digits += [int(digit) for digit in (f"{head:0500d}" if digits else str(head))]
    return digits[:count]


def agreeing(found: float, certified: float) -> float:
    """Return the number of digits in which two numbers agree, 15 when they are the same."""
    return 15.0 if found == certified else min(15.0, -math.log10(abs(found - certified) / abs(certified)))


@pytest.mark.parametrize("name", FILES)
def test_moments_of_the_reference_sets(name: str) -> None:
    """NIST StRD: mean and standard deviation agree with the certified ones in twelve digits or more."""
    found = moments(column(f"nist_{name.lower()}", "y"))
    mean, deviation = CERTIFIED[name]
    assert agreeing(found.mean, mean) >= 12
    assert agreeing(found.deviation, deviation) >= 12


@pytest.mark.parametrize(("name", "base"), [("NumAcc2", "1"), ("NumAcc3", "1000000"), ("NumAcc4", "10000000")])
def test_moments_of_readings_shifted_before_they_become_floats(name: str, base: str) -> None:
    """NumAcc2 to 4: with the round number taken off in decimals, both agree in twelve digits or more."""
    found = moments([float(reading - Decimal(base)) for reading in alternating(base)])
    mean, deviation = CERTIFIED[name]
    assert agreeing(float(base) + found.mean, mean) >= 12
    assert agreeing(found.deviation, deviation) >= 12


@pytest.mark.parametrize(("base", "digits"), [("1", 12), ("1000000", 9), ("10000000", 8)])
def test_no_digit_is_lost_that_the_floats_hold(base: str, digits: int) -> None:
    """The floats of NumAcc4 hold eight digits of its scatter; exact arithmetic on them gives what we give."""
    readings = [float(reading) for reading in alternating(base)]
    exact = [Fraction(reading) for reading in readings]
    mean = sum(exact) / len(exact)
    variance = sum((one - mean) ** 2 for one in exact) / (len(exact) - 1)
    found = moments(readings)
    assert agreeing(found.mean, float(mean)) >= 12
    assert agreeing(found.deviation, math.sqrt(variance)) >= 12
    assert agreeing(found.deviation, 0.1) >= digits


def test_one_pass_through_numacc4_gives_a_negative_variance() -> None:
    """The formula of the pocket calculator: -2.0 for NumAcc4 and 0.0115 for NumAcc3, where 0.01 is true."""
    for base, wrong in (("10000000", -2.0), ("1000000", 0.0115)):
        total = squares = 0.0
        readings = [float(reading) for reading in alternating(base)]
        for reading in readings:
            total += reading
            squares += reading * reading
        naive = (squares - total * total / len(readings)) / (len(readings) - 1)
        assert wrong == pytest.approx(naive, rel=0.03)
        assert 0.01 == pytest.approx(moments(readings).deviation ** 2, rel=1e-7)


def test_pi_digits_are_those_of_the_file_and_not_those_of_pi() -> None:
    """NIST PiDigits has a 3 where digit 957 of pi is 8: with it both agree in twelve digits, without it in four."""
    digits = digits_of_pi(5000)
    true = moments([float(digit) for digit in digits])
    assert [4.5358, 2.867675552] == pytest.approx([true.mean, true.deviation], abs=5e-10)
    assert 8 == digits[956]
    digits[956] = 3
    file = moments([float(digit) for digit in digits])
    mean, deviation = CERTIFIED["PiDigits"]
    assert agreeing(file.mean, mean) >= 12
    assert agreeing(file.deviation, deviation) >= 12
    assert agreeing(true.mean, mean) < 4


@given(st.lists(st.integers(-1000, 1000), min_size=2, max_size=50), st.integers(-(10**6), 10**6))
def test_a_shift_moves_the_mean_and_nothing_else(readings: list[int], shift: int) -> None:
    """On whole numbers the moments are those of fractions, and a shift leaves the scatter alone."""
    found, moved = (moments([float(one + by) for one in readings]) for by in (0, shift))
    exact = Fraction(sum(readings), len(readings))
    assert math.isclose(found.mean, exact, abs_tol=1e-12)
    assert math.isclose(moved.mean, exact + shift, rel_tol=1e-15, abs_tol=1e-9)
    assert math.isclose(found.deviation, moved.deviation, rel_tol=1e-9, abs_tol=1e-9)


def test_one_reading_says_nothing_of_scatter() -> None:
    """No deviation and no degrees of freedom to count; no readings are refused."""
    one = moments([5.0])
    assert (5.0, 0.0, math.inf) == (one.mean, one.deviation, one.freedom)
    with pytest.raises(ValueError, match="no readings"):
        moments([])


def test_line_of_norris() -> None:
    """NIST StRD Norris, 36 points: intercept, slope, both deviations and that of the residuals, ten digits or more."""
    fit = line(column("nist_norris", "x"), column("nist_norris", "y"))
    certified = {
        "intercept": -0.262323073774029,
        "slope": 1.00211681802045,
        "u_intercept": 0.232818234301152,
        "u_slope": 0.429796848199937e-3,
        "residual": 0.884796396144373,
    }
    digits = {name: agreeing(getattr(fit, name), value) for name, value in certified.items()}
    assert min(digits.values()) >= 10, digits
    assert 34.0 == fit.freedom


@pytest.mark.parametrize(
    ("x", "y"), [([1.0, 2.0], [1.0, 2.0]), ([1.0, 1.0, 1.0], [1.0, 2.0, 3.0]), ([1.0, 2.0, 3.0], [1.0])]
)
def test_points_that_tell_no_line_are_refused(x: list[float], y: list[float]) -> None:
    """Two points leave nothing for the scatter, one x gives no slope, and lengths must agree."""
    with pytest.raises(ValueError, match="line"):
        line(x, y)


def test_the_decimal_readings_are_exact() -> None:
    """The readings of NumAcc4 are decimals: their mean is 10000000.2 to the last digit."""
    with localcontext() as context:
        context.prec = 40
        assert Decimal("10000000.2") == sum(alternating("10000000")) / 1001
