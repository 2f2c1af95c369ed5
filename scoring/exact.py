"""Exact decimals: reading, rounding and writing, in one place.

Every mark, amount and percentage is an ``int`` of some smallest step or a :class:`fractions.Fraction`. No binary float
enters: JSON numbers arrive as :class:`decimal.Decimal` (see ``scoring.documents.load_json``) or as strings.
"""

from __future__ import annotations

import re
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

__all__ = ["Rounding", "format_exact", "format_units", "parse_decimal", "round_ratio", "round_to_units"]

_PLAIN_DECIMAL = re.compile(r"-?(?:\d{1,15}(?:\.\d{1,15})?|\.\d{1,15})\Z", re.ASCII)
_LARGEST = 10**15


class Rounding(StrEnum):
    """The ways a rule set may round; the names are those of ``rules/1``."""

    HALF_UP = "half-up"
    HALF_EVEN = "half-even"
    DOWN = "down"


def parse_decimal(value: object) -> Fraction:
    """Read one exact decimal: a string such as ``"6.5"``, an ``int`` or a ``Decimal``.

    Raises ``ValueError`` for everything else: floats, booleans, exponents, infinities, separators, more than 15 digits
    on either side of the point. Plain decimals only, so that what is read is what a person would read.

    >>> parse_decimal("6.5")
    Fraction(13, 2)
    >>> parse_decimal(7)
    Fraction(7, 1)
    """
    if isinstance(value, str):
        if not _PLAIN_DECIMAL.match(value):
            raise ValueError(f"{value!r} is not a plain decimal number")
        return Fraction(value)
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise ValueError(f"a {type(value).__name__} is not a decimal number")  # noqa: TRY004 - one error for readers
    if isinstance(value, int):
        if abs(value) >= _LARGEST:
            raise ValueError("the number has more than 15 digits")
        return Fraction(value)
    if not value.is_finite() or (value and not -15 <= value.adjusted() < 15) or value.as_tuple().exponent < -30:  # type: ignore[operator]
        raise ValueError(f"{value} is not a plain decimal number")
    return Fraction(value)


def round_ratio(numerator: int, denominator: int, *, rounding: Rounding) -> int:
    """Round ``numerator / denominator`` to a whole number; ``denominator`` is above zero.

    Half-up rounds an exact half away from zero; down cuts towards zero.

    >>> round_ratio(5, 2, rounding=Rounding.HALF_UP), round_ratio(5, 2, rounding=Rounding.HALF_EVEN)
    (3, 2)
    >>> round_ratio(-5, 2, rounding=Rounding.HALF_UP), round_ratio(-5, 2, rounding=Rounding.DOWN)
    (-3, -2)
    """
    sign = -1 if numerator < 0 else 1
    whole, rest = divmod(abs(numerator), denominator)
    if rounding is not Rounding.DOWN:
        twice = 2 * rest
        if twice > denominator or (twice == denominator and (rounding is Rounding.HALF_UP or whole % 2 == 1)):
            whole += 1
    return sign * whole


def round_to_units(value: Fraction, *, decimals: int, rounding: Rounding) -> int:
    """Round to ``decimals`` places and return the count of units of the last place (``66.667`` at 3 is ``66667``)."""
    return round_ratio(value.numerator * 10**decimals, value.denominator, rounding=rounding)


def format_units(units: int, *, decimals: int) -> str:
    """Write a count of units of the last place as a decimal with exactly ``decimals`` places.

    >>> format_units(70044, decimals=3), format_units(-5, decimals=1), format_units(60, decimals=0)
    ('70.044', '-0.5', '60')
    """
    if decimals == 0:
        return str(units)
    sign = "-" if units < 0 else ""
    whole, part = divmod(abs(units), 10**decimals)
    return f"{sign}{whole}.{part:0{decimals}d}"


def format_exact(value: Fraction) -> str:
    """Write an exact decimal with no more places than it needs; a value with no finite decimal form is an error.

    >>> format_exact(Fraction(13, 2)), format_exact(Fraction(319))
    ('6.5', '319')
    """
    denominator, twos, fives = value.denominator, 0, 0
    while denominator % 2 == 0:
        denominator, twos = denominator // 2, twos + 1
    while denominator % 5 == 0:
        denominator, fives = denominator // 5, fives + 1
    if denominator != 1:
        raise ValueError(f"{value} has no finite decimal form")
    decimals = max(twos, fives)
    return format_units(value.numerator * 10**decimals // value.denominator, decimals=decimals)
