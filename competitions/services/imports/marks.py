"""Marks, remarks and signatures out of a ``marks.csv``, one row a mark; one write a sheet, one computing a class."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction

import scoring
from competitions.models import Competition, Entry, PanelSeat, Sheet, SheetRevision
from competitions.services.imports.lookup import ClassBook, CompetitionBook
from competitions.services.results import recompute_class
from competitions.services.sheets import SheetChanges, settle_status, write_sheet
from riders.csvrows import Row, read_rows
from riders.intake import Imported, Problems, refuse
from riders.models import User
from riders.transactions import write_transaction
from scoring.documents import describe
from scoring.marks import mark_text

MARK_COLUMNS = ("class", "number", "seat", "item", "mark", "remark", "signed")
_LONGEST_REMARK = 1000
_LONGEST_OVERALL = 5000
OVERALL = ""
"""Stands for the item where a row is about the whole sheet."""


@dataclass(slots=True)
class SheetDraft:
    """What one file says of one sheet; ``rows`` remembers where."""

    book: ClassBook
    entry: Entry
    seat: PanelSeat
    rows: dict[str, Row] = field(default_factory=dict)
    marks: dict[str, int] = field(default_factory=dict)
    remarks: dict[str, str] = field(default_factory=dict)
    signed: bool | None = None

    @property
    def kept(self) -> Sheet:
        found = self.book.sheets.get((self.entry.pk, self.seat.pk))
        return found or Sheet(entry=self.entry, seat=self.seat)

    def place(self, item_id: str) -> str:
        item = self.book.items[self.seat.seat].get(item_id)
        where = item.label if item else "the whole sheet"
        return f"{where} of entry {self.entry.number} at {self.seat.seat}"


def import_marks(
    competition: Competition, text: str | bytes, *, by: User | None, reason: str = "", replace: bool = False
) -> Imported:
    """Key the marks, remarks and signatures of a file; the counts are of these.

    A row without an item is about the whole sheet: its overall remarks, and in ``signed`` whether the judge has signed
    it. An empty cell leaves what stands there. A mark or remark that stands there with another value, and a signature
    that the file takes back, is a problem, unless ``replace`` says that the file is right.
    """
    problems: Problems = []
    rows = list(
        read_rows(text, columns=MARK_COLUMNS, required={"class", "number", "seat", "item", "mark"}, problems=problems)
    )
    with write_transaction():
        drafts = _read_drafts(CompetitionBook(competition, rows), rows)
        summary = Imported()
        pending: list[tuple[SheetDraft, SheetChanges]] = []
        for draft in drafts:
            changes, counts = _compare(draft, replace=replace)
            summary += counts
            if counts.created or counts.changed:
                _refuse_closed(draft)
                pending.append((draft, changes))
        refuse(problems, what="the marks")
        write_drafts(pending, by=by, reason=reason)
    return summary


def write_drafts(pending: Iterable[tuple[SheetDraft, SheetChanges]], *, by: User | None, reason: str) -> None:
    """Write sheets, let the statuses follow them and compute each class once, inside the caller's transaction."""
    entries: dict[int, tuple[ClassBook, Entry]] = {}
    books: dict[str, ClassBook] = {}
    for draft, changes in pending:
        write_sheet(
            draft.book.competition_class,
            entry=draft.entry,
            seat=draft.seat,
            expected_version=None,
            changes=changes,
            by=by,
            source=SheetRevision.Source.IMPORT,
            reason=reason,
        )
        entries[draft.entry.pk] = (draft.book, draft.entry)
        books[draft.book.number] = draft.book
    for book, entry in entries.values():
        settle_status(book.competition_class, entry)
    for book in books.values():
        recompute_class(book.competition_class)


def _read_drafts(competition: CompetitionBook, rows: Iterable[Row]) -> list[SheetDraft]:
    drafts: dict[tuple[int, int], SheetDraft] = {}
    for row in rows:
        book = competition.class_of(row)
        entry = competition.entry_of(row, book) if book else None
        seat = competition.seat_of(row, book) if book else None
        if book and entry and seat:
            draft = drafts.setdefault((entry.pk, seat.pk), SheetDraft(book, entry, seat))
            _read_row(row, draft)
    return list(drafts.values())


