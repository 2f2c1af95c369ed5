# ruff: noqa: ARG002 - every step is handed the number so far and the ride, needed or not
"""The number that one score brings: stage ``score`` of a scheme, a short list of steps.

The number starts as the percentage; a step replaces it, changes it, or adds to it. A step that needs a value which the
ledger does not hold raises :class:`UnknownFigure`: such a score does not count.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from scoring.exact import Rounding
from scoring.season.conditions import BarTest, Condition, FieldTest, all_true, conditions_in_words
from scoring.season.ledger import Score, number_text, spoken
from scoring.season.moving import round_number
from scoring.season.reranking import ClassPlace
from scoring.season.tables import Table, UnknownFigure

__all__ = ["Number", "Step", "Steps", "number_of"]

Number = Fraction | None
"""The number so far; None is the percentage of a score that has none."""


@dataclass(frozen=True, slots=True)
class Ride:
    """What a step may look at: the score, and how its place stands in the class."""

    score: Score
    place: ClassPlace

    def number(self, field: str) -> Fraction:
        value = self.score.value_of(field)
        if value is None:
            raise UnknownFigure(f"its {spoken(field)} is unknown")
        assert isinstance(value, int | Fraction)  # noqa: S101 - the reader takes number fields only
        return value if isinstance(value, Fraction) else Fraction(value)

    def placing(self) -> int:
        return int(self.number("placing"))


class Step(Protocol):
    """One step: from the number so far to the next."""

    def apply(self, number: Number, ride: Ride) -> Number: ...

    def words(self) -> str: ...


Steps = tuple[Step, ...]


def number_of(steps: Steps, score: Score, *, place: ClassPlace | None = None) -> Fraction:
    """Work out the number of one score. Raises :class:`UnknownFigure` where a value it needs is not in the ledger."""
    return _run(steps, Ride(score, place or ClassPlace()))


def _run(steps: Steps, ride: Ride) -> Fraction:
    number: Number = ride.score.percentage
    for step in steps:
        number = step.apply(number, ride)
    return _known(number)


def _known(number: Number) -> Fraction:
    if number is None:
        raise UnknownFigure("its percentage is unknown")
    return number


@dataclass(frozen=True, slots=True)
class Take:
    field: str

    def apply(self, number: Number, ride: Ride) -> Number:
        return ride.number(self.field)

    def words(self) -> str:
        return f"take the {spoken(self.field)}"


@dataclass(frozen=True, slots=True)
class Constant:
    amount: Fraction

    def apply(self, number: Number, ride: Ride) -> Number:
        return self.amount

    def words(self) -> str:
        return f"take {number_text(self.amount)}"


@dataclass(frozen=True, slots=True)
class PlaceTable:
    """Points for each place; ``other`` for every further one."""

    points: Mapping[int, Fraction]
    other: Fraction = Fraction(0)

    def points_for(self, place: int) -> Fraction:
        return self.points.get(place, self.other)

    def words(self) -> str:
        named = ", ".join(f"{number_text(points)} for place {place}" for place, points in sorted(self.points.items()))
        return f"{named + ', ' if named else ''}{number_text(self.other)} for any other place"


def _shared_points(table: PlaceTable, *, ride: Ride, shared: str) -> Fraction:
    """Return a place's points; ``mean`` divides those of the places taken up, ``dense`` counts a shared place once."""
    place, holders = ride.placing(), ride.place.shared_by
    if shared == "mean":
        return sum((table.points_for(place + index) for index in range(holders)), Fraction(0)) / holders
    return table.points_for(ride.place.dense or place) if shared == "dense" else table.points_for(place)


