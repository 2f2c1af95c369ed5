"""The figures by which tie steps part equal totals."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction

from scoring.classes import Entry, Sheet
from scoring.exact import format_exact, format_units, round_ratio
from scoring.figures import Frame, Percent
from scoring.placings import Figure
from scoring.rides import Ride
from scoring.rulesets import TieStep
from scoring.totals import collective_points, round_mean

__all__ = ["TieFigures"]


class TieFigures:
    """Looks up a ride's figure for a step; None where the ride does not have it, so that the step parts nothing.

    Percentages are those that count: of a sheet that was moved as an outlier, where it was moved to. A part is compared
    as it is published, at the decimals of the total; medians and single seats exactly as they count.
    """

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        test = frame.document.test
        items = test.items if test else ()
        self.collectives = tuple(index for index, item in enumerate(items) if item.collective)
        self.coefficient_items = tuple(
            index for index, item in enumerate(items) if item.coefficient > 1 and not item.collective
        )

        self._steps: Mapping[str, Callable[[Ride, str], Figure | None]] = {
            "collectives": lambda ride, _: self.points(ride.entry, self.collectives),
            "coefficient-items": lambda ride, _: self.points(ride.entry, self.coefficient_items),
            "item": lambda ride, item: self._item(ride.entry.sheets, item),
            "part": self._part,
            "median": lambda ride, _: median(list(ride.counted.values())),
            "seat": lambda ride, seat: ride.counted.get(seat),
            "collectives-at": lambda ride, seat: self.points(ride.entry, self.collectives, seat=seat),
        }

    def figure(self, ride: Ride, step: TieStep) -> Figure | None:
        return self._steps[step.by](ride, step.argument)

    def points(self, entry: Entry, positions: tuple[int, ...], *, seat: str | None = None) -> int | None:
        """Add up mark x coefficient of some items over all sheets or one; None where they are not known."""
        sheets = list(entry.sheets.values()) if seat is None else [s for n, s in entry.sheets.items() if n == seat]
        if not positions or not sheets:
            return None
        added = 0
        for sheet in sheets:
            if sheet.marks is None:
                return None
            added += collective_points(self.frame, sheet.marks, positions)
        return added

    def _item(self, sheets: Mapping[str, Sheet], item: str) -> int | None:
        test = self.frame.document.test
        if test is None or any(sheet.marks is None for sheet in sheets.values()):
            return None
        position = test.positions[item]
        return sum(sheet.marks[position] or 0 for sheet in sheets.values() if sheet.marks is not None)

    def _part(self, ride: Ride, name: str) -> int | None:
        if self.frame.rules.parts:
            return ride.parts.get(name)
        test = self.frame.document.test
        if test is None or any(sheet.marks is None for sheet in ride.entry.sheets.values()):
            return None
        positions = tuple(index for index, item in enumerate(test.items) if item.part == name)
        maximum = sum(self.frame.maxima[position] for position in positions)
        percentages = [self._percentage(sheet.marks, positions, maximum) for sheet in ride.entry.sheets.values()]
        return round_mean(self.frame, sum(percentages), len(percentages))

    def _percentage(self, marks: tuple[int | None, ...] | None, positions: tuple[int, ...], maximum: int) -> Percent:
        points = collective_points(self.frame, marks or (), positions)
        return self.frame.round_sheet(points * 100 * self.frame.percent_unit, maximum)

    def seat_text(self, ride: Ride, step: TieStep, seat: str) -> str:
        """Write what one seat adds to a figure that is summed over the sheets."""
        if step.by == "item":
            figure: Figure | None = self._item({seat: ride.entry.sheets[seat]}, step.argument)
        else:
            positions = self.collectives if step.by == "collectives" else self.coefficient_items
            figure = self.points(ride.entry, positions, seat=seat)
        return "0" if figure is None else self.text(step, figure)

    def text(self, step: TieStep, figure: Figure) -> str:
        """Write a figure; one without a finite decimal form with three decimals more than the total."""
        if step.by == "part":
            return format_units(int(figure), decimals=self.frame.rules.decimals)
        unit = {"item": 10, "median": self.frame.percent_unit, "seat": self.frame.percent_unit}
        value = Fraction(figure, unit.get(step.by, self.frame.unit))
        if step.by in ("median", "seat") and value == Fraction(int(figure), self.frame.percent_unit):
            return self.frame.percent_text(int(figure))
        try:
            return format_exact(value)
        except ValueError:
            decimals = self.frame.rules.decimals + 3
            units = round_ratio(value.numerator * 10**decimals, value.denominator, rounding=self.frame.rules.rounding)
            return format_units(units, decimals=decimals)


def median(values: list[Percent]) -> Percent:
    """Return the middle value, of an even number the mean of the middle two.

    >>> median([78, 65, 100, 80, 92]), median([62, 50, 100, 94])
    (80, Fraction(78, 1))
    """
    ordered = sorted(values)
    middle = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[middle]
    return Fraction(ordered[middle - 1] + ordered[middle], 2)
