"""Conditions, numbers and figures of a scheme over columns."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riders.services.columns.reading import Column, Columns, Numbers
from riders.services.columns.scope import NotColumnar, fields_of_conditions, fields_of_steps
from scoring.exact import Rounding
from scoring.season.conditions import AllOf, AnyOf, BarTest, Condition, FieldTest, Not
from scoring.season.ledger import Score
from scoring.season.steps import Steps, number_of
from scoring.season.tables import UnknownFigure

Mask = NDArray[np.bool_]
Truths = NDArray[np.int8]
"""For each score 1 where a condition is true, 0 where it is false, -1 where it is not known."""

LARGEST = 2**62
"""Figures up to here are worked out in columns; larger ones are left to the exact path."""


@dataclass(frozen=True, slots=True)
class Figures:
    """Exact numbers of scores: ``units`` of ``1 / scale`` each, where ``known``."""

    units: Numbers
    known: Mask
    scale: int


def guard(*bounds: int) -> None:
    """Raise ``NotColumnar`` where a product of these bounds might not fit."""
    product = 1
    for bound in bounds:
        product *= max(abs(bound), 1)
    if product >= LARGEST:
        raise NotColumnar


def largest(numbers: NDArray[Any]) -> int:
    return int(np.abs(numbers).max()) if len(numbers) else 0


def truths(conditions: Sequence[Condition], columns: Columns) -> Truths:
    """Judge a list of conditions, of which all must be true; a false one outweighs one that is not known."""
    found = np.ones(len(columns), np.int8)
    for condition in conditions:
        found = _both(found, _truths(condition, columns))
    return found


def _truths(condition: Condition, columns: Columns) -> Truths:
    if isinstance(condition, FieldTest | BarTest):
        judged = columns.derived(fields_of_conditions((condition,)), lambda score: condition.judge(score).truth)
        plain = np.array([-1 if truth is None else int(truth) for truth in judged.values], np.int8)
        return plain[judged.codes]
    if isinstance(condition, AllOf):
        return truths(condition.parts, columns)
    if isinstance(condition, AnyOf):
        found = np.zeros(len(columns), np.int8)
        for part in condition.parts:
            found = _either(found, _truths(part, columns))
        return found
    if isinstance(condition, Not):
        inner = _truths(condition.part, columns)
        return np.where(inner < 0, inner, 1 - inner).astype(np.int8)
    raise NotColumnar


def _both(one: Truths, other: Truths) -> Truths:
    known = np.where((one == 0) | (other == 0), 0, 1)
    return np.where((known == 1) & ((one < 0) | (other < 0)), -1, known).astype(np.int8)


def _either(one: Truths, other: Truths) -> Truths:
    known = np.where((one == 1) | (other == 1), 1, 0)
    return np.where((known == 0) & ((one < 0) | (other < 0)), -1, known).astype(np.int8)


def numbers_of(steps: Steps, columns: Columns) -> Figures:
    """Give each score its number by the steps of a scheme."""

    def number(score: Score) -> Fraction | None:
        try:
            return number_of(steps, score)
        except UnknownFigure:
            return None

    if not steps:
        return figures(columns.column("percentage"))
    return figures(columns.derived(fields_of_steps(steps), number))


def figures(column: Column) -> Figures:
    """Write a column of numbers in units of their common denominator."""
    known = [value for value in column.values if value is not None]
    scale = lcm(*{value.denominator for value in known})
    guard(scale, max((abs(value.numerator) // value.denominator + 1 for value in known), default=1))
    units = [0 if value is None else value.numerator * (scale // value.denominator) for value in column.values]
    return Figures(np.array(units, np.int64)[column.codes], column.known(), scale)


def rounded(numerators: Numbers, denominators: Numbers, *, rounding: Rounding) -> Numbers:
    """Round ratios to whole numbers, as ``scoring.exact.round_ratio`` does; denominators are above zero."""
    guard(2, largest(numerators))
    guard(2, largest(denominators))
    whole, rest = np.divmod(np.abs(numerators), denominators)
    if rounding is not Rounding.DOWN:
        twice = 2 * rest
        half_goes_up = np.ones(len(whole), np.bool_) if rounding is Rounding.HALF_UP else whole % 2 == 1
        whole = whole + ((twice > denominators) | ((twice == denominators) & half_goes_up))
    return np.where(numerators < 0, -whole, whole)


def sums(rows: NDArray[Any], units: Numbers, count: int) -> Numbers:
    """Add up exactly the units of each row; ``np.bincount`` with weights would add up binary floats."""
    guard(largest(units), len(units) + 1)
    found = np.zeros(count, np.int64)
    np.add.at(found, rows, units)
    return found


def maxima(rows: NDArray[Any], units: Numbers, count: int) -> tuple[Numbers, Mask]:
    """Return the largest units of each row, and which rows have any."""
    found = np.full(count, np.iinfo(np.int64).min, np.int64)
    np.maximum.at(found, rows, units)
    return found, found != np.iinfo(np.int64).min


def distinct(rows: NDArray[Any], column: Column, count: int) -> Numbers:
    """Count the different known values of each row; ``column`` belongs to the same scores as ``rows``."""
    known = column.known()
    rows, codes, size = rows[known], column.codes[known].astype(np.int64), len(column.values)
    if count * size <= 2**27:
        seen = np.zeros(count * size, np.bool_)
        seen[rows * size + codes] = True
        counted: Numbers = seen.reshape(count, size).sum(axis=1, dtype=np.int64)
        return counted
    return np.bincount(np.unique(rows * size + codes) // size, minlength=count).astype(np.int64)


def sub(column: Column, which: NDArray[Any]) -> Column:
    return Column(column.codes[which], column.values)


def all_known(columns: Columns, names: Iterable[str]) -> Mask:
    found = np.ones(len(columns), np.bool_)
    for name in names:
        found &= columns.column(name).known()
    return found
