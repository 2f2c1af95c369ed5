"""Sheets that stand far from the rest of their panel, moved to the nearest other sheet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from scoring.figures import Percent
from scoring.rulesets import Outliers

__all__ = ["Move", "moved_outliers"]


@dataclass(frozen=True, slots=True)
class Move:
    """One sheet moved: the percentages of the ``others`` when it was looked at, and where it went."""

    seat: str
    given: Percent
    others: tuple[Percent, ...]
    moved_to: Percent


def moved_outliers(percentages: Mapping[str, Percent], outliers: Outliers, *, percent_unit: int) -> list[Move]:
    """Find the sheets to move, in the order in which they are moved, each at most once.

    A sheet that differs from the mean of the others by the limit or more goes to the nearest other percentage. The
    largest gap goes first and is seen by those after it. Of equal gaps the lower sheet goes first, since doubt is
    decided for the rider; of two others equally near the one on the side of the mean is taken. A sheet that has an
    equal beside it stays where it is. Sources: reports of 2014 on dressage-news.com (1 August) and horseandhound.co.uk
    (458842).

    >>> panel = {"E": 65530, "H": 71780, "C": 73000, "M": 73000, "B": 73000, "K": 74000, "F": 75560}
    >>> [(move.seat, move.moved_to) for move in
    ...  moved_outliers(panel, Outliers(Fraction(6), 7), percent_unit=1000)]
    [('E', 71780)]
    """
    if len(percentages) < outliers.min_sheets:
        return []
    current, waiting, moves = dict(percentages), set(percentages), []
    limit = outliers.limit * percent_unit
    while waiting:
        gaps = {seat: _gap(seat, current) for seat in waiting}
        seat = max(gaps, key=lambda name: (gaps[name], -current[name], name))
        if gaps[seat] < limit:
            break
        others = tuple(value for name, value in current.items() if name != seat)
        move = Move(seat, current[seat], others, _nearest(current[seat], others))
        waiting.remove(seat)
        if move.moved_to != move.given:
            moves.append(move)
        current[seat] = move.moved_to
    return moves


def _gap(seat: str, current: Mapping[str, Percent]) -> Fraction:
    others = sum(current.values()) - current[seat]
    return abs(current[seat] - Fraction(others) / (len(current) - 1))


def _nearest(given: Percent, others: tuple[Percent, ...]) -> Percent:
    mean = Fraction(sum(others)) / len(others)
    return min(others, key=lambda other: (abs(other - given), abs(other - mean)))
