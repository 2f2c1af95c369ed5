"""The classes, entries, seats and sheets of a competition, by the words that a file names them with."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

import scoring
from competitions.models import Competition, CompetitionClass, Entry, PanelSeat, Sheet
from competitions.selectors.documents import items_of_seat, test_of
from competitions.services.clock import lock_class
from riders.csvrows import Row
from scoring.documents import describe


class ClassBook:
    """One class, locked until the end of the transaction, with all that rows may be about."""

    def __init__(self, competition_class: CompetitionClass) -> None:
        self.competition_class = lock_class(competition_class.pk)
        self.number = competition_class.number
        self._closed_reported = False

    @cached_property
    def entries(self) -> dict[str, Entry]:
        found = self.competition_class.entries.select_related("pair__rider", "pair__horse")
        return {entry.number: entry for entry in found}

    @cached_property
    def seats(self) -> dict[str, PanelSeat]:
        return {seat.seat: seat for seat in self.competition_class.seats.all()}

    @cached_property
    def sheets(self) -> dict[tuple[int, int], Sheet]:
        found = Sheet.objects.filter(entry__competition_class=self.competition_class)
        return {(sheet.entry_id, sheet.seat_id): sheet for sheet in found}

    @cached_property
    def test(self) -> scoring.Test:
        return test_of(self.competition_class)

    @cached_property
    def items(self) -> dict[str, dict[str, scoring.Item]]:
        """The items that each seat marks, by seat and id."""
        return {
            letter: {item.id: item for item in items_of_seat(self.test, seat)} for letter, seat in self.seats.items()
        }

    def closed_sentence(self) -> str:
        """Say once why the class cannot be changed, or nothing when it can."""
        if self.competition_class.open_for_changes or self._closed_reported:
            return ""
        self._closed_reported = True
        return (
            f"The results of class {self.number} are official, so this row cannot change them. Start a correction "
            "with a reason first, or leave the class out of the file."
        )


class CompetitionBook:
    """The classes of one competition, opened as rows name them; always locked in the order of their ids."""

    def __init__(self, competition: Competition, rows: Iterable[Row]) -> None:
        named = {row.raw("class") for row in rows}
        self.numbers = sorted(competition.classes.values_list("number", flat=True))
        self.books = {
            found.number: ClassBook(found) for found in competition.classes.order_by("pk") if found.number in named
        }

    def class_of(self, row: Row) -> ClassBook | None:
        number = row.raw("class")
        book = self.books.get(number)
        if not number:
            row.problem("class", 'The column "class" is empty here. Fill it in.')
        elif book is None:
            there = ", ".join(self.numbers) or "none yet"
            row.problem("class", f"The competition has no class {describe(number)}. Its classes are: {there}.")
        return book

    def entry_of(self, row: Row, book: ClassBook) -> Entry | None:
        number = row.raw("number")
        entry = book.entries.get(number)
        if not number:
            row.problem("number", 'The column "number" is empty here. Fill it in.')
        elif entry is None:
            row.problem("number", f"Class {book.number} has no entry {describe(number)}. Import the entries first.")
        return entry

    def seat_of(self, row: Row, book: ClassBook, *, column: str = "seat") -> PanelSeat | None:
        letter = row.raw(column)
        seat = book.seats.get(letter)
        if seat is None:
            row.problem(column, f"Class {book.number} has no seat {describe(letter)}. Use: {', '.join(book.seats)}.")
        return seat
