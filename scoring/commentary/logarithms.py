"""Probabilities as whole hundredths of natural logarithms, so that the same text gives the same answer everywhere."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal, localcontext

__all__ = ["NEVER", "PARTS", "add_logs", "log_sum", "logarithm", "share"]

NEVER = -(10**9)
PARTS = 10_000
_SIGHT = 700  # beyond it the smaller of two adds less than half a hundredth to the larger, and is no part in 10,000


_MOST_TERMS = 40


def _tables() -> tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...]]:
    with localcontext() as context:
        context.prec = 12
        exponentials = [(Decimal(-difference) / 100).exp() for difference in range(1000)]
        sums = (100 * (1 + value).ln() for value in exponentials[:_SIGHT])
        shares = (PARTS * value for value in exponentials)
        logarithms = (100 * (Decimal(hundredths) / 100).ln() for hundredths in range(100, 100 * _MOST_TERMS + 1))
        return _whole(sums), _whole(shares), _whole(logarithms)


def _whole(values: Iterable[Decimal]) -> tuple[int, ...]:
    return tuple(int(value.to_integral_value()) for value in values)


_SUMS, _SHARES, _LOGARITHMS = _tables()


def add_logs(one: int, other: int) -> int:
    """Return the logarithm of the sum of two probabilities given by their logarithms.

    >>> add_logs(-69, -69), add_logs(-5, NEVER)
    (0, -5)
    """
    difference = one - other
    if difference < 0:
        one, difference = other, -difference
    return one + _SUMS[difference] if difference < _SIGHT else one


def log_sum(values: Sequence[int]) -> int:
    """Return the logarithm of a sum of at most 40 probabilities, of which there must be one.

    >>> log_sum([-139, -139, -139, -139]), log_sum([-5, NEVER])
    (0, -5)
    """
    most = max(values)
    parts = sum([_SHARES[most - value] for value in values if most - value < _SIGHT])
    return most + _LOGARITHMS[parts * 100 // PARTS - 100]


def share(value: int) -> int:
    """Return the probability of a logarithm in parts of 10,000.

    >>> share(0), share(-69), share(-100_000)
    (10000, 5016, 0)
    """
    return PARTS if value >= 0 else _SHARES[-value] if -value < len(_SHARES) else 0


def logarithm(value: int) -> int:
    """Return the natural logarithm of a whole number in hundredths.

    >>> logarithm(1), logarithm(10)
    (0, 230)
    """
    with localcontext() as context:
        context.prec = 12
        return int((100 * Decimal(value).ln()).to_integral_value())
