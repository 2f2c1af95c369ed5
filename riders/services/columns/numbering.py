"""Numbers from 0 for the different ones among many integers, without sorting where they lie close together."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Integers = NDArray[Any]

_WIDEST_AGAINST_LENGTH = 8


def different(integers: Integers) -> tuple[Integers, Integers]:
    """Return the different ones in rising order, and for each integer which of them it is, as ``np.unique`` does."""
    if not len(integers):
        return integers, np.zeros(0, np.int64)
    low = int(integers.min())
    span = int(integers.max()) - low + 1
    if span > _WIDEST_AGAINST_LENGTH * len(integers):
        found, numbers = np.unique(integers, return_inverse=True)
        return found, numbers
    away = integers - low
    seen = np.zeros(span, np.bool_)
    seen[away] = True
    return np.flatnonzero(seen) + low, (np.cumsum(seen) - 1)[away]


def first_of_each(numbers: Integers, count: int) -> Integers:
    """Return where each number below ``count`` stands first; each stands somewhere.

    >>> first_of_each(np.array([1, 0, 1, 2]), 3).tolist()
    [1, 0, 3]
    """
    found = np.empty(count, np.int64)
    found[numbers[::-1]] = np.arange(len(numbers) - 1, -1, -1)  # of several for one place NumPy keeps the last
    return found
