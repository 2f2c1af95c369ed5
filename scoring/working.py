"""The working of a result: sentences that anyone can follow with a pocket calculator.

Every figure of a line follows from figures in that line or in lines above it. Sums are written out, what was rounded
says so, and a percentage that the rule set keeps exact stands as a fraction where it has no finite decimals.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction

from scoring.classes import Deduction, Entry
from scoring.exact import format_exact, format_units
from scoring.figures import Frame, PartFigures, Percent, SeatFrame, SheetFigures
from scoring.outliers import Move
from scoring.placings import Figure, Placing
from scoring.rides import Ride
from scoring.rulesets import Errors, TieStep
from scoring.tie_figures import TieFigures
from scoring.totals import total_off

__all__ = ["Working"]

_ROUNDING = {"half-up": "rounded half up", "half-even": "rounded half to even", "down": "cut"}


class Working:
    """Writes the lines of every ride of one class."""

    def __init__(self, frame: Frame, ties: TieFigures, rides: Mapping[str, Ride]) -> None:
        self.frame, self.ties, self.rides = frame, ties, rides
        self.rules = frame.rules
        self.rounding = _ROUNDING[self.rules.rounding.value]

    def lines(self, ride: Ride, placing: Placing | None) -> list[str]:
        if ride.status != ride.entry.status and self.rules.errors is not None:
            limit = self.rules.errors.eliminated_at
            return [f"Eliminated: {_errors(ride.entry.errors)}, and error {limit} eliminates."]
        if ride.total is None:
            return []
        lines = [line for name, sheet in ride.sheets.items() for line in self._sheet(ride, name, sheet)]
        lines.extend(self._move(move) for move in ride.moves)
        lines.extend(self._total(ride))
        if ride.penalty is not None:
            lines.append(self._penalty(ride))
        lines.extend(self._place(ride, placing))
        return lines

    def _sheet(self, ride: Ride, name: str, sheet: SheetFigures) -> Iterator[str]:
        seat = self.frame.seats[name]
        if not sheet.parts:
            yield f"{name}: {self.exact(sheet.percentage)} % as given"
            return
        for part in sheet.parts:
            yield f"{name}: {self._part(ride, seat, sheet, part)}"
        if len(sheet.parts) > 1:
            weights = self.rules.parts
            terms = [f"{self.exact(part.percentage)} x {format_exact(weights[part.name])}" for part in sheet.parts]
            divisor = format_exact(sum((weights[part.name] for part in sheet.parts), Fraction(0)))
            weighed = sum((weights[part.name] * part.percentage for part in sheet.parts), Fraction(0))
            exact = weighed / sum((weights[part.name] for part in sheet.parts), Fraction(0))
            note = self._note(exact, 1, sheet.percentage, unit=self.frame.percent_unit)
            yield f"{name}: ({' + '.join(terms)}) / {divisor} = {self.exact(sheet.percentage)} %{note}"

    def _part(self, ride: Ride, seat: SeatFrame, sheet: SheetFigures, part: PartFigures) -> str:
        frame, entry = self.frame, ride.entry
        name = f"{part.name} " if part.name else ""
        if part.raw is None or part.points is None or not part.maximum:
            return f"{name}{self.exact(part.rounded)} % as given{self._part_off(entry, seat, part)}"
        points, maximum = frame.points_text(part.points), frame.points_text(part.maximum)
        unit = frame.percent_unit
        note = self._note(part.points * 100 * unit, part.maximum, part.rounded, unit=unit)
        off = self._points_off(entry, seat, part) if entry.errors or entry.deductions else ""
        so_far = "" if sheet.full else " so far"
        text = f"{name}{frame.points_text(part.raw)} points{so_far}"
        text += f"{off} = {points} of {maximum}" if off else f" of {maximum}"
        return f"{text} = {self.exact(part.rounded)} %{note}{self._part_off(entry, seat, part)}"

    def _points_off(self, entry: Entry, seat: SeatFrame, part: PartFigures) -> str:
        frame = self.frame
        text = "".join(map(_less, frame.deductions(entry, seat, part.name, off="sheet-points")))
        if frame.errors_off(entry, part.name) and self.rules.errors is not None:
            text = self._errors_less(entry.errors, self.rules.errors) + text
        below = part.raw is not None and part.raw < frame.points_off(entry, seat, part.name)
        return f"{text} (nothing goes below 0)" if below else text

    def _part_off(self, entry: Entry, seat: SeatFrame, part: PartFigures) -> str:
        if part.percentage == part.rounded:
            return ""
        deductions = self.frame.deductions(entry, seat, part.name, off="part-percentage")
        text = "".join(map(_less, deductions))
        off = sum((deduction.amount for deduction in deductions), Fraction(0)) * self.frame.percent_unit
        below = " (nothing goes below 0)" if part.rounded < off else ""
        return f"{text}{below} = {self.exact(part.percentage)} %"

    def _errors_less(self, errors: int, rule: Errors) -> str:
        cost = format_exact(rule.cost(errors))
        if errors == 1:
            return f" - {cost} for 1 error of course"
        steps = " + ".join(format_exact(rule.cost(n + 1) - rule.cost(n)) for n in range(min(errors, 12)))
        more = " + ..." if errors > 12 else ""
        return f" - {cost} for {_errors(errors)} ({steps}{more})"

    def _move(self, move: Move) -> str:
        unit, limit = self.frame.percent_unit, self.rules.outliers.limit if self.rules.outliers else Fraction(0)
        mean = Fraction(sum(move.others)) / len(move.others)
        gap = abs(mean - move.given)
        added = " + ".join(map(self.exact, move.others))
        return (
            f"{move.seat}: the mean of the other sheets is ({added}) / {len(move.others)} = {self._near(mean, unit)}; "
            f"{self.exact(move.given)} differs from it by {self._near(gap, unit)}, and {format_exact(limit)} or more "
            f"moves it to the nearest other sheet, {self.exact(move.moved_to)} %"
        )

    def _total(self, ride: Ride) -> Iterator[str]:
        if ride.total is None:
            return
        what = "Total" if ride.completed else "So far"
        if self.rules.method == "points":
            yield self._total_of_points(ride, what)
        elif self.frame.split:
            yield from self._total_of_parts(ride, what)
        else:
            values = list(ride.counted.values())
            yield f"{what}: {self._mean(values, ride.total.rounded)}"
        if ride.total.units != ride.total.rounded or total_off(self.frame, ride.entry):
            yield f"{what}: {self._off(ride)}"
        elif ride.entry.errors and (self.rules.errors is None or not self.rules.errors.steps):
            yield f"Nothing comes off for {_errors(ride.entry.errors)} under this rule set."

    def _mean(self, values: list[Percent], rounded: int) -> str:
        scale = 10**self.rules.decimals
        note = self._note(sum(values) * scale, len(values) * self.frame.percent_unit, rounded, unit=scale)
        total = self.total_text(rounded)
        if len(values) == 1:
            given = self.exact(values[0])
            return f"{given} %" if given == total else f"{given} % = {total} %{note}"
        return f"({' + '.join(map(self.exact, values))}) / {len(values)} = {total} %{note}"

    def _total_of_points(self, ride: Ride, what: str) -> str:
        rounded = ride.total.rounded if ride.total else 0
        points = [sheet.points or 0 for sheet in ride.sheets.values()]
        maxima = [sheet.maximum or 0 for sheet in ride.sheets.values()]
        scale = 10**self.rules.decimals
        note = self._note(sum(points) * 100 * scale, sum(maxima), rounded, unit=scale)
        return f"{what}: {self._added(points)} points of {self._added(maxima)} = {self.total_text(rounded)} %{note}"

    def _added(self, values: list[int]) -> str:
        texts = [self.frame.points_text(value) for value in values]
        return texts[0] if len(texts) == 1 else f"({' + '.join(texts)} = {self.frame.points_text(sum(values))})"

    def _total_of_parts(self, ride: Ride, what: str) -> Iterator[str]:
        for name, units in ride.parts.items():
            values = [part.percentage for sheet in ride.sheets.values() if (part := sheet.part(name)) is not None]
            yield f"{name}: {self._mean(values, units)}"
        weights = {name: self.rules.parts[name] for name in ride.parts}
        terms = [f"{self.total_text(ride.parts[name])} x {format_exact(weight)}" for name, weight in weights.items()]
        divisor = sum(weights.values(), Fraction(0))
        rounded = ride.total.rounded if ride.total else 0
        exact = sum((weights[name] * units for name, units in ride.parts.items()), Fraction(0)) / divisor
        scale = 10**self.rules.decimals
        note = self._note(exact, 1, rounded, unit=scale)
        yield f"{what}: ({' + '.join(terms)}) / {format_exact(divisor)} = {self.total_text(rounded)} %{note}"

    def _off(self, ride: Ride) -> str:
        entry, rule = ride.entry, self.rules.errors
        rounded, units = (ride.total.rounded, ride.total.units) if ride.total else (0, 0)
        text = self.total_text(rounded)
        if entry.errors and rule is not None and rule.off == "total-percentage":
            text += self._errors_less(entry.errors, rule)
        text += "".join(_less(deduction) for deduction in entry.deductions if deduction.off == "total-percentage")
        scale = 10**self.rules.decimals
        left = Fraction(rounded, scale) - total_off(self.frame, entry)
        below = " (nothing goes below 0)" if left < 0 else ""
        note = self._note(max(left, Fraction(0)) * scale, 1, units, unit=scale)
        return f"{text}{below} = {self.total_text(units)} %{note}"

    def _penalty(self, ride: Ride) -> str:
        rule, total, penalty = self.rules.penalty, ride.total, ride.penalty
        if rule is None or total is None or penalty is None:
            return ""
        exact = (100 - Fraction(total.units, 10**self.rules.decimals)) * rule.factor
        scale = 10**rule.decimals
        note = self._note(exact * scale, 1, penalty, unit=scale)
        factor = "" if rule.factor == 1 else f" x {format_exact(rule.factor)}"
        inner = f"100 - {self.total_text(total.units)}"
        written = format_units(penalty, decimals=rule.decimals)
        return f"Penalty: {f'({inner})' if factor else inner}{factor} = {written}{note}"

    def _place(self, ride: Ride, placing: Placing | None) -> Iterator[str]:
        if not ride.completed or ride.total is None:
            return
        if ride.entry.hors_concours:
            yield "Rides hors concours: no place."
        elif placing is None and self.rules.minimum_for_place is not None:
            minimum = format_exact(self.rules.minimum_for_place)
            yield f"No place: {self.total_text(ride.total.units)} is below {minimum}, the least for a place."
        elif placing is not None:
            if placing.equals:
                yield from self._tie(ride, placing)
            if not placing.shared:
                yield f"{_before(placing.place - 1)} placed before this one, so the place is {placing.place}."

    def _tie(self, ride: Ride, placing: Placing) -> Iterator[str]:
        figure = self._published(ride)
        yield f"Equal with {_numbers(placing.equals)} on {figure}."
        for step, figures in placing.separated:
            yield from self._derived(ride, step, figures[placing.number])
            yield self._separation(placing.number, step, figures)
        if placing.shared:
            partners = [n for n in placing.equals if self._same(placing, n)]
            used = self.rules.ties and (self.rules.tie_places is None or placing.place <= self.rules.tie_places)
            together = _numbers(partners)
            why = "No step of the rule set parts them" if used else "The rule set parts no tie for this place"
            yield f"{why}: place {placing.place} is shared with {together}."

    def _published(self, ride: Ride) -> str:
        if ride.penalty is not None and self.rules.penalty is not None:
            return f"{format_units(ride.penalty, decimals=self.rules.penalty.decimals)} penalties"
        return f"{self.total_text(ride.total.units)} %" if ride.total else ""

    @staticmethod
    def _same(placing: Placing, other: str) -> bool:
        """Tell whether no step parted ``other`` from this entry."""
        return all(figures.get(other) == figures[placing.number] for _, figures in placing.separated)

    def _separation(self, number: str, step: TieStep, figures: Mapping[str, Figure]) -> str:
        own = figures[number]
        against = [f"{self.ties.text(step, value)} of number {n}" for n, value in figures.items() if n != number]
        return f"{_label(step)}: {self.ties.text(step, own)}, against {_listed(against)}; the higher is placed first."

    def _derived(self, ride: Ride, step: TieStep, figure: Figure) -> Iterator[str]:
        """Yield the line that a step's figure comes from, where no line above has it."""
        label, text = _label(step), self.ties.text(step, figure)
        if step.by == "median":
            ordered = sorted(ride.counted.values())
            exact = Fraction(figure, self.frame.percent_unit)
            note = ""
            if exact != Fraction(text):
                text = f"{exact.numerator}/{exact.denominator} = {text}"
                note = f" ({self._near(exact, 1)} {self.rounding})"
            yield f"{label} of {', '.join(map(self.exact, ordered))} = {text}{note}"
        elif step.by == "part" and not self.frame.split and self.rules.parts:
            values = [p.percentage for sheet in ride.sheets.values() if (p := sheet.part(step.argument)) is not None]
            yield f"{label}: {self._mean(values, int(figure))}"
        elif step.by in ("collectives", "coefficient-items", "item") and len(ride.sheets) > 1:
            one_seat = {name: self.ties.seat_text(ride, step, name) for name in ride.sheets}
            yield f"{label}: {' + '.join(f'{value} ({name})' for name, value in one_seat.items())} = {text}"

    def exact(self, percentage: Percent) -> str:
        """Write a percentage so that it can be reckoned on with: as rounded, or as an exact fraction."""
        if self.rules.sheet_decimals is not None:
            return self.frame.percent_text(percentage)
        value = Fraction(percentage, self.frame.percent_unit)
        try:
            return format_exact(value)
        except ValueError:
            return f"{value.numerator}/{value.denominator}"

    def total_text(self, units: int) -> str:
        return format_units(units, decimals=self.rules.decimals)

    def _near(self, numerator: Percent, denominator: int) -> str:
        """Write a figure that is only shown: exactly if short, else with three decimals more than the total."""
        decimals = self.rules.decimals + 3
        units, rest = divmod(numerator.numerator * 10**decimals, numerator.denominator * denominator)
        text = format_units(units, decimals=decimals)
        return f"{text}..." if rest else text.rstrip("0").rstrip(".")

    def _note(self, numerator: Percent, denominator: int, rounded: Percent, *, unit: int) -> str:
        """Say that a figure was rounded, with what it was: numerator / denominator in the ``unit`` of ``rounded``."""
        if numerator == rounded * denominator:
            return ""
        return f" ({self._near(numerator, denominator * unit)} {self.rounding})"


def _errors(errors: int) -> str:
    return f"{errors} error{'' if errors == 1 else 's'} of course"


def _less(deduction: Deduction) -> str:
    return f" - {format_exact(deduction.amount)} for {deduction.reason or 'a deduction'}"


def _listed(texts: tuple[str, ...] | list[str]) -> str:
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"


def _numbers(entries: tuple[str, ...] | list[str]) -> str:
    return f"number{'s' if len(entries) > 1 else ''} {_listed(entries)}"


def _before(count: int) -> str:
    return {0: "No entry is", 1: "1 entry is"}.get(count, f"{count} entries are")


def _label(step: TieStep) -> str:
    return {
        "collectives": "Collective marks",
        "coefficient-items": "Items with a coefficient above 1",
        "item": f"Item {step.argument}",
        "part": f"Part {step.argument}",
        "median": "Median",
        "seat": f"Percentage of seat {step.argument}",
    }.get(step.by, f"Collective marks of seat {step.argument}")
