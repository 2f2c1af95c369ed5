"""Reading ``class/1``: entries, deductions and teams, checked against the panel, the test and the rule set."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from scoring.classes import ClassDocument, Seat, TeamRules
from scoring.documents import InvalidDocument, Reader, describe, take_format
from scoring.entry_reader import EntryReader
from scoring.exact import format_exact
from scoring.rulesets import RuleSet, rules_from
from scoring.testsheets import Test, test_from

__all__ = ["class_from", "read_class"]


def read_class(document: object) -> ClassDocument:
    """Read a ``class/1`` document; raise :class:`InvalidDocument` with every problem in it.

    Beyond the shapes, these are refused: a completed entry without a full sheet from every seat, a mark off its scale,
    a mark for an item that the seat does not mark, a seat, item or part that does not exist (in a tie step too), a
    figure that the rule set cannot use (points without a maximum; a percentage where all points are added up or
    where points come off; one figure for a sheet whose parts go different ways).
    """
    reader = Reader.over(document)
    found = class_from(reader)
    if reader.problems or found is None:
        raise InvalidDocument(reader.problems)
    return found


def class_from(reader: Reader) -> ClassDocument | None:
    """Read a class inside another document, adding to the shared problems; None when it cannot be used."""
    if not reader.usable:
        return None
    before = len(reader.problems)
    take_format(reader, "class/1")
    found = _ClassReader(reader).read()
    reader.finish()
    return found if len(reader.problems) == before else None


class _ClassReader:
    """One class being read: what is known of it so far decides what its entries may hold."""

    def __init__(self, reader: Reader) -> None:
        self.reader = reader
        test_reader = reader.take_object("test")
        self.test = test_from(test_reader) if test_reader else None
        self.test_faulty = self.test is None and reader.has("test")
        rules_reader = reader.take_object("rules", required=True)
        self.rules = rules_from(rules_reader) if rules_reader else None
        self.maximum = self._maximum()
        self.panel = self._panel()
        self.seats = {seat.seat: seat for seat in self.panel}

    def read(self) -> ClassDocument:
        reader, rules = self.reader, self.rules or RuleSet("")
        class_id = reader.take_text("id", required=True, empty=False)
        title = reader.take_text("title")
        teams = self._teams(rules)
        draft = ClassDocument(class_id, title, self.test, rules, self.maximum, self.panel, (), teams)
        self._check_panel(draft)
        if self.rules is not None:
            self._check_ties(rules)
        entry_reader = EntryReader(draft, faulty=self.test_faulty or self.rules is None)
        entries = tuple(entry_reader.read(child) for child in reader.objects("entries", required=True))
        return ClassDocument(class_id, title, self.test, rules, self.maximum, self.panel, entries, teams)

    def _maximum(self) -> Fraction | None:
        maximum = self.reader.take_decimal("maximum", most=10**6)
        if maximum is not None and maximum <= 0:
            self.reader.problem("maximum", f'"maximum" is {format_exact(maximum)}, but must be above 0.')
            return None
        return maximum

    def _panel(self) -> tuple[Seat, ...]:
        seats: list[Seat] = []
        for child in self.reader.objects("panel", required=True):
            seat = Seat(child.take_text("seat", required=True, empty=False), self._parts(child))
            if seat.seat and any(seat.seat == other.seat for other in seats):
                child.problem("seat", f'The seat "{seat.seat}" stands twice on the panel. Give each its own letter.')
            child.finish()
            seats.append(seat)
        if not seats and isinstance(self.reader.raw("panel"), list):
            self.reader.problem("panel", "The panel has no seat. Give at least one.")
        return tuple(seats)

    def _parts(self, reader: Reader) -> tuple[str, ...] | None:
        if not reader.has("parts"):
            reader.raw("parts")
            return None
        parts = reader.take_list("parts")
        known = self.rules.parts if self.rules else {}
        for index, part in enumerate(parts):
            if self.rules is not None and (not isinstance(part, str) or part not in known):
                choices = ", ".join(known) or "none: leave the parts of the seat out"
                reader.problem(
                    f"parts[{index}]", f"{describe(part)} is not a part of the rule set, which has: {choices}."
                )
        if not parts:
            reader.problem("parts", "The seat marks no part. Name its parts, or leave the key out for all of them.")
        return tuple(part for part in parts if isinstance(part, str))

    def _check_panel(self, draft: ClassDocument) -> None:
        if self.rules is None:
            return
        for part in draft.rules.parts:
            if self.panel and not any(part in draft.parts_of(seat) for seat in self.panel):
                self.reader.problem("panel", f'No seat marks the part "{part}". Give it to a seat.')
        if draft.split and draft.rules.outliers:
            message = "Outliers cannot be looked for where seats mark different parts. Set them to null."
            self.reader.problem("rules.outliers", message)
        if self.test is None:
            return
        whole = all(seat.parts is None for seat in self.panel)
        if self.maximum is not None and whole and self.maximum != self.test.maximum:
            given, added = format_exact(self.maximum), format_exact(self.test.maximum)
            message = f"The maximum {given} is not that of the test, {added}. Correct it or leave it out."
            self.reader.problem("maximum", message)
        self._check_item_parts(draft, self.test)

    def _check_item_parts(self, draft: ClassDocument, test: Test) -> None:
        parts = draft.rules.parts
        if not parts:
            return
        for index, item in enumerate(test.items):
            if item.part not in parts:
                message = f'The rule set has no part "{item.part}". Give one of: {", ".join(parts)}.'
                self.reader.problem(f"test.items[{index}].part", message)
        for part in parts:
            if not any(item.part == part for item in test.items):
                self.reader.problem(f"rules.parts.{part}", f'No item of the test belongs to the part "{part}".')

    def _check_ties(self, rules: RuleSet) -> None:
        """Every item, seat and part that a tie step looks at must exist; the part is free where there is no test."""
        parts = {item.part for item in self.test.items} if self.test else None
        items = self.test.positions if self.test else None
        known: Mapping[str, tuple[str, object]] = {
            "seat": ("seat", self.seats if self.panel else None),
            "collectives-at": ("seat", self.seats if self.panel else None),
            "item": ("item", items),
            "part": ("part", parts),
        }
        for index, step in enumerate(rules.ties):
            key, there = known.get(step.by, ("", None))
            if there is not None and step.argument not in there:  # type: ignore[operator]
                message = f'The class has no {key} "{step.argument}". Correct the step or take it out.'
                self.reader.problem(f"rules.ties[{index}].{key}", message)

    def _teams(self, rules: RuleSet) -> TeamRules | None:
        child = self.reader.take_object("teams")
        if child is None:
            return None
        teams = TeamRules(
            counting=child.take_int("counting", required=True, least=1) or 1,
            method=child.take_choice("method", ("sum", "mean"), required=True, default="sum"),
            of=child.take_choice("of", ("percentage", "points", "penalty"), default="percentage"),
            drop_out=child.take_decimal("drop_out", least=0),
        )
        if teams.of == "penalty" and self.rules is not None and rules.penalty is None:
            child.problem("of", 'The rule set has no penalty for a team to count. Use "percentage" or "points".')
        child.finish()
        return teams
