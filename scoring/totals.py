"""From the sheets of one entry to its total, its parts and its penalty."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from scoring.classes import Entry
from scoring.exact import round_ratio, round_to_units
from scoring.figures import Frame, Percent, SheetFigures

__all__ = ["Total", "collective_points", "part_totals", "penalty_of", "total_of", "total_off"]


@dataclass(slots=True)
class Total:
    """A total in units of its last published decimal: ``rounded`` before, ``units`` after what comes off it."""

    rounded: int
    units: int


def total_of(
    frame: Frame, entry: Entry, sheets: Mapping[str, SheetFigures], counted: Mapping[str, Percent]
) -> Total | None:
    """Work out the total of an entry; ``counted`` are its sheets' percentages, outliers moved. None without sheets."""
    if not sheets:
        return None
    rounded = _combined(frame, sheets, counted)
    return None if rounded is None else Total(rounded, _less_off(frame, entry, rounded))


def _combined(frame: Frame, sheets: Mapping[str, SheetFigures], counted: Mapping[str, Percent]) -> int | None:
    rules = frame.rules
    if rules.method == "points":
        points = sum(sheet.points or 0 for sheet in sheets.values())
        maximum = sum(sheet.maximum or 0 for sheet in sheets.values())
        return round_ratio(points * 100 * 10**rules.decimals, maximum, rounding=rules.rounding)
    if not frame.split:
        return round_mean(frame, sum(counted.values()), len(counted))
    parts = part_totals(frame, sheets)
    weight = sum((rules.parts[name] for name in parts), Fraction(0))
    weighed = sum((rules.parts[name] * units for name, units in parts.items()), Fraction(0)) / weight
    return round_ratio(weighed.numerator, weighed.denominator, rounding=rules.rounding)


def round_mean(frame: Frame, added: Percent, number: int) -> int:
    """Round the mean of sheets' percentages to the decimals of the total."""
    numerator, denominator = added.numerator * 10**frame.rules.decimals, added.denominator * frame.percent_unit
    return round_ratio(numerator, denominator * number, rounding=frame.rules.rounding)


def part_totals(frame: Frame, sheets: Mapping[str, SheetFigures]) -> dict[str, int]:
    """Average each part over the sheets that mark it, rounded to the decimals of the total.

    A part is left out where a sheet that marks it is known only as a whole.
    """
    if not frame.rules.parts or (not frame.split and any(not sheet.parts for sheet in sheets.values())):
        return {}
    found = {}
    for name in frame.rules.parts:
        values = [part.percentage for sheet in sheets.values() if (part := sheet.part(name)) is not None]
        if values:
            found[name] = round_mean(frame, sum(values), len(values))
    return found


def total_off(frame: Frame, entry: Entry) -> Fraction:
    """Add up, in percentage points, what comes off the total: errors where the rule set says so, and deductions."""
    off = sum((d.amount for d in entry.deductions if d.off == "total-percentage"), Fraction(0))
    errors = frame.rules.errors
    if entry.errors and errors is not None and errors.off == "total-percentage":
        off += errors.cost(entry.errors)
    return off


def _less_off(frame: Frame, entry: Entry, rounded: int) -> int:
    """Take off the rounded total; an amount finer than the total's decimals makes it be rounded once more."""
    if not entry.errors and not entry.deductions:
        return rounded
    left = max(Fraction(0), rounded - total_off(frame, entry) * 10**frame.rules.decimals)
    return round_ratio(left.numerator, left.denominator, rounding=frame.rules.rounding)


def penalty_of(frame: Frame, total: int) -> int | None:
    """Turn a published total into an eventing penalty, in units of its last decimal; None without such a rule."""
    rules = frame.rules
    if rules.penalty is None:
        return None
    exact = (100 - Fraction(total, 10**rules.decimals)) * rules.penalty.factor
    return round_to_units(exact, decimals=rules.penalty.decimals, rounding=rules.rounding)


def collective_points(frame: Frame, marks: tuple[int | None, ...], positions: tuple[int, ...]) -> int:
    """Add up mark x coefficient over some items of one sheet, in ``frame.unit``; without a mark nothing is added."""
    weights = frame.weights
    return sum([(marks[position] or 0) * weights[position] for position in positions])
