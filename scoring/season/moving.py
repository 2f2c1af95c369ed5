"""A number that depends on one percentage not yet ridden, worked through the ordinary arithmetic.

The outlook asks what one more score of p would do. It runs the season's own rules on a :class:`Moving` number: the
value at one p, with its slope in p. Every comparison that the rules make is noted in a :class:`Trail`, with the p at
which it would turn out otherwise, so that the stretch of p is known, exactly, on which the answer is a straight line.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Self

from scoring.exact import Rounding, round_to_units

__all__ = ["Moving", "Trail", "round_number", "slope_of"]


@dataclass(slots=True)
class Trail:
    """Where, seen from the point ``at``, the first comparison would turn out otherwise; ``pinned`` means right here."""

    at: Fraction
    next_turn: Fraction | None = None
    pinned: bool = False

    def note(self, difference: Fraction, slope: Fraction) -> None:
        """Note a comparison of two numbers that differ by ``difference`` at this point and drift by ``slope``."""
        if slope == 0:
            return
        if difference == 0:
            self.pinned = True
            return
        turn = self.at - difference / slope
        if turn > self.at and (self.next_turn is None or turn < self.next_turn):
            self.next_turn = turn


class Moving(Fraction):
    """The value at one point and the slope there; takes part in arithmetic and comparisons like the value itself."""

    __slots__ = ("slope", "trail")
    slope: Fraction
    trail: Trail

    def __new__(cls, value: Fraction, *, slope: Fraction, trail: Trail) -> Self:
        self = super().__new__(cls, value.numerator, value.denominator)
        self.slope, self.trail = Fraction(slope.numerator, slope.denominator), trail
        return self

    @property
    def still(self) -> Fraction:
        """The value at the point, without its slope."""
        return Fraction(self.numerator, self.denominator)

    def _with(self, value: Fraction, slope: Fraction) -> Moving:
        return Moving(value, slope=slope, trail=self.trail)

    def __add__(self, other: object) -> Moving:  # type: ignore[override]
        if not isinstance(other, int | Fraction):
            return NotImplemented
        return self._with(self.still + _still(other), self.slope + slope_of(other))

    __radd__ = __add__  # type: ignore[assignment]

    def __neg__(self) -> Moving:
        return self._with(-self.still, -self.slope)

    def __sub__(self, other: object) -> Moving:  # type: ignore[override]
        if not isinstance(other, int | Fraction):
            return NotImplemented
        return self._with(self.still - _still(other), self.slope - slope_of(other))

    def __rsub__(self, other: object) -> Moving:  # type: ignore[override]
        return (-self).__add__(other)

    def __mul__(self, other: object) -> Moving:  # type: ignore[override]
        if not isinstance(other, int | Fraction) or slope_of(other):
            return NotImplemented
        return self._with(self.still * _still(other), self.slope * _still(other))

    __rmul__ = __mul__  # type: ignore[assignment]

    def __truediv__(self, other: object) -> Moving:  # type: ignore[override]
        if not isinstance(other, int | Fraction) or slope_of(other):
            return NotImplemented
        return self._with(self.still / _still(other), self.slope / _still(other))

    def _difference(self, other: int | Fraction) -> Fraction:
        difference = self.still - _still(other)
        self.trail.note(difference, self.slope - slope_of(other))
        return difference

    def __eq__(self, other: object) -> bool:
        return self._difference(other) == 0 if isinstance(other, int | Fraction) else NotImplemented

    __hash__ = Fraction.__hash__

    def __lt__(self, other: object) -> bool:
        return self._difference(other) < 0 if isinstance(other, int | Fraction) else NotImplemented

    def __le__(self, other: object) -> bool:
        return self._difference(other) <= 0 if isinstance(other, int | Fraction) else NotImplemented

    def __gt__(self, other: object) -> bool:
        return self._difference(other) > 0 if isinstance(other, int | Fraction) else NotImplemented

    def __ge__(self, other: object) -> bool:
        return self._difference(other) >= 0 if isinstance(other, int | Fraction) else NotImplemented


def _still(number: int | Fraction) -> Fraction:
    return number.still if isinstance(number, Moving) else Fraction(number)


def slope_of(number: int | Fraction) -> Fraction:
    """Return how fast a number moves with p; a plain number stands still."""
    return number.slope if isinstance(number, Moving) else Fraction(0)


def round_number(value: Fraction, *, decimals: int, rounding: Rounding) -> Fraction:
    """Round to ``decimals`` places and keep a number; on a moving one, note where it would round otherwise.

    >>> round_number(Fraction("67.5"), decimals=0, rounding=Rounding.HALF_UP)
    Fraction(68, 1)
    """
    still = _still(value)
    rounded = Fraction(round_to_units(still, decimals=decimals, rounding=rounding), 10**decimals)
    if isinstance(value, Moving):
        half_step = Fraction(1, 2 * 10**decimals)
        for edge in range(-2, 3):
            value.trail.note(still - (rounded + edge * half_step), value.slope)
    return rounded
