"""Reading the entries of ``class/1``, with their deductions, against the panel and the rule set."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from fractions import Fraction

from scoring.classes import DEDUCTIONS, STATUSES, ClassDocument, Deduction, Entry, Seat, Sheet
from scoring.documents import Problem, Reader, describe
from scoring.rulesets import RuleSet
from scoring.sheet_reader import SheetReader
from scoring.testsheets import DEFAULT_PART

__all__ = ["EntryReader", "read_deduction"]

_MOST_ERRORS = 1000


class EntryReader:
    """Reads the entries of one class; with ``faulty`` the test or the rule set is unknown, so marks are not read."""

    def __init__(self, draft: ClassDocument, *, faulty: bool) -> None:
        self.draft = draft
        self.faulty = faulty
        self.numbers: set[str] = set()
        self.seats = {seat.seat: seat for seat in draft.panel}
        self.sheet_readers = {seat.seat: SheetReader(draft, seat, faulty=faulty) for seat in draft.panel}

    def read(self, reader: Reader) -> Entry:
        number = reader.take_text("number", required=True, empty=False)
        status = reader.take_choice("status", STATUSES, required=True)
        rules = None if self.faulty else self.draft.rules
        entry = Entry(
            number=number,
            status=status,
            hors_concours=reader.take_bool("hors_concours"),
            team=reader.take_text("team") or None,
            errors=reader.take_int("errors", default=0, most=_MOST_ERRORS) or 0,
            deductions=tuple(
                read_deduction(child, rules=rules, seats=self.seats) for child in reader.objects("deductions")
            ),
            sheets=self._sheets(reader, number=number, completed=status == "completed"),
            reason=reader.take_text("reason"),
        )
        if number and number in self.numbers:
            reader.problem("number", f"Two entries have the number {describe(number)}. Give each its own.")
        self.numbers.add(number)
        reader.finish()
        if not self.faulty and entry.sheets:
            for path, message in self._unusable_figures(entry):
                reader.problem(path, message)
        return entry

    def _sheets(self, reader: Reader, *, number: str, completed: bool) -> dict[str, Sheet]:
        given = reader.raw("sheets")
        path = reader.at("sheets")
        if given is not None and not isinstance(given, Mapping):
            Reader.over(given, path=path, problems=reader.problems)
            return {}
        given, found = given or {}, {}
        for seat, value in given.items():
            sheet_reader = self.sheet_readers.get(seat)
            if sheet_reader is not None and value is not None:
                sheet = sheet_reader.read(value, path=f"{path}.{seat}", problems=reader.problems, full=completed)
                if sheet is not None:
                    found[seat] = sheet
            elif sheet_reader is None and self.seats and not str(seat).startswith("x-"):
                message = f'The panel has no seat "{seat}". Its seats are: {", ".join(self.seats)}.'
                reader.problems.append(Problem(f"{path}.{seat}", message))
        if completed:
            for seat in self.sheet_readers:
                if given.get(seat) is None:
                    message = f"Sheet {seat} of entry {number} is missing. Give it, or another status than completed."
                    reader.problems.append(Problem(f"{path}.{seat}", message))
        return found

    def _unusable_figures(self, entry: Entry) -> Iterator[tuple[str, str]]:
        """Name what cannot be taken off a sheet that is known only by its percentage."""
        only_percentage = [seat for seat, sheet in entry.sheets.items() if sheet.percentage is not None]
        if not only_percentage:
            return
        rules = self.draft.rules
        if rules.errors and rules.errors.off == "sheet-points" and rules.errors.cost(entry.errors):
            for seat in only_percentage:
                if self._touches(seat, part=DEFAULT_PART):
                    yield (
                        "errors",
                        f"Errors come off points, but sheet {seat} gives only a percentage. Give its points.",
                    )
        for index, deduction in enumerate(entry.deductions):
            seats = [seat for seat in only_percentage if deduction.seat in (None, seat)]
            for seat in seats:
                message = self._unusable_deduction(deduction, seat)
                if message is not None:
                    yield f"deductions[{index}]", message

    def _unusable_deduction(self, deduction: Deduction, seat: str) -> str | None:
        if deduction.off == "total-percentage" or not self._touches(seat, part=deduction.part):
            return None
        if deduction.off == "sheet-points":
            return f"It comes off points, but sheet {seat} gives only a percentage. Give its points."
        if len(self.draft.parts_of(self.seats[seat])) > 1:
            return f"It comes off a part, but sheet {seat} gives only a percentage. Give its marks."
        return None

    def _touches(self, seat: str, *, part: str) -> bool:
        parts = self.draft.parts_of(self.seats[seat])
        return not parts or part in parts


def read_deduction(
    reader: Reader, *, rules: RuleSet | None = None, seats: Mapping[str, Seat] | None = None
) -> Deduction:
    """Read one deduction; with ``rules`` and ``seats`` its part and its seat are checked as well."""
    off = reader.take_choice("off", DEDUCTIONS, required=True, default="total-percentage")
    deduction = Deduction(
        off=off,
        amount=reader.take_decimal("amount", required=True, least=0, most=10**6) or Fraction(0),
        seat=reader.take_text("seat") or None,
        part=reader.take_text("part") or DEFAULT_PART,
        reason=reader.take_text("reason"),
    )
    if off == "total-percentage" and deduction.seat is not None:
        reader.problem("seat", "What comes off the total belongs to no seat. Set the seat to null.")
    elif seats is not None and deduction.seat is not None and deduction.seat not in seats:
        message = f"The panel has no seat {describe(deduction.seat)}. Its seats are: {', '.join(seats)}."
        reader.problem("seat", message)
    if rules is not None:
        _check_part(reader, deduction, parts=rules.parts, seat=(seats or {}).get(deduction.seat or ""))
    reader.finish()
    return deduction


def _check_part(reader: Reader, deduction: Deduction, *, parts: Collection[str], seat: Seat | None) -> None:
    if deduction.off == "total-percentage" or not parts:
        if deduction.part != DEFAULT_PART:
            reader.problem("part", "No part can be named here. Leave it out.")
        if deduction.off == "part-percentage":
            reader.problem("off", 'The rule set has no parts. Use "sheet-points" or "total-percentage".')
    elif deduction.part not in parts:
        message = f"The rule set has no part {describe(deduction.part)}. Name one of: {', '.join(parts)}."
        reader.problem("part", message)
    elif seat is not None and seat.parts is not None and deduction.part not in seat.parts:
        message = f"Seat {seat.seat} does not mark the part {describe(deduction.part)}. Name its part or no seat."
        reader.problem("part", message)
