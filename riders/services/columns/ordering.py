"""Putting scores in order within their heaps, as the scoring core does: equal ones by the day, then by the key."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from riders.models import Score
from riders.services.columns.reading import Numbers
from scoring.season.ledger import natural_key

Order = NDArray[np.int64]
_AT_ONCE = 500


def ordered(keys: list[NDArray[Any]], numbers: Numbers) -> Order:
    """Return the positions of scores by these keys, the first one first, each rising; equal ones by the score's key.

    The keys of scores are asked for only where everything else is equal.
    """
    order = by_integers(keys)
    same = np.ones(max(len(order) - 1, 0), np.bool_)
    for key in keys:
        along = key[order]
        same &= along[1:] == along[:-1]
    if same.any():
        _settle(order, same, numbers)
    return order


def by_integers(keys: list[NDArray[Any]]) -> Order:
    """Return the positions in the order of these keys, the first one first, each rising; equal ones stand in any.

    Where the keys fit into one integer that is several times quicker than key by key.
    """
    if not len(keys[0]):
        return np.zeros(0, np.int64)
    lows = [int(key.min()) for key in keys]
    spans = [int(key.max()) - low + 1 for key, low in zip(keys, lows, strict=True)]
    total = 1
    for span in spans:
        total *= span
    if total >= 2**62:
        return np.lexsort(keys[::-1]).astype(np.int64)
    packed = np.zeros(len(keys[0]), np.int64)
    for key, low, span in zip(keys, lows, spans, strict=True):
        packed = packed * span + (key.astype(np.int64) - low)
    return np.argsort(packed).astype(np.int64)


def _settle(order: Order, same: NDArray[np.bool_], numbers: Numbers) -> None:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], same, [False])).astype(np.int8)))
    runs = [(int(first), int(last) + 1) for first, last in zip(edges[::2], edges[1::2], strict=True)]
    names = _keys(np.concatenate([numbers[order[first:last]] for first, last in runs]))
    for first, last in runs:
        run = order[first:last]
        order[first:last] = sorted(run, key=lambda position: natural_key(names[int(numbers[position])]))


def _keys(numbers: Numbers) -> dict[int, str]:
    wanted = numbers.tolist()
    found: dict[int, str] = {}
    for start in range(0, len(wanted), _AT_ONCE):
        rows = Score.objects.order_by().filter(pk__in=wanted[start : start + _AT_ONCE])
        found |= dict(rows.values_list("pk", "key"))
    return found


def turns(heaps: NDArray[Any]) -> Numbers:
    """Return the manieth of its heap each score is, from 0, where the scores of a heap stand together."""
    if not len(heaps):
        return np.zeros(0, np.int64)
    starts = np.flatnonzero(np.concatenate(([True], heaps[1:] != heaps[:-1])))
    sizes = np.diff(np.concatenate((starts, [len(heaps)])))
    return np.arange(len(heaps)) - np.repeat(starts, sizes)
