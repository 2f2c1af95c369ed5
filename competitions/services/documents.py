"""Tests, rule sets and classes as open documents: keeping them, and writing a class as ``class/1``."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any

import scoring
from competitions.models import CompetitionClass, Entry, PanelSeat, RuleSet, Sheet, Test
from riders.errors import InvalidInput, NotAllowed
from riders.transactions import write_transaction
from scoring.exact import format_exact
from scoring.marks import mark_text

_TENTHS = {tenths: mark_text(tenths) for tenths in range(1001)}


def save_test(document: object) -> Test:
    """Keep a test; the same again changes nothing, another content under an id that classes use is refused."""
    try:
        read = scoring.read_test(document)
    except scoring.InvalidDocument as error:
        raise _refusal("The test cannot be used.", error) from error
    return _save(Test, read.id, title=read.title or read.id, document=document, level=read.level)


def save_rule_set(document: object) -> RuleSet:
    """Keep a rule set, on the same terms as a test."""
    try:
        read = scoring.read_rules(document)
    except scoring.InvalidDocument as error:
        raise _refusal("The rule set cannot be used.", error) from error
    return _save(RuleSet, read.id, title=read.title or read.id, document=document)


def test_of(competition_class: CompetitionClass) -> scoring.Test:
    """Return the test of a class as the scoring core reads it, without its figures being read anew each time."""
    return _read_test(json.dumps(competition_class.test.document, sort_keys=True))


def rules_of(competition_class: CompetitionClass) -> scoring.RuleSet:
    """Return the rule set of a class as the scoring core reads it."""
    return _read_rules(json.dumps(competition_class.rule_set.document, sort_keys=True))


def items_of_seat(test: scoring.Test, seat: PanelSeat) -> tuple[scoring.Item, ...]:
    """Return the items that a seat marks: all, or those of its parts."""
    return tuple(item for item in test.items if not seat.parts or item.part in seat.parts)


def class_document(
    competition_class: CompetitionClass,
    *,
    seats: Iterable[PanelSeat] | None = None,
    entries: Iterable[Entry] | None = None,
) -> dict[str, Any]:
    """Return a class with all that is needed to compute it, as ``class/1``.

    Entries that have not started are left out. ``entries`` may be handed in with their sheets prefetched.
    """
    seats = list(competition_class.seats.all() if seats is None else seats)
    if entries is None:
        entries = competition_class.entries.prefetch_related("sheets")
    letters = {seat.pk: seat.seat for seat in seats}
    documents = [_entry_document(entry, letters) for entry in entries if entry.status != Entry.Status.ENTERED]
    points_given = any("points" in sheet for document in documents for sheet in document["sheets"].values())
    return {
        "format": "class/1",
        "id": f"{competition_class.competition.slug}/{competition_class.number}",
        "title": competition_class.title,
        "test": competition_class.test.document,
        "rules": competition_class.rule_set.document,
        "maximum": format_exact(test_of(competition_class).maximum) if points_given else None,
        "panel": [_panel_member(seat) for seat in seats],
        "entries": documents,
    }


def _panel_member(seat: PanelSeat) -> dict[str, Any]:
    return {"seat": seat.seat, "parts": list(seat.parts)} if seat.parts else {"seat": seat.seat}


def _entry_document(entry: Entry, letters: Mapping[int, str]) -> dict[str, Any]:
    document: dict[str, Any] = {
        "number": entry.number,
        "status": entry.status,
        "hors_concours": entry.hors_concours,
        "errors": entry.errors,
        "deductions": list(entry.deductions),
        "sheets": {letters[sheet.seat_id]: sheet_document(sheet) for sheet in entry.sheets.all() if has_content(sheet)},
    }
    if entry.team:
        document["team"] = entry.team
    return document


def has_content(sheet: Sheet) -> bool:
    """Tell whether a sheet holds a mark or a given result."""
    return bool(sheet.marks) or sheet.given_result is not None


def sheet_document(sheet: Sheet) -> dict[str, Any]:
    """Return a sheet as it stands inside ``class/1``."""
    if sheet.given_result is not None:
        return dict(sheet.given_result)
    return {"marks": {item: _TENTHS.get(tenths) or mark_text(tenths) for item, tenths in sheet.marks.items()}}


@lru_cache(maxsize=64)
def _read_test(text: str) -> scoring.Test:
    return scoring.read_test(scoring.load_json(text))


@lru_cache(maxsize=64)
def _read_rules(text: str) -> scoring.RuleSet:
    return scoring.read_rules(scoring.load_json(text))


def _save(model: Any, key: str, **fields: Any) -> Any:
    fields["document"] = json.loads(json.dumps(fields["document"], default=str))
    with write_transaction():
        kept = model.objects.select_for_update().filter(key=key).first()
        if kept is None:
            return model.objects.create(key=key, **fields)
        if kept.document == fields["document"]:
            return kept
        if kept.classes.exists():
            raise NotAllowed(
                f'"{key}" is used by classes and cannot change under them. Give the changed document another id.',
                code="in-use",
            )
        for name, value in fields.items():
            setattr(kept, name, value)
        kept.save()
        return kept


def _refusal(message: str, error: scoring.InvalidDocument) -> InvalidInput:
    return InvalidInput(
        f"{message} Correct what is listed and send it again.",
        problems=[(problem.path, problem.message) for problem in error.problems],
    )
