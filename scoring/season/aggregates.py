"""One number from several: mean, median, sum, best, count."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

__all__ = ["AGGREGATES", "aggregate"]

AGGREGATES = ("mean", "median", "sum", "best", "count")


def aggregate(numbers: Sequence[Fraction], *, how: str, ascending: bool = False) -> Fraction | None:
    """Combine numbers exactly; ``None`` where there is none. The median of an even count is the mean of the middle two.

    ``best`` is the lowest where the lowest wins (``ascending``).

    >>> aggregate([Fraction(60), Fraction(62), Fraction(67), Fraction(61)], how="median")
    Fraction(123, 2)
    """
    if not numbers:
        return None
    if how == "median":
        ordered = sorted(numbers)
        middle = len(ordered) // 2
        return ordered[middle] if len(ordered) % 2 else (ordered[middle - 1] + ordered[middle]) / 2
    if how == "best":
        return min(numbers) if ascending else max(numbers)
    if how == "count":
        return Fraction(len(numbers))
    total = sum(numbers, Fraction(0))
    return total if how == "sum" else total / len(numbers)
