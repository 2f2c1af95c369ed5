"""Reading one seat's sheets of ``class/1``: marks, or points, or a percentage."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from operator import itemgetter
from typing import Any

from scoring.classes import ClassDocument, Seat, Sheet
from scoring.documents import Problem, Reader, describe
from scoring.exact import format_exact, parse_decimal
from scoring.marks import MarkScale, mark_text
from scoring.testsheets import Item

__all__ = ["SheetReader"]

_EXACT_TYPES = frozenset((str, int, Decimal))  # as types: True and 6.5 as a float would be found as equal keys
_SHAPES = ("marks", "points", "percentage")


class SheetReader:
    """Reads the sheets of one seat.

    A full sheet of good marks takes the quick way: every mark is looked up in the marks read so far. Whatever is not
    found there is read with care, which also finds the problems.
    """

    def __init__(self, draft: ClassDocument, seat: Seat, *, faulty: bool) -> None:
        self.draft = draft
        self.seat = seat
        self.faulty = faulty
        self.parts = draft.parts_of(seat)
        self.items = draft.test.items if draft.test else ()
        self.marked = [not faulty and seat.marks(item) for item in self.items]
        known = {scale: dict(_known_marks(scale)) for scale in {item.scale for item in self.items}}
        self.known = [known[item.scale] for item in self.items]
        self.marked_ids = tuple(item.id for item, marks in zip(self.items, self.marked, strict=True) if marks)
        self.one_scale = len(known) == 1 and all(self.marked)
        self.pick: Callable[[Any], tuple[Any, ...]] | None = None
        if len(self.marked_ids) > 1:
            self.pick = itemgetter(*self.marked_ids)
        self.maximum = self._maximum()

    def _maximum(self) -> Fraction | None:
        test = self.draft.test
        if self.draft.maximum is not None or test is None:
            return self.draft.maximum
        return Fraction(
            sum(maximum for maximum, marks in zip(test.maxima, self.marked, strict=True) if marks), test.unit
        )

    def read(self, value: object, *, path: str, problems: list[Problem], full: bool) -> Sheet | None:
        """Read one sheet; ``full`` asks for every mark. None when it cannot be used."""
        if self.pick is not None and type(value) is dict and len(value) == 1:
            marks = self._quick(value.get("marks"))
            if marks is not None:
                return Sheet(marks)
        return self._careful(Reader.over(value, path=path, problems=problems), full=full)

    def _quick(self, marks: object) -> tuple[int | None, ...] | None:
        if type(marks) is not dict or len(marks) != len(self.marked_ids) or self.pick is None:
            return None
        try:
            raw = self.pick(marks)
            if not _EXACT_TYPES.issuperset(map(type, raw)):
                return None
            if self.one_scale:
                found = tuple(map(self.known[0].get, raw))
                return None if None in found else found
            given = iter(raw)
            spread = [
                known[next(given)] if marks else None for known, marks in zip(self.known, self.marked, strict=True)
            ]
        except (KeyError, TypeError):
            return None
        return tuple(spread)

    def _careful(self, reader: Reader, *, full: bool) -> Sheet | None:
        if not reader.usable:
            return None
        given = [shape for shape in _SHAPES if reader.has(shape)]
        for shape in _SHAPES:
            reader.raw(shape)
        reader.finish()
        if len(given) != 1:
            stands = " and ".join(given) or "none of them"
            reader.problem(None, f"A sheet gives marks, points or a percentage, but here stands {stands}. Give one.")
            return None
        if given[0] == "marks":
            return self._marks(reader, full=full)
        return self._points(reader) if given[0] == "points" else self._percentage(reader)

    def _points(self, reader: Reader) -> Sheet | None:
        points = reader.take_decimal("points", least=0, most=10**6)
        if points is None or self.faulty:
            return None
        if self.maximum is None:
            reader.problem("points", 'Points need a maximum. Give the "maximum" of the class.')
        elif points > self.maximum:
            figures = f"{format_exact(points)} points are more than the maximum of {format_exact(self.maximum)}"
            reader.problem("points", f"{figures}. Correct one of the two.")
        if len(self.parts) > 1:
            reader.problem("points", "Points of a sheet with several parts cannot be divided. Give its marks.")
        return Sheet(points=points)

    def _percentage(self, reader: Reader) -> Sheet | None:
        percentage = reader.take_decimal("percentage", least=0, most=100)
        if percentage is None or self.faulty:
            return None
        rules, teams = self.draft.rules, self.draft.teams
        if rules.method == "points":
            reader.problem("percentage", "The rule set adds up points, which a percentage does not tell. Give points.")
        elif teams is not None and teams.of == "points":
            reader.problem("percentage", "The teams count points, which a percentage does not tell. Give points.")
        if self.draft.split and len(self.parts) > 1:
            reader.problem("percentage", "The percentage of a sheet with several parts cannot be divided. Give marks.")
        return Sheet(percentage=percentage)

    def _marks(self, reader: Reader, *, full: bool) -> Sheet | None:
        marks = reader.take_object("marks")
        if marks is None or self.faulty:
            return None
        if not self.items:
            reader.problem("marks", "Marks need the test that they belong to. Give the test of the class.")
            return None
        found: list[int | None] = []
        for position, item in enumerate(self.items):
            if self.marked[position]:
                found.append(self._mark(marks, position, item, full=full))
            else:
                found.append(None)
                if marks.has(item.id):
                    message = f"Seat {self.seat.seat} does not mark {item.label}. Take this mark out."
                    marks.problem(item.id, message)
        marks.finish(known=() if all(self.marked) else self.draft.test.positions if self.draft.test else ())
        return Sheet(tuple(found))

    def _mark(self, marks: Reader, position: int, item: Item, *, full: bool) -> int | None:
        value = marks.raw(item.id)
        if value is None:
            if full:
                marks.problem(item.id, f"The mark for {item.label} is missing. {item.scale.instruction()}")
            return None
        try:
            number = parse_decimal(value)
        except ValueError:
            message = f"Mark {describe(value)} for {item.label} is not a plain decimal number."
            marks.problem(item.id, f"{message} {item.scale.instruction()}")
            return None
        fault = item.scale.fault(number, where=f" for {item.label}")
        if fault is not None:
            marks.problem(item.id, fault)
            return None
        tenths = int(number * 10)
        self.known[position][value] = tenths
        return tenths


@lru_cache(maxsize=64)
def _known_marks(scale: MarkScale) -> Mapping[object, int]:
    """Every mark of a scale as it is mostly written, ``"7"`` and ``"7.0"``; long scales are learnt as they come."""
    if len(scale.marks()) > 1001:
        return {}
    known: dict[object, int] = {}
    for tenths in scale.marks():
        known[mark_text(tenths)] = tenths
        known[f"{tenths // 10}.{tenths % 10}"] = tenths
    return known
