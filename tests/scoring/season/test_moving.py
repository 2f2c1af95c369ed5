"""A moving number takes part in arithmetic like the number itself, and its trail says how far that holds."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.exact import Rounding
from scoring.season.aggregates import aggregate
from scoring.season.moving import Moving, Trail, round_number, slope_of

POINT = st.integers(0, 1000).map(lambda n: Fraction(n, 10))
FIXED = st.lists(st.integers(0, 100).map(Fraction), max_size=5)
FUNCTIONS = [
    lambda x, fixed: max([x, *fixed]),
    lambda x, fixed: min([x * 2 - 30, *fixed]),
    lambda x, fixed: aggregate([x, *fixed, 80 - x], how="median"),
    lambda x, fixed: sum(sorted([x, *fixed], reverse=True)[:2], Fraction(0)),
    lambda x, fixed: round_number(x / 3, decimals=0, rounding=Rounding.HALF_UP) + sum(n < x for n in fixed),
    lambda x, fixed: round_number(-x, decimals=1, rounding=Rounding.HALF_EVEN),
    lambda x, fixed: round_number(x, decimals=0, rounding=Rounding.DOWN) * Fraction(1, 2),
    lambda x, fixed: (1 if x == 50 else 2 if x >= 60 else 3) + (0 if x <= 20 else x),
]


@given(st.sampled_from(FUNCTIONS), POINT, FIXED, st.integers(1, 999))
def test_up_to_the_next_turn_the_function_is_the_line_of_value_and_slope(function, at, fixed, part):
    trail = Trail(at)
    found = function(Moving(at, slope=Fraction(1), trail=trail), fixed)
    assert Fraction(found.numerator, found.denominator) == function(at, fixed)
    if not trail.pinned:
        end = at + 100 if trail.next_turn is None else trail.next_turn
        assert end > at
        further = at + (end - at) * Fraction(part, 1000)
        line = Fraction(found.numerator, found.denominator) + slope_of(found) * (further - at)
        assert function(further, fixed) == line


def test_two_moving_numbers_are_not_multiplied():
    x = Moving(Fraction(2), slope=Fraction(1), trail=Trail(Fraction(2)))
    with pytest.raises(TypeError):
        x * x
    with pytest.raises(TypeError):
        x / x
    assert slope_of(3 * x + x / 2 - 1) == Fraction(7, 2)
    assert slope_of(1 - x) == -1
