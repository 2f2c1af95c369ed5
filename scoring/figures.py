"""The figures of one sheet: points after what comes off, their maximum, and the percentage, rounded as the rules say.

Points are whole numbers of ``1 / Frame.unit``; percentages are whole numbers of ``1 / Frame.percent_unit`` per cent, or
fractions of it where the rule set keeps a sheet's percentage exact. Nothing is rounded anywhere else.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import lcm
from operator import mul

from scoring.classes import ClassDocument, Deduction, Entry, Seat, Sheet
from scoring.exact import format_exact, format_units, round_ratio, round_to_units
from scoring.testsheets import DEFAULT_PART

__all__ = ["Frame", "PartFigures", "Percent", "SeatFrame", "SheetFigures"]

Percent = int | Fraction


@dataclass(frozen=True, slots=True)
class PartFigures:
    """One part of a sheet, or the whole of it where the rule set has no parts (``name`` is then empty).

    ``raw`` and ``points`` are before and after what comes off; None where only a percentage is known. ``rounded`` is
    the percentage as a sheet's percentage is rounded, ``percentage`` what is left of it after deductions from the part.
    """

    name: str
    raw: int | None
    points: int | None
    maximum: int | None
    rounded: Percent
    percentage: Percent


@dataclass(frozen=True, slots=True)
class SheetFigures:
    """One sheet. ``full`` is False while marks are missing; the figures are then those of the items marked."""

    parts: Sequence[PartFigures]
    points: int | None
    maximum: int | None
    percentage: Percent
    full: bool

    def part(self, name: str) -> PartFigures | None:
        return next((part for part in self.parts if part.name == name), None)


@dataclass(frozen=True, slots=True)
class PartFrame:
    name: str
    positions: tuple[int, ...] | None
    maximum: int
    weight: int


@dataclass(frozen=True, slots=True)
class SeatFrame:
    seat: Seat
    parts: tuple[PartFrame, ...]

    @property
    def whole(self) -> bool:
        """True where the seat marks every item of a class without parts."""
        return self.parts[0].positions is None


class Frame:
    """What all sheets of one class share: units, weights, maxima."""

    def __init__(self, document: ClassDocument) -> None:
        self.document = document
        self.rules = document.rules
        self.split = document.split
        self.unit = lcm(document.test.unit if document.test else 1, *self._point_denominators())
        self.percent_unit = lcm(10 ** (self.rules.sheet_decimals or 0), *self._percent_denominators())
        factor = self.unit // document.test.unit if document.test else 1
        test = document.test
        self.weights = tuple(weight * factor for weight in test.weights) if test else ()
        self.maxima = tuple(maximum * factor for maximum in test.maxima) if test else ()
        self.seats = {seat.seat: self._seat(seat) for seat in document.panel}
        self._costs: dict[int, int] = {}
        self._figures: dict[int, SheetFigures] = {}
        self._points_texts: dict[int, str] = {}
        self._percent_texts: dict[Percent, str] = {}

    def _point_denominators(self) -> Iterable[int]:
        document = self.document
        if document.maximum is not None:
            yield document.maximum.denominator
        if self.rules.errors is not None:
            yield from (step.denominator for step in self.rules.errors.steps)
        for entry in document.entries:
            for deduction in entry.deductions:
                yield deduction.amount.denominator
            for sheet in entry.sheets.values():
                if sheet.points is not None:
                    yield sheet.points.denominator

    def _percent_denominators(self) -> Iterable[int]:
        for entry in self.document.entries:
            for deduction in entry.deductions:
                yield deduction.amount.denominator
            for sheet in entry.sheets.values():
                if sheet.percentage is not None:
                    yield sheet.percentage.denominator

    def _seat(self, seat: Seat) -> SeatFrame:
        test, weights = self.document.test, self.rules.parts
        share = lcm(*(weight.denominator for weight in weights.values()))
        parts = []
        for name in self.document.parts_of(seat) or ("",):
            positions = None
            if test is not None and name:
                positions = tuple(index for index, item in enumerate(test.items) if item.part == name)
            maximum = sum(self.maxima if positions is None else (self.maxima[index] for index in positions))
            parts.append(PartFrame(name, positions, maximum, int(weights[name] * share) if name else 1))
        return SeatFrame(seat, tuple(parts))

    @cached_property
    def points_maximum(self) -> int | None:
        """The maximum of a sheet that gives only its points, where the class says it."""
        return None if self.document.maximum is None else int(self.document.maximum * self.unit)

    def sheet(self, entry: Entry, seat: SeatFrame, sheet: Sheet) -> SheetFigures | None:
        """Work out one sheet; None when nothing on it is marked yet."""
        if sheet.percentage is not None:
            return self._given(entry, seat, sheet.percentage)
        if seat.whole and sheet.marks is not None and not entry.errors and not entry.deductions:
            figures = self._untouched(sheet.marks, seat.parts[0])
            if figures is not None:
                return figures
        if len(seat.parts) == 1:
            part, full = self._part(entry, seat, seat.parts[0], sheet)
            if part is None:
                return None
            return SheetFigures([part], part.points, part.maximum, part.percentage, full)
        found = [self._part(entry, seat, frame, sheet) for frame in seat.parts]
        pairs = [(frame, part) for frame, (part, _) in zip(seat.parts, found, strict=True) if part is not None]
        if not pairs:
            return None
        parts = [part for _, part in pairs]
        weighed = sum(frame.weight * part.percentage for frame, part in pairs)
        percentage = self.round_sheet(weighed, sum(frame.weight for frame, _ in pairs))
        points, maximum = sum(part.points or 0 for part in parts), sum(part.maximum or 0 for part in parts)
        return SheetFigures(parts, points, maximum, percentage, all(full for _, full in found))

    def _untouched(self, marks: tuple[int | None, ...], part: PartFrame) -> SheetFigures | None:
        """Work out a full sheet that nothing comes off, as most are; sheets with equal points share their figures."""
        if None in marks:
            return None
        points = sum(map(mul, marks, self.weights))
        figures = self._figures.get(points)
        if figures is None:
            percentage = self.round_sheet(points * 100 * self.percent_unit, part.maximum)
            whole = PartFigures("", points, points, part.maximum, percentage, percentage)
            figures = self._figures[points] = SheetFigures((whole,), points, part.maximum, percentage, full=True)
        return figures

    def _given(self, entry: Entry, seat: SeatFrame, percentage: Fraction) -> SheetFigures:
        value = int(percentage * self.percent_unit)
        if len(seat.parts) > 1:
            return SheetFigures([], None, None, value, full=True)
        left = self._less_percentage(entry, seat, seat.parts[0].name, value)
        return SheetFigures(
            [PartFigures(seat.parts[0].name, None, None, None, value, left)], None, None, left, full=True
        )

    def _part(self, entry: Entry, seat: SeatFrame, part: PartFrame, sheet: Sheet) -> tuple[PartFigures | None, bool]:
        if sheet.marks is None:
            raw, full = int((sheet.points or Fraction(0)) * self.unit), True
            maximum = part.maximum if self.points_maximum is None else self.points_maximum
        else:
            raw, maximum, full = self._added(sheet.marks, part)
        if not maximum:
            return None, full
        points, percentage = raw, None
        if entry.errors or entry.deductions:
            points = max(0, raw - self.points_off(entry, seat, part.name))
            rounded = self.round_sheet(points * 100 * self.percent_unit, maximum)
            percentage = self._less_percentage(entry, seat, part.name, rounded)
        else:
            rounded = percentage = self.round_sheet(points * 100 * self.percent_unit, maximum)
        return PartFigures(part.name, raw, points, maximum, rounded, percentage), full

    def _added(self, marks: tuple[int | None, ...], part: PartFrame) -> tuple[int, int, bool]:
        """Add up mark x coefficient over the items of a part that are marked: points, maximum, and whether all are."""
        if part.positions is None and None not in marks:
            return sum(map(mul, marks, self.weights)), part.maximum, True
        positions = range(len(marks)) if part.positions is None else part.positions
        points, maximum, full = 0, 0, True
        for position in positions:
            mark = marks[position]
            if mark is None:
                full = False
            else:
                points += mark * self.weights[position]
                maximum += self.maxima[position]
        return points, maximum, full

    def round_sheet(self, numerator: Percent, denominator: int) -> Percent:
        """Round a percentage, numerator / denominator in ``percent_unit``, as a sheet's percentage is rounded."""
        decimals = self.rules.sheet_decimals
        if decimals is None:
            return Fraction(numerator) / denominator
        step = self.percent_unit // 10**decimals
        scaled: int = denominator * step * numerator.denominator
        rounded = round_ratio(numerator.numerator, scaled, rounding=self.rules.rounding)
        return rounded * int(step)

    def deductions(self, entry: Entry, seat: SeatFrame, part: str, *, off: str) -> list[Deduction]:
        """List the deductions of one kind that touch one part of one seat's sheet."""
        return [
            deduction
            for deduction in entry.deductions
            if deduction.off == off
            and deduction.seat in (None, seat.seat.seat)
            and (not part or deduction.part == part)
        ]

    def errors_off(self, entry: Entry, part: str) -> int:
        """Return the points that errors of course take off one part of every sheet."""
        errors = self.rules.errors
        if not entry.errors or errors is None or errors.off != "sheet-points" or part not in ("", DEFAULT_PART):
            return 0
        if entry.errors not in self._costs:
            self._costs[entry.errors] = int(errors.cost(entry.errors) * self.unit)
        return self._costs[entry.errors]

    def points_off(self, entry: Entry, seat: SeatFrame, part: str) -> int:
        deductions = self.deductions(entry, seat, part, off="sheet-points")
        return self.errors_off(entry, part) + sum(int(deduction.amount * self.unit) for deduction in deductions)

    def _less_percentage(self, entry: Entry, seat: SeatFrame, part: str, percentage: Percent) -> Percent:
        if not entry.deductions or not part:
            return percentage
        deductions = self.deductions(entry, seat, part, off="part-percentage")
        return max(0, percentage - sum(int(deduction.amount * self.percent_unit) for deduction in deductions))

    def points_text(self, points: int) -> str:
        text = self._points_texts.get(points)
        if text is None:
            text = self._points_texts[points] = format_exact(Fraction(points, self.unit))
        return text

    def percent_text(self, percentage: Percent) -> str:
        """Write a sheet's percentage with the decimals of the rule set; an exact one with those of the total.

        A percentage that was given with more decimals than the rule set names keeps them.
        """
        text = self._percent_texts.get(percentage)
        if text is None:
            text = self._percent_texts[percentage] = self._percent_text(percentage)
        return text

    def _percent_text(self, percentage: Percent) -> str:
        decimals = self.rules.sheet_decimals
        if decimals is None:
            decimals = self.rules.decimals
            value = Fraction(percentage, self.percent_unit)
            return format_units(
                round_to_units(value, decimals=decimals, rounding=self.rules.rounding), decimals=decimals
            )
        units, rest = divmod(int(percentage) * 10**decimals, self.percent_unit)
        return format_exact(Fraction(percentage, self.percent_unit)) if rest else format_units(units, decimals=decimals)