_SHARED_WORDS = {
    "same": "", "mean": "; a shared place earns the mean of the places taken up",
    "dense": "; after a shared place the next counts as only one lower",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Places:
    table: PlaceTable
    shared: str = "same"

    def apply(self, number: Number, ride: Ride) -> Number:
        return _shared_points(self.table, ride=ride, shared=self.shared)

    def words(self) -> str:
        return f"take points by placing: {self.table.words()}{_SHARED_WORDS[self.shared]}"


@dataclass(frozen=True, slots=True)
class PlacesByStarters:
    """A table of points for each size of class: ``(from, to or None, table)``; a size without a table earns nothing."""

    tables: tuple[tuple[int, int | None, PlaceTable], ...]
    shared: str = "same"

    def apply(self, number: Number, ride: Ride) -> Number:
        starters = ride.number("starters")
        for least, most, table in self.tables:
            if least <= starters and (most is None or starters <= most):
                return _shared_points(table, ride=ride, shared=self.shared)
        return Fraction(0)

    def words(self) -> str:
        sizes = "; ".join(
            f"with {least}{'' if most == least else ' or more' if most is None else f' to {most}'} starters "
            f"{table.words()}"
            for least, most, table in self.tables
        )
        return f"take points by placing and starters: {sizes}{_SHARED_WORDS[self.shared]}"


@dataclass(frozen=True, slots=True)
class FromStarters:
    """The winner earns the number of starters, at most ``most``; each next place one less, never below 1."""

    most: Fraction
    shared: str = "same"

    def apply(self, number: Number, ride: Ride) -> Number:
        winner = min(self.most, ride.number("starters"))
        places = range(1, max(int(winner) + 1, 1))
        table = PlaceTable({place: max(Fraction(1), winner - (place - 1)) for place in places}, Fraction(1))
        return _shared_points(table, ride=ride, shared=self.shared)

    def words(self) -> str:
        return (
            f"take placing points: the winner earns the number of starters, at most {number_text(self.most)}, "
            f"each next place one less, never below 1{_SHARED_WORDS[self.shared]}"
        )


@dataclass(frozen=True, slots=True)
class RidersBeaten:
    """So much for each rider placed behind; riders who share the place are not beaten."""

    each: Fraction

    def apply(self, number: Number, ride: Ride) -> Number:
        behind = ride.number("starters") - ride.placing() - (ride.place.shared_by - 1)
        return max(Fraction(0), behind) * self.each

    def words(self) -> str:
        return f"take {number_text(self.each)} for each rider beaten"


@dataclass(frozen=True, slots=True)
class Bands:
    """The points of the highest band whose lower bound the number reaches; ``bands`` are in rising order."""

    bands: tuple[tuple[Fraction, Fraction], ...]
    below: Fraction

    def apply(self, number: Number, ride: Ride) -> Number:
        known, earned = _known(number), self.below
        for bound, points in self.bands:
            if known >= bound:
                earned = points
        return earned

    def words(self) -> str:
        bands = ", ".join(f"{number_text(points)} from {number_text(bound)}" for bound, points in self.bands)
        return f"turn it into points: {bands}, {number_text(self.below)} below"


@dataclass(frozen=True, slots=True)
class Change:
    """``multiply``, ``divide`` or ``add`` by a figure, which may depend on a field of the score."""

    how: str
    by: Fraction | Table

    def apply(self, number: Number, ride: Ride) -> Number:
        known = _known(number)
        figure = self.by.figure_for(ride.score) if isinstance(self.by, Table) else self.by
        if self.how == "add":
            return known + figure
        return known * figure if self.how == "multiply" else known / figure

    def words(self) -> str:
        figure = self.by.words() if isinstance(self.by, Table) else number_text(self.by)
        return f"{self.how} {'' if self.how == 'add' else 'by '}{figure}"


@dataclass(frozen=True, slots=True)
class Linear:
    """a x + b, with a and b depending on one field."""

    slopes: Table
    offsets: Table

    def apply(self, number: Number, ride: Ride) -> Number:
        return _known(number) * self.slopes.figure_for(ride.score) + self.offsets.figure_for(ride.score)

    def words(self) -> str:
        return f"multiply by {self.slopes.words()}, then add {self.offsets.words()}"


@dataclass(frozen=True, slots=True)
class Round:
    decimals: int
    rounding: Rounding

    def apply(self, number: Number, ride: Ride) -> Number:
        return round_number(_known(number), decimals=self.decimals, rounding=self.rounding)

    def words(self) -> str:
        return f"round to {self.decimals} decimals ({self.rounding})"


@dataclass(frozen=True, slots=True)
class Plus:
    """Adds a second number, worked out from the same score by its own steps."""

    steps: Steps

    def apply(self, number: Number, ride: Ride) -> Number:
        return _known(number) + _run(self.steps, ride)

    def words(self) -> str:
        return f"add a second number ({steps_in_words(self.steps)})"


@dataclass(frozen=True, slots=True)
class When:
    conditions: tuple[Condition, ...]
    then: Steps
    otherwise: Steps

    def apply(self, number: Number, ride: Ride) -> Number:
        verdict = all_true(self.conditions, ride.score)
        if verdict.truth is None:
            raise UnknownFigure(verdict.reason)
        for step in self.then if verdict.truth else self.otherwise:
            number = step.apply(number, ride)
        return number

    def words(self) -> str:
        then = steps_in_words(self.then) or "leave it as it is"
        otherwise = f", otherwise {steps_in_words(self.otherwise)}" if self.otherwise else ""
        return f"where {conditions_in_words(self.conditions)}: {then}{otherwise}"


def steps_in_words(steps: Steps) -> str:
    return ", then ".join(step.words() for step in steps)


def inner_steps(steps: Steps) -> Iterator[Step]:
    """Yield every step, those inside others too."""
    for step in steps:
        yield step
        if isinstance(step, Plus):
            yield from inner_steps(step.steps)
        elif isinstance(step, When):
            yield from inner_steps(step.then)
            yield from inner_steps(step.otherwise)


def step_tests(steps: Steps) -> Iterator[FieldTest | BarTest]:
    """Yield every test on a field that the steps make."""
    for step in inner_steps(steps):
        if isinstance(step, When):
            for condition in step.conditions:
                yield from condition.tests()