def _read_row(row: Row, draft: SheetDraft) -> None:
    item_id = row.raw("item")
    signed = row.flag("signed")
    earlier = draft.rows.setdefault(item_id, row)
    if earlier is not row:
        row.problem("item", f"{draft.place(item_id).capitalize()} stands already in row {earlier.number}. Keep one.")
        return
    if item_id == OVERALL:
        if row.raw("mark"):
            row.problem("item", f"The mark {describe(row.raw('mark'))} names no item. Say which item it is for.")
        draft.signed = signed
        most = _LONGEST_OVERALL
    else:
        if signed is not None:
            row.problem("signed", "A judge signs the whole sheet. Say so in its row without an item.")
        item = draft.book.items[draft.seat.seat].get(item_id)
        if item is None:
            row.problem("item", _unknown_item(draft, item_id))
            return
        tenths = read_mark(row, item)
        if tenths is not None:
            draft.marks[item_id] = tenths
        most = _LONGEST_REMARK
    remark = row.words("remark", most=most)
    if remark:
        draft.remarks[item_id] = remark


def read_mark(row: Row, item: scoring.Item) -> int | None:
    """Return the mark of a row in tenths; unlike a keyer's ``65``, a file's 65 is sixty-five and refused."""
    value = row.decimal("mark")
    fault = item.scale.fault(value, where=f" for {item.label}") if value is not None else None
    if fault:
        row.problem("mark", fault)
        return None
    return None if value is None else int(value * Fraction(10))


def _unknown_item(draft: SheetDraft, item_id: str) -> str:
    if item_id in draft.book.test.positions:
        return f"Seat {draft.seat.seat} does not mark the item {describe(item_id)}. Correct the seat or the item."
    there = ", ".join(draft.book.items[draft.seat.seat])
    return f"The test has no item {describe(item_id)}. Its items are: {there}."


def _compare(draft: SheetDraft, *, replace: bool) -> tuple[SheetChanges, Imported]:
    """Return what differs from the sheet as it stands, and how much of it is new, other and the same."""
    kept = draft.kept
    texts = {**kept.remarks, OVERALL: kept.overall_remarks}
    marks = {item: tenths for item, tenths in draft.marks.items() if kept.marks.get(item) != tenths}
    remarks = {item: text for item, text in draft.remarks.items() if texts.get(item, "") != text}
    other_marks = {item for item in marks if item in kept.marks or kept.given_result is not None}
    other_remarks = {item for item in remarks if texts.get(item)}
    signed = None if draft.signed == kept.signed else draft.signed
    if not replace:
        _note_differences(draft, other_marks, other_remarks, taken_back=signed is False)
    changed = len(other_marks) + len(other_remarks) + (signed is False)
    differing = len(marks) + len(remarks) + (signed is not None)
    counts = Imported(
        created=differing - changed,
        changed=changed,
        unchanged=len(draft.marks) + len(draft.remarks) + (draft.signed is not None) - differing,
    )
    overall = remarks.pop(OVERALL, None)
    return SheetChanges(marks=marks or None, remarks=remarks or None, overall_remarks=overall, signed=signed), counts


def _note_differences(draft: SheetDraft, marks: Iterable[str], remarks: Iterable[str], *, taken_back: bool) -> None:
    kept = draft.kept
    advice = "Correct the file, or import it with replacing allowed if the file is right"
    for item in marks:
        here = mark_text(draft.marks[item])
        if item in kept.marks:
            stands = f"{mark_text(kept.marks[item])} is keyed for {draft.place(item)}"
        else:
            stands = f"entry {draft.entry.number} at {draft.seat.seat} has a given result instead of marks"
        sentence = f"{stands[0].upper()}{stands[1:]}, but here stands {here}. {advice}."
        draft.rows[item].problem("mark", sentence)
    for item in remarks:
        stands = kept.overall_remarks if item == OVERALL else kept.remarks[item]
        sentence = f"Another remark stands there for {draft.place(item)}: {describe(stands)}. {advice}."
        draft.rows[item].problem("remark", sentence)
    if taken_back:
        where = f"Sheet {draft.seat.seat} of entry {draft.entry.number}"
        draft.rows[OVERALL].problem("signed", f"{where} is signed, but here stands false. {advice}.")


def _refuse_closed(draft: SheetDraft) -> None:
    sentence = draft.book.closed_sentence()
    if sentence:
        next(iter(draft.rows.values())).problem("class", sentence)
