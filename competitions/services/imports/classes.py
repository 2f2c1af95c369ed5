"""Marks and outcomes of one class out of a ``class/1`` document: of a class keyed elsewhere, or of our own export."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace as replaced
from typing import Any

import scoring
from competitions.models import CompetitionClass
from competitions.services.entries import OutcomeChanges
from competitions.services.imports.lookup import ClassBook
from competitions.services.imports.marks import SheetDraft, write_drafts
from competitions.services.imports.moments import moment_changes
from competitions.services.imports.outcomes import OutcomeDraft, deduction_from, write_outcomes
from competitions.services.results import recompute_class
from competitions.services.sheets import SheetChanges
from riders.errors import NotAllowed
from riders.intake import Imported, Problems, plain_document, refuse, refused_document
from riders.models import User
from riders.transactions import write_transaction
from scoring.classes import ClassDocument
from scoring.classes import Entry as EntryRead
from scoring.classes import Sheet as SheetRead
from scoring.documents import describe
from scoring.marks import mark_text


def import_class_document(
    competition_class: CompetitionClass, document: object, *, by: User | None, reason: str = "", replace: bool = False
) -> Imported:
    """Key what a ``class/1`` document holds of this class; the counts are of entries.

    The document must be of the same test, rule set and panel, and its entries must be entered here. Marks that stand
    here with other values are problems, unless ``replace`` says that the document is right; nothing is taken away.
    """
    try:
        read = scoring.read_class(document)
    except scoring.InvalidDocument as error:
        raise refused_document(error, what="The class") from error
    assert isinstance(document, Mapping)  # noqa: S101 - read_class has made sure
    with write_transaction():
        book = ClassBook(competition_class)
        problems: Problems = []
        _refuse_other_class(book, read, document, problems)
        drafts = [] if problems else _drafts(book, read, document, replace=replace, problems=problems)
        refuse(problems, what="the class")
        return _write(book, drafts, by=by, reason=reason)


class _EntryDraft:
    """What the document says of one entry, compared with what stands here."""

    def __init__(self, outcome: OutcomeDraft) -> None:
        self.outcome = outcome
        self.differences: OutcomeChanges = outcome.differences()
        self.sheets: list[tuple[SheetDraft, SheetChanges]] = []
        self.had_sheets = any(key[0] == outcome.entry.pk for key in outcome.book.sheets)


def _refuse_other_class(book: ClassBook, read: ClassDocument, document: Mapping[str, Any], problems: Problems) -> None:
    own = book.competition_class
    for key, kept, what in (("test", own.test, "test"), ("rules", own.rule_set, "rule set")):
        if document[key] is not None and plain_document(document[key]) != kept.document:
            sentence = f"This is not the {what} of class {own.number}, {describe(kept.key)}, as it is kept here."
            problems.append((key, f"{sentence} Send the class with that {what}."))
    panel = {seat.seat: sorted(seat.parts or ()) for seat in read.panel}
    here = {seat.seat: sorted(seat.parts) for seat in book.seats.values()}
    if panel != here:
        problems.append(
            ("panel", f"The panel is {', '.join(panel)}, but the class here has {', '.join(here)}. Make them the same.")
        )
    if read.teams is not None and plain_document(document["teams"]) != own.team_rules:
        sentence = f"This is not the rule for teams of class {own.number}. Set it there first, or leave it out here."
        problems.append(("teams", sentence))
    problems += [
        (f"entries[{index}].number", f"Class {own.number} has no entry {describe(entry.number)}. Import it first.")
        for index, entry in enumerate(read.entries)
        if entry.number not in book.entries
    ]


def _drafts(
    book: ClassBook, read: ClassDocument, document: Mapping[str, Any], *, replace: bool, problems: Problems
) -> list[_EntryDraft]:
    drafts = []
    for index, (entry, raw) in enumerate(zip(read.entries, document["entries"], strict=True)):
        draft = _EntryDraft(_outcome_draft(book, entry, raw))
        for letter, sheet in entry.sheets.items():
            path = f"entries[{index}].sheets.{letter}"
            sheet_draft, given = SheetDraft(book, draft.outcome.entry, book.seats[letter]), raw["sheets"][letter]
            moments = moment_changes(given, sheet_draft, path=path, problems=problems)
            changes = _sheet_changes(sheet_draft, sheet, given) or (moments and (sheet_draft, SheetChanges(), []))
            if not changes:
                continue
            sheet_draft, wanted, differing = changes
            if differing and not replace:
                problems += [(f"{path}{where}", sentence) for where, sentence in differing]
            if moments:
                wanted = replaced(wanted, times=moments.times, limited=moments.limited)
            draft.sheets.append((sheet_draft, wanted))
        drafts.append(draft)
    return drafts


def _outcome_draft(book: ClassBook, entry: EntryRead, raw: Mapping[str, Any]) -> OutcomeDraft:
    changes: OutcomeChanges = {
        "status": entry.status,
        "errors": entry.errors,
        "deductions": [deduction_from(deduction) for deduction in raw.get("deductions") or ()],
        "hors_concours": entry.hors_concours,
        "team": entry.team or "",
    }
    if entry.reason:
        changes["reason"] = entry.reason
    return OutcomeDraft(book, book.entries[entry.number], changes=changes)


def _sheet_changes(
    draft: SheetDraft, sheet: SheetRead, raw: Mapping[str, Any]
) -> tuple[SheetDraft, SheetChanges, list[tuple[str, str]]] | None:
    """Return the changes and what stands there otherwise, or None when the sheet says the same."""
    kept = draft.kept
    if sheet.marks is None:
        given = {key: str(raw[key]) for key in ("points", "percentage") if raw.get(key) is not None}
        if kept.given_result == given:
            return None
        filled = kept.given_result is not None or bool(kept.marks)
        differing = [("", _other_result(draft))] if filled else []
        cleared = dict.fromkeys(kept.marks) if kept.marks else None
        return draft, SheetChanges(given_result=given, marks=cleared), differing
    items = draft.book.test.items
    marks = {item.id: mark for item, mark in zip(items, sheet.marks, strict=True) if mark is not None}
    wanted = {item: mark for item, mark in marks.items() if kept.marks.get(item) != mark}
    if not wanted:
        return None
    differing = [
        (f".marks.{item}", f"{mark_text(kept.marks[item])} is keyed for {draft.place(item)}. Correct one of the two.")
        for item in wanted
        if item in kept.marks
    ]
    if kept.given_result is not None:
        differing.append(("", _other_result(draft)))
    return draft, SheetChanges(marks=wanted), differing


def _other_result(draft: SheetDraft) -> str:
    return f"Entry {draft.entry.number} has another result at {draft.seat.seat} here. Correct one of the two."


def _write(book: ClassBook, drafts: list[_EntryDraft], *, by: User | None, reason: str) -> Imported:
    pending = [draft for draft in drafts if draft.differences or draft.sheets]
    if not pending:
        return Imported(unchanged=len(drafts))
    if not book.competition_class.open_for_changes:
        raise NotAllowed(f"The results of class {book.number} are official. Start a correction with a reason first.")
    write_drafts([sheet for draft in pending for sheet in draft.sheets], by=by, reason=reason)
    outcomes = [(draft.outcome, draft.differences) for draft in pending if draft.differences]
    if write_outcomes(outcomes, by=by, why=reason or "imported"):
        recompute_class(book.competition_class)
    created = sum(not draft.had_sheets for draft in pending)
    return Imported(created, len(pending) - created, len(drafts) - len(pending))
