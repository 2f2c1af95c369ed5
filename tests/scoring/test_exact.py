from __future__ import annotations

from decimal import ROUND_DOWN, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.exact import Rounding, format_exact, format_units, parse_decimal, round_ratio, round_to_units

MODES = {
    Rounding.HALF_UP: ROUND_HALF_UP,
    Rounding.HALF_EVEN: ROUND_HALF_EVEN,
    Rounding.DOWN: ROUND_DOWN,
}


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("6.5", "13/2"),
        (".5", "1/2"),
        ("007", "7"),
        ("-2", "-2"),
        (7, "7"),
        (Decimal("66.667"), "66667/1000"),
        (Decimal("1E2"), "100"),
        (Decimal("0E-20"), "0"),
    ],
)
def test_what_is_a_decimal(value, expected):
    assert parse_decimal(value) == Fraction(expected)


@pytest.mark.parametrize(
    "value",
    [
        "",
        " 6",
        "6,5",
        "6.",
        "+6",
        "1e3",
        "NaN",
        "1_0",
        "٦",
        "1" * 16,
        "0." + "1" * 16,
        6.5,
        True,
        None,
        [],
        10**15,
        Decimal("NaN"),
        Decimal("Infinity"),
        Decimal("1E15"),
        Decimal("1E-16"),
        Decimal("0E-31"),
    ],
)
def test_what_is_no_decimal(value):
    with pytest.raises(ValueError, match=r"decimal number|15 digits"):
        parse_decimal(value)


@given(st.integers(-(10**9), 10**9), st.integers(0, 6), st.sampled_from(list(Rounding)))
def test_rounding_agrees_with_the_decimal_module(units, decimals, rounding):
    """Figures of seven decimals rounded to fewer, negative ones too; half-up goes away from zero."""
    value = Decimal(units).scaleb(-7)
    expected = value.quantize(Decimal(1).scaleb(-decimals), rounding=MODES[rounding])
    found = round_to_units(Fraction(value), decimals=decimals, rounding=rounding)
    assert Decimal(format_units(found, decimals=decimals)) == expected


@pytest.mark.parametrize(
    ("rounding", "expected"),
    [
        (Rounding.HALF_UP, [66667, 66668, 66666]),
        (Rounding.HALF_EVEN, [66666, 66668, 66666]),
        (Rounding.DOWN, [66666, 66667, 66666]),
    ],
)
def test_exact_halves(rounding, expected):
    """66.6665, 66.6675 and 66.66649 at three decimals; half-even goes to the even figure."""
    values = (Fraction("66.6665"), Fraction("66.6675"), Fraction("66.66649"))
    assert [round_to_units(value, decimals=3, rounding=rounding) for value in values] == expected


@given(st.integers(-(10**12), 10**12), st.integers(1, 10**6), st.sampled_from(list(Rounding)))
def test_rounding_is_never_off_by_a_whole_unit(numerator, denominator, rounding):
    found = round_ratio(numerator, denominator, rounding=rounding)
    assert abs(Fraction(numerator, denominator) - found) < 1


@given(st.decimals(-(10**9), 10**9, places=6))
def test_what_is_written_reads_back(value):
    text = format_exact(Fraction(value))
    assert parse_decimal(text) == Fraction(value)
    assert not (text.endswith("0") and "." in text)


def test_a_third_cannot_be_written():
    with pytest.raises(ValueError, match="no finite decimal form"):
        format_exact(Fraction(1, 3))
