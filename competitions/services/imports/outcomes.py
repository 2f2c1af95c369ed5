"""Statuses, errors of course and deductions out of an ``outcomes.csv``."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from competitions.models import Competition, Entry
from competitions.services.entries import OutcomeChanges, write_outcome
from competitions.services.imports.lookup import ClassBook, CompetitionBook
from competitions.services.results import recompute_class
from competitions.services.sheets import settle_status
from riders.csvrows import Row, read_rows
from riders.intake import Imported, Problems, refuse
from riders.models import User
from riders.transactions import write_transaction
from scoring.classes import DEDUCTIONS
from scoring.documents import describe
from scoring.exact import format_exact, parse_decimal
from scoring.testsheets import DEFAULT_PART

OUTCOME_COLUMNS = (
    "class",
    "number",
    "status",
    "errors",
    "reason",
    "deduction_off",
    "deduction_amount",
    "deduction_seat",
    "deduction_part",
    "deduction_reason",
)
FOLLOWING = (Entry.Status.ENTERED, Entry.Status.RUNNING, Entry.Status.COMPLETED)
"""Statuses that follow the sheets and are not the office's word."""


@dataclass(slots=True)
class OutcomeDraft:
    """What a file or document says of one entry; what it does not say stays as it is."""

    book: ClassBook
    entry: Entry
    row: Row | None = None
    changes: OutcomeChanges = field(default_factory=OutcomeChanges)

    def differences(self) -> OutcomeChanges:
        """Return only what is not so already."""
        found = OutcomeChanges()
        status = self.changes.get("status")
        if status and status != self.entry.status and not _follows_anyway(status, self.entry):
            found["status"] = status
        for name, kept in (
            ("errors", self.entry.errors),
            ("reason", self.entry.status_reason),
            ("hors_concours", self.entry.hors_concours),
            ("team", self.entry.team),
        ):
            value = self.changes.get(name)
            if value is not None and value != kept:
                found[name] = value  # type: ignore[literal-required]
        deductions = self.changes.get("deductions")
        if deductions is not None and _compared(deductions) != _compared(self.entry.deductions):
            found["deductions"] = deductions
        return found


def import_outcomes(competition: Competition, text: str | bytes, *, by: User | None) -> Imported:
    """Set the outcomes of a file; the counts are of entries.

    An entry may have several rows, one for each deduction; they say the same or nothing in ``status``, ``errors`` and
    ``reason``. The deductions of a file replace those that an entry had; an empty cell leaves what stands there.
    """
    problems: Problems = []
    rows = list(read_rows(text, columns=OUTCOME_COLUMNS, required={"class", "number"}, problems=problems))
    with write_transaction():
        drafts = _read_drafts(CompetitionBook(competition, rows), rows)
        pending = [(draft, differences) for draft in drafts if (differences := draft.differences())]
        for draft, _ in pending:
            sentence = draft.book.closed_sentence()
            if sentence and draft.row:
                draft.row.problem("class", sentence)
        refuse(problems, what="the outcomes")
        books = write_outcomes(pending, by=by, why="imported")
        for book in books:
            recompute_class(book.competition_class)
    return Imported(changed=len(pending), unchanged=len(drafts) - len(pending))


def write_outcomes(
    pending: Iterable[tuple[OutcomeDraft, OutcomeChanges]], *, by: User | None, why: str
) -> list[ClassBook]:
    """Write outcomes inside the caller's transaction and return the classes that have to be computed anew."""
    books: dict[str, ClassBook] = {}
    for draft, changes in pending:
        competition_class = draft.book.competition_class
        write_outcome(draft.entry, expected_version=None, by=by, why=why, **changes)
        settle_status(competition_class, draft.entry)
        if competition_class.in_ring_id == draft.entry.pk and draft.entry.status not in FOLLOWING:
            competition_class.in_ring = None
            competition_class.save(update_fields=["in_ring"])
        books[draft.book.number] = draft.book
    return list(books.values())


def deduction_from(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return a deduction as entries keep it: the part only where it is not the technical one."""
    kept = {
        "off": values["off"],
        "amount": format_exact(parse_decimal(values["amount"])),
        "seat": values.get("seat") or None,
        "reason": values.get("reason") or "",
    }
    part = values.get("part")
    return {**kept, "part": part} if part and part != DEFAULT_PART else kept


def _compared(deductions: Iterable[Mapping[str, Any]]) -> list[tuple[object, ...]]:
    return [
        (
            deduction["off"],
            parse_decimal(deduction["amount"]),
            deduction.get("seat") or None,
            deduction.get("part") or DEFAULT_PART,
            deduction.get("reason") or "",
        )
        for deduction in deductions
    ]


def _follows_anyway(status: str, entry: Entry) -> bool:
    """Tell whether a status says nothing new, because completed and running follow the marks."""
    if entry.status not in FOLLOWING:
        return False
    return not (status not in FOLLOWING or (status == Entry.Status.RUNNING and entry.status == Entry.Status.ENTERED))


def _read_drafts(competition: CompetitionBook, rows: Iterable[Row]) -> list[OutcomeDraft]:
    drafts: dict[int, OutcomeDraft] = {}
    for row in rows:
        book = competition.class_of(row)
        entry = competition.entry_of(row, book) if book else None
        if book is None or entry is None:
            continue
        draft = drafts.setdefault(entry.pk, OutcomeDraft(book, entry, row))
        for name, value in _outcome_in(row).items():
            known = draft.changes.setdefault(name, value)  # type: ignore[misc]
            if known != value:
                row.problem(name, f"Another row says {describe(known)} for this entry. Let all its rows say the same.")
        deduction = _deduction_in(row, competition, book)
        if deduction:
            draft.changes["deductions"] = [*(draft.changes.get("deductions") or ()), deduction]
    return list(drafts.values())


def _outcome_in(row: Row) -> dict[str, Any]:
    values = {
        "status": row.choice("status", Entry.Status.values) or None,
        "errors": row.whole("errors", least=0, most=20),
        "reason": row.text("reason", most=300) or None,
    }
    return {name: value for name, value in values.items() if value is not None}


def _deduction_in(row: Row, competition: CompetitionBook, book: ClassBook) -> dict[str, Any] | None:
    given = {name: row.raw(f"deduction_{name}") for name in ("off", "amount", "seat", "part", "reason")}
    if not any(given.values()):
        return None
    off = row.choice("deduction_off", DEDUCTIONS, required=True)
    amount = row.decimal("deduction_amount")
    if not given["amount"]:
        row.problem("deduction_amount", "The deduction has no amount. Say what comes off.")
    elif amount is not None and not 0 < amount <= Fraction(1000):
        row.problem("deduction_amount", f"{describe(given['amount'])} cannot come off. Give an amount above 0.")
    if given["seat"]:
        competition.seat_of(row, book, column="deduction_seat")
    parts = {item.part for item in book.test.items}
    if given["part"] and given["part"] not in parts:
        there = ", ".join(sorted(parts))
        row.problem("deduction_part", f"The test has no part {describe(given['part'])}. Its parts are: {there}.")
    reason = row.text("deduction_reason", most=200)
    if row.faulty or amount is None:
        return None
    return deduction_from({**given, "off": off, "amount": format_exact(amount), "reason": reason})
