"""What a person types at the bench is understood as people write it, or refused with what was expected."""

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from benchtest.adapters import answers
from benchtest.adapters.answers import reading

FACTOR = {"": 1.0, "m": 1e-3, "k": 1e3, "M": 1e6}
UNIT_SPELLINGS = {"V": ["", "V", " V", "v", " volts"], "A": ["", "A", " amps"], "Ω": ["", "Ω", " ohm", "R"]}

TYPED = [
    ("24.1", "V", 24.1),
    ("24,1 V", "V", 24.1),
    ("24.1V", "V", 24.1),
    (" 24.1 VDC ", "V", 24.1),
    ("-0.25", "V", -0.25),
    ("\u22120.25 V", "V", -0.25),
    ("5.3 mV", "V", 0.0053),
    ("5.3m", "V", 0.0053),
    (".5", "V", 0.5),
    ("1e-3", "A", 0.001),
    ("45mA", "A", 0.045),
    ("10k", "Ω", 10e3),
    ("10 kohm", "Ω", 10e3),
    ("10 KΩ", "Ω", 10e3),
    ("1.2 M", "Ω", 1.2e6),
    ("80 mohm", "Ω", 0.08),
    # IEC 60062:2016, 4: the letter stands in the place of the decimal point
    ("4k7", "Ω", 4700.0),
    ("0R15", "Ω", 0.15),
    ("R", "Ω", None),
    ("2M2", "Ω", 2.2e6),
    ("OL", "Ω", math.inf),
    ("0.L", "Ω", math.inf),
    ("o.l", "V", math.inf),
    ("24 A", "V", None),
    ("24 mA", "V", None),
    ("5 V", "Ω", None),
    ("1.234,5", "V", None),
    ("1 2", "V", None),
    ("nan", "V", None),
    ("24 VAC", "V", None),
    ("", "V", None),
    ("twenty", "V", None),
    ("\u0664\u0664", "V", None),
    ("9" * 400, "V", None),
    ("1e99", "V", 1e99),
    ("1e999", "V", None),
    ("\x00\x1b[31m24", "V", None),
]


@pytest.mark.parametrize(("typed", "unit", "value"), TYPED)
def test_a_typed_reading_is_its_value_or_is_refused(typed: str, unit: str, value: float | None) -> None:
    """Points, commas, prefixes, units and over-range as people write them; anything else is refused."""
    if value is None:
        with pytest.raises(ValueError, match="expected"):
            reading(typed, unit)
    else:
        assert value == reading(typed, unit)


def test_a_meter_on_the_wrong_kind_of_volts_is_noticed() -> None:
    """'V~' where d.c. is asked, and 'V DC' where a.c. is asked, is a switch in the wrong place."""
    assert 24.3 == reading("24.3 V~", "V", alternating=True)
    assert 24.3 == reading("24.3 V a.c.", "V", alternating=True)
    with pytest.raises(ValueError, match=r"expected volts a\.c\..*got d\.c\."):
        reading("24.3 V DC", "V", alternating=True)
    with pytest.raises(ValueError, match=r"got a\.c\."):
        reading("24.3 V~", "V")


@given(
    number=st.decimals(min_value=-9999, max_value=9999, places=3, allow_nan=False),
    unit=st.sampled_from(["V", "A", "Ω"]),
    prefix=st.sampled_from(sorted(FACTOR)),
    comma=st.booleans(),
    blank=st.sampled_from(["", " "]),
    data=st.data(),
)
def test_whatever_way_a_number_is_written_its_value_is_the_same(
    number: Any, unit: str, prefix: str, comma: bool, blank: str, data: Any
) -> None:
    """Sign, point or comma, blank, prefix and unit in every combination give number times prefix."""
    spelling = data.draw(st.sampled_from(UNIT_SPELLINGS[unit]))
    text = f"{number:f}".replace(".", "," if comma else ".") + blank + prefix + spelling.strip()

    assert reading(text, unit) == pytest.approx(float(number) * FACTOR[prefix], rel=1e-12)


def refused(understand: Callable[[], object]) -> object:
    """Return what was understood, or the sentence of a refusal."""
    try:
        return understand()
    except ValueError as refusal:
        return f"refused: {refusal}"


@given(text=st.text(max_size=60), unit=st.sampled_from(["V", "A", "Ω"]), alternating=st.booleans())
@example(text="1e99999", unit="V", alternating=False)
@example(text="+", unit="A", alternating=False)
def test_whatever_is_typed_gives_a_number_or_a_sentence(text: str, unit: str, alternating: bool) -> None:
    """Any text at all is a value that is not NaN, or is refused with what was expected."""
    found = refused(lambda: reading(text, unit, alternating=alternating))

    assert not math.isnan(found) if isinstance(found, float) else str(found).startswith("refused: expected")


@given(text=st.text(max_size=30), digits=st.integers(min_value=0, max_value=4))
def test_whatever_is_typed_for_a_lamp_is_a_known_word_or_refused(text: str, digits: int) -> None:
    """States and codes are among the judge's words, or refused with what was expected."""
    state, yes = refused(lambda: answers.state(text)), refused(lambda: answers.yes(text))
    code = str(refused(lambda: answers.code(text, digits=digits)))
    count = code.isdigit() and not digits
    pairs = digits and [2] * digits == [len(pair) for pair in code.split()]

    assert state in {"lit", "dark", "blinking"} or str(state).startswith("refused: expected")
    assert isinstance(yes, bool) or str(yes).startswith("refused: expected")
    assert code in {"dark", "steady"} or count or pairs or code.startswith("refused: expected")


@pytest.mark.parametrize(
    ("typed", "digits", "word"),
    [
        ("3", 0, "3"),
        ("03", 0, "3"),
        ("0", 0, "dark"),
        ("steady", 0, "steady"),
        ("1112", 2, "11 12"),
        ("11 12", 2, "11 12"),
        ("1 1 1 2", 2, "11 12"),
        ("22", 1, "22"),
        ("Dark", 2, "dark"),
    ],
)
def test_a_code_is_written_as_the_judge_knows_it(typed: str, digits: int, word: str) -> None:
    """Flash counts as a figure, digits in pairs."""
    assert word == answers.code(typed, digits=digits)


@pytest.mark.parametrize("typed", ["n", "no", "NO ", "y", "yes", "", "  ", "42", "?"])
def test_a_yes_or_a_no_is_nobodys_name(typed: str) -> None:
    """Who answers the cautions with a no has not acknowledged them, and who only says yes has not said who they are."""
    with pytest.raises(ValueError, match="expected your name"):
        answers.name(typed)


def test_a_name_is_taken_as_it_is_typed_on_one_line() -> None:
    """Letters of any script, blanks gathered."""
    assert "A. Tester" == answers.name("  A.   Tester ")
    assert "Ünal" == answers.name("Ünal")
